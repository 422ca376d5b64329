from django import forms
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.shortcuts import render
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe
from django.views.decorators.vary import vary_on_headers

from fitting.views.days import served_today
from fitting.views.parts import wants_rows_only
from patients.access import requires
from patients.models import Child, Limb
from patients.roles import Action

PAGE_SIZE = 50


class SearchForm(forms.Form):
    q = forms.CharField(
        label=_("Name or case number"), required=False, widget=forms.SearchInput(attrs={"autocomplete": "off"})
    )


@require_safe
@requires(Action.READ_CASE)
@vary_on_headers("HX-Request")
def cases(request):
    """Every child of the clinics served, by name."""
    form = SearchForm(request.GET)
    form.is_valid()
    clinics, as_of = served_today(request.user)
    children = (
        Child.objects.visible_to(request.user)
        .matching(form.cleaned_data["q"])
        .select_related("clinic")
        .prefetch_related(Prefetch("limbs", Limb.objects.order_by("side")))
        .order_by("family_name", "given_name", "pk")
    )
    page = Paginator(children, PAGE_SIZE).get_page(request.GET.get("page"))
    context = {"form": form, "page": page, "as_of": as_of, "clinics": clinics, "asked": form.cleaned_data["q"]}
    context["rows_only"] = wants_rows_only(request)
    return render(request, "fitting/_cases_rows.html" if context["rows_only"] else "fitting/cases.html", context)

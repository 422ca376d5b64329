"""Asking for a plan, how far it is, what it proposes and why; booking one of its days or all."""

from dataclasses import dataclass

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fitting import wording
from fitting.forms.clinic_day import PlanForm
from fitting.models import PlanProposal, ProposedBooking
from fitting.plan_words import NO_DAY, chance_words, why_words
from fitting.services.plans import accept, accept_all, propose_plan
from fitting.services.steps import StepError
from patients.access import requires
from patients.models import Clinic, Limb
from patients.roles import Action

State = PlanProposal.State
STEPS = (State.WAITING, State.READING, State.PLANNING, State.DONE)


@dataclass(frozen=True)
class PlanRow:
    """One proposed booking in words."""

    proposed: ProposedBooking
    chance: str
    why: list[str]

    @property
    def is_open(self) -> bool:
        """Whether it can still be booked."""
        return self.proposed.stands_id is None and self.proposed.accepted_id is None


@requires(Action.BOOK)
def plan_new(request):
    clinics = Clinic.objects.served_by(request.user)
    form = PlanForm(request.POST or None, clinics=clinics, initial={"clinic": request.GET.get("clinic")})
    if request.method == "POST" and form.is_valid():
        asked = form.cleaned_data
        proposal = propose_plan(asked["clinic"], request.user, asked["horizon_days"], timezone.now())
        return redirect("plan", proposal.pk)
    return render(request, "fitting/plan_new.html", {"form": form, "forms": [form], "clinics": clinics})


@requires(Action.READ_CASE)
def plan(request, pk):
    proposal = get_object_or_404(PlanProposal.objects.visible_to(request.user).select_related("clinic"), pk=pk)
    if request.method == "POST":
        if not request.user.may(Action.BOOK):
            raise PermissionDenied
        if _accept(request, proposal):
            return redirect("plan", proposal.pk)
    rows = [_row(proposed) for proposed in _proposed(proposal)]
    context = {
        "proposal": proposal,
        "clinic": proposal.clinic,
        "unfinished": proposal.state in PlanProposal.UNFINISHED,
        "steps": [(step.label, step == proposal.state) for step in STEPS],
        "rows": rows,
        "to_book": sum(row.is_open for row in rows),
        "stand": sum(row.proposed.stands_id is not None for row in rows),
        "unplaced": _unplaced(proposal),
        "openings": [{**opening, "on": parse_date(opening["on"])} for opening in proposal.openings],
        "caution": wording.CAUTION,
    }
    return render(request, "fitting/plan.html", context)


def _proposed(proposal):
    related = ("limb__child__clinic", "with_staff", "stands", "accepted__clinic")
    return proposal.bookings.select_related(*related).order_by("on", "limb__child__family_name", "pk")


def _row(proposed):
    return PlanRow(proposed, chance_words(proposed.chance), why_words(proposed.why, proposed.instead_of))


def _unplaced(proposal):
    why = {one["limb"]: NO_DAY[one["why"]] for one in proposal.unplaced}
    return [(limb, why[limb.pk]) for limb in Limb.objects.filter(pk__in=why).select_related("child")]


def _accept(request, proposal) -> bool:
    """Book what was asked for and say so; whether there was anything to book."""
    asked, now = request.POST.get("accept", ""), timezone.now()
    if asked == "all":
        booked, refused = accept_all(proposal, now)
    else:
        booked, refused = _accept_one(proposal, asked, now)
    if booked:
        count = len(booked)
        messages.success(request, ngettext("%(count)d booked.", "%(count)d booked.", count) % {"count": count})
    for sentence in refused:
        messages.warning(request, sentence)
    if not booked and not refused:
        messages.warning(request, _("Nothing was booked."))
    return bool(booked or refused)


def _accept_one(proposal, asked, now):
    proposed = proposal.bookings.filter(pk=asked).first() if asked.isdecimal() else None
    if proposed is None:
        return [], []
    try:
        return [accept(proposed, now)], []
    except StepError as refusal:
        return [], [str(refusal)]

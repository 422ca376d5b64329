"""The due list as a question: limbs of active children, their state a comparison of a day with stored dates."""

from datetime import date, timedelta

from django.db import models
from django.db.models import Case, Count, F, OuterRef, Q, Subquery, TextField, Value, When
from django.db.models.functions import Coalesce
from django.utils.translation import gettext_lazy as _

from fitting.models import Appointment, Forecast, Visit
from patients.models import Limb

SOON_DAYS, LATER_DAYS = 30, 90  # the two horizons of the due list
P = "current_forecast__forecast__"
FIT_ACTIONS = (Forecast.NextAction.FIT_PROBLEM, Forecast.NextAction.SURGEON)


class DueState(models.TextChoices):
    """Where a limb stands on a day. Listed in the order in which the first that holds is shown."""

    FIT_PROBLEM = "fit_problem", _("fit problem now")
    OVERDUE = "overdue", _("overdue")
    REMEASURE = "remeasure", _("remeasure")
    START_30 = "start_30", _("start within 30 days")
    START_90 = "start_90", _("start within 90 days")
    MATURING = "maturing", _("maturing")
    NO_SOCKET = "no_socket", _("no socket")
    NO_REFERENCE = "no_reference", _("no date at this age")
    SOON = "soon", _("due within 90 days")
    LATER = "later", _("nothing due within 90 days")


# States a reader can ask for. A limb that is overdue and stale is found under both.
FILTERS = (
    DueState.FIT_PROBLEM,
    DueState.OVERDUE,
    DueState.START_30,
    DueState.START_90,
    DueState.REMEASURE,
    DueState.MATURING,
    DueState.NO_SOCKET,
)


def conditions(as_of: date) -> dict[str, Q]:
    """What each state asks of a limb's current forecast on a day."""
    start, remeasure_by = f"{P}start_refit_by", f"{P}remeasure_by"
    asked = Q(**{f"{P}next_action": Forecast.NextAction.REMEASURE, f"{P}act_on__lte": as_of})
    refit_passed, layer_passed, length_passed = (
        Q(**{f"{P}{day}__lt": as_of}) for day in ("start_refit_by", "layer_on", "length_on")
    )
    return {
        DueState.FIT_PROBLEM: Q(**{f"{P}state": Forecast.State.FIT_PROBLEM})
        | Q(**{f"{P}next_action__in": FIT_ACTIONS}),
        DueState.OVERDUE: refit_passed | layer_passed | length_passed,
        DueState.REMEASURE: Q(**{f"{remeasure_by}__lte": as_of}) | asked,
        DueState.START_30: Q(**{f"{start}__range": (as_of, as_of + timedelta(days=SOON_DAYS))}),
        DueState.START_90: Q(**{f"{start}__range": (as_of, as_of + timedelta(days=LATER_DAYS))}),
        DueState.MATURING: Q(**{f"{P}state": Forecast.State.MATURING}),
        DueState.NO_SOCKET: Q(**{f"{P}state": Forecast.State.NO_SOCKET}) | Q(current_forecast__isnull=True),
        DueState.NO_REFERENCE: Q(**{f"{P}state": Forecast.State.NO_REFERENCE}),
        DueState.SOON: Q(**{f"{P}act_on__lte": as_of + timedelta(days=LATER_DAYS)}),
    }


def with_due_state(limbs, as_of: date):
    """Limbs with `due_state`, the first state that holds on a day, and their current forecast."""
    states = (When(condition, then=Value(str(state))) for state, condition in conditions(as_of).items())
    return limbs.select_related("child__clinic", "current_forecast__forecast__limb").annotate(
        due_state=Case(*states, default=Value(DueState.LATER.value), output_field=TextField())
    )


def due_limbs(user, as_of: date):
    """Limbs of active children `user` may see, most pressing first, with state, newest observer and next booking."""
    newest_visit = Visit.objects.filter(child=OuterRef("child")).order_by("-at")
    booked = Appointment.objects.booked().filter(child=OuterRef("child"), at__date__gte=as_of).order_by("at")
    return (
        with_due_state(Limb.objects.visible_to(user).of_active_children(), as_of)
        .annotate(
            urgency=Case(
                When(Q(**{f"{P}state": Forecast.State.FIT_PROBLEM}), then=0),
                When(conditions(as_of)[DueState.FIT_PROBLEM], then=1),  # loose: it can be worn until seen
                default=2,
            ),
            first_day=Coalesce(F(f"{P}act_on"), Value(as_of, output_field=models.DateField())),
            observer_id=Subquery(newest_visit.values("observer")[:1]),
            booked_at=Subquery(booked.values("at")[:1]),
        )
        .order_by("urgency", "first_day", "child__family_name", "child__given_name", "side", "pk")
    )


def in_state(limbs, state: str, as_of: date):
    return limbs.filter(conditions(as_of)[state])


def counts(limbs, as_of: date) -> dict[str, int]:
    """How many limbs are found under each state a reader can ask for."""
    met = conditions(as_of)
    return limbs.aggregate(**{str(state): Count("pk", filter=met[state]) for state in FILTERS})

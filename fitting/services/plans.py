"""Asking for a plan, and booking what it proposes. A booking that stands is never moved by a plan."""

from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext as _

from fitting.day_books import DayBook, book_of
from fitting.models import Appointment, PlanProposal, ProposedBooking
from fitting.plan_inputs import FITTING_KINDS
from fitting.services.appointments import book
from fitting.services.steps import StepError
from fitting.tasks import work_out_plan
from fitting.wording import day_words
from patients.models import Clinic, Staff


def propose_plan(clinic: Clinic, by: Staff, horizon_days: int, now: datetime) -> PlanProposal:
    """Leave a plan to the worker; one that is being worked out already is returned instead of a second."""
    with transaction.atomic():
        Clinic.objects.select_for_update().get(pk=clinic.pk)
        under_way = PlanProposal.objects.filter(clinic=clinic, state__in=PlanProposal.UNFINISHED).first()
        if under_way:
            return under_way
        proposal = PlanProposal.objects.create(
            clinic=clinic,
            as_of=clinic.day_of(now),
            horizon_days=horizon_days,
            asked_by=by,
            asked_at=now,
            touched_at=now,
        )
    work_out_plan.enqueue(proposal.pk)
    return proposal


def close_dead_plans(before: datetime) -> int:
    """Mark plans that no worker has touched since a moment as stopped; returns how many."""
    unfinished = PlanProposal.objects.filter(state__in=PlanProposal.UNFINISHED, touched_at__lt=before)
    return unfinished.update(state=PlanProposal.State.DIED)


@transaction.atomic
def accept(proposed: ProposedBooking, now: datetime) -> Appointment:
    """Book what is proposed at the first free time of its day.

    Raises StepError when it is booked already, the child has another fitting by now, or the day has no room left.
    """
    proposed = ProposedBooking.objects.select_for_update().select_related("limb__child__clinic").get(pk=proposed.pk)
    child = proposed.limb.child
    if proposed.accepted_id or proposed.stands_id:
        raise StepError(_("%(child)s is booked already.") % {"child": child})
    _check_no_other_fitting(proposed, child, now)
    day_book = book_of(child.clinic, proposed.on)
    at = day_book and first_free_time(day_book, proposed.minutes, proposed.with_staff)
    if at is None:
        raise StepError(
            _("%(child)s: %(day)s has no free time left. Ask for a new plan.")
            % {"child": child, "day": day_words(proposed.on)}
        )
    appointment = Appointment(
        child=child,
        clinic=child.clinic,
        at=at,
        minutes=proposed.minutes,
        kind=proposed.kind,
        with_staff=proposed.with_staff,
    )
    proposed.accepted = book(appointment, now)
    proposed.save(update_fields=["accepted"])
    return proposed.accepted


def accept_all(proposal: PlanProposal, now: datetime) -> tuple[list[Appointment], list[str]]:
    """Book everything proposed that is not booked; returns what was booked and the sentences of what was refused."""
    booked, refused = [], []
    for proposed in proposal.bookings.filter(accepted=None, stands=None).select_related("limb__child__clinic"):
        try:
            booked.append(accept(proposed, now))
        except StepError as refusal:
            refused.append(str(refusal))
    return booked, refused


def _check_no_other_fitting(proposed, child, now):
    """Refuse where somebody booked a fitting since the plan was made; those of the same plan are the limb's own."""
    others = Appointment.objects.booked().filter(child=child, kind__in=FITTING_KINDS, at__gte=now)
    other = others.exclude(proposed_as__proposal=proposed.proposal_id).first()
    if other:
        raise StepError(
            _("%(child)s has a fitting on %(day)s by now. Move that one if you want another day.")
            % {"child": child, "day": day_words(child.clinic.day_of(other.at))}
        )


def first_free_time(day_book: DayBook, minutes: int, staff: Staff | None) -> datetime | None:
    """First moment of a day at which a room, and the member of staff if one is named, are free for so many minutes."""
    day = day_book.day
    opens = datetime.combine(day.on, day.opens_at, tzinfo=day.clinic.zone)
    closes, length = opens + timedelta(minutes=day.minutes), timedelta(minutes=minutes)
    taken = [(row.at, row.at + timedelta(minutes=row.minutes), row.with_staff_id) for row in day_book.bookings]
    for start in sorted({opens, *(end for _start, end, _who in taken)}):
        during = [who for begins, ends, who in taken if begins < start + length and ends > start]
        staff_free = staff is None or staff.pk not in during
        if start >= opens and start + length <= closes and staff_free and len(during) < day.rooms:
            return start
    return None

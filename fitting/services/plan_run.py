"""Working out a proposed plan, step by step, so that the page can say how far it is. Run by a worker."""

from datetime import date, datetime

from django.db import transaction

from fitting.calc.planner.plan import plan
from fitting.models import PlanProposal, ProposedBooking
from fitting.plan_inputs import PlanInputs, plan_inputs

State = PlanProposal.State


def run_plan(pk: int, now: datetime) -> None:
    """Work out a waiting proposal; one that is finished, or taken by another worker, is left alone."""
    proposal = _take(pk, now)
    if proposal is None:
        return
    try:
        inputs = plan_inputs(proposal.clinic, proposal.as_of, proposal.horizon_days)
        PlanProposal.objects.filter(pk=pk).update(state=State.PLANNING)
        _store(proposal, inputs, plan(inputs.problem))
    except Exception:
        PlanProposal.objects.filter(pk=pk).update(state=State.DIED)
        raise


@transaction.atomic
def _take(pk, now):
    row = PlanProposal.objects.select_for_update().filter(pk=pk, state=State.WAITING).first()
    if row:
        row.state, row.touched_at = State.READING, now
        row.save(update_fields=["state", "touched_at"])
    return row


@transaction.atomic
def _store(proposal, inputs: PlanInputs, made) -> None:
    minutes = {refit.key: refit.minutes for refit in inputs.problem.refits}
    ProposedBooking.objects.filter(proposal=proposal).delete()
    ProposedBooking.objects.bulk_create(
        _booking(proposal, placed, minutes[placed.refit], inputs) for placed in made.placements
    )
    proposal.unplaced = [{"limb": int(one.refit), "why": one.why} for one in made.unplaced]
    proposal.openings = [
        {"on": f"{opening.day.on}", "limbs": [int(key) for key in opening.refits], "saving": opening.saving}
        for opening in made.openings
    ]
    proposal.cost, proposal.bound, proposal.greedy_cost = made.cost, made.bound, made.greedy_cost
    proposal.state = State.DONE
    proposal.save()


def _booking(proposal, placed, minutes, inputs):
    limb = inputs.limbs[placed.refit]
    return ProposedBooking(
        proposal=proposal,
        limb=limb,
        day=inputs.days.get(placed.day),
        on=date.fromisoformat(placed.day),
        minutes=minutes,
        with_staff_id=int(placed.staff) if placed.staff else None,
        chance=placed.chance,
        child_weeks=placed.child_weeks,
        why=list(placed.why),
        instead_of=date.fromisoformat(placed.instead_of) if placed.instead_of else None,
        stands=inputs.pinned.get(placed.refit),
        kind=inputs.kinds[placed.refit],
    )

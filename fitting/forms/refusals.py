"""A service's refusal, shown at the field it is about."""

from fitting.services.steps import StepError


def taken(form, step) -> bool:
    """Run a step; where it is refused, put the sentence at its field, or above the form."""
    try:
        step()
    except StepError as refusal:
        form.add_error(refusal.field if refusal.field in form.fields else None, str(refusal))
        return False
    return True

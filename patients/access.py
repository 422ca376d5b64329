"""The one place that decides who gets in: a decorator for views and the words templates ask with."""

from functools import wraps

from django.core.exceptions import PermissionDenied

from patients.roles import ROLES_FOR, Action


def requires(action: Action):
    """Let a view run only for signed-in staff whose roles may take `action`; the mark stays on the view for tests."""

    def decorate(view):
        @wraps(view)
        def guarded(request, *args, **kwargs):
            if not request.user.may(action):
                raise PermissionDenied
            return view(request, *args, **kwargs)

        guarded.action = action
        return guarded

    return decorate


def may(request):
    """Template context: `may.book`, `may.record_visit` ... for the person signed in."""
    user = request.user if hasattr(request, "user") and request.user.is_authenticated else None
    return {"may": {action.value: bool(user and user.may(action)) for action in ROLES_FOR}}

"""Sign in, and go where one's roles lead."""

from django.contrib.auth.views import LoginView
from django.urls import reverse

from patients.roles import Action


class SignIn(LoginView):
    template_name = "patients/sign_in.html"
    redirect_authenticated_user = True

    def get_default_redirect_url(self):
        """Today; for whoever only changes settings, the settings."""
        user = self.request.user
        only_settings = user.may(Action.CHANGE_SETTINGS) and not user.may(Action.READ_CASE)
        return reverse("admin:index") if only_settings else super().get_default_redirect_url()

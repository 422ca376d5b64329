from django.contrib.auth.views import LogoutView
from django.urls import path

from patients.views.sign_in import SignIn

urlpatterns = [
    path("sign-in/", SignIn.as_view(), name="sign_in"),
    path("sign-out/", LogoutView.as_view(), name="sign_out"),
]

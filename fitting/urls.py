from django.urls import include, path

from fitting.views.health import health
from patients.admin import setup

urlpatterns = [
    path("", include("patients.urls")),
    path("setup/", setup.urls),
    path("health", health, name="health"),
]

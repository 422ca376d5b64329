from django.contrib.auth.decorators import login_not_required
from django.urls import include, path
from django.views.i18n import set_language

from fitting.views.appointment import appointment, appointment_new
from fitting.views.case import case
from fitting.views.cases import cases
from fitting.views.child import child_edit, child_new
from fitting.views.clinic_days import clinic_day, clinic_days
from fitting.views.due_list import due_list
from fitting.views.forecast_check import forecast_check
from fitting.views.health import health
from fitting.views.limb import limb_new
from fitting.views.measure import measure
from fitting.views.muscle_recording import (
    muscle_recording,
    muscle_recording_again,
    muscle_recording_file,
    muscle_recording_new,
)
from fitting.views.muscle_sites import (
    muscle_settings,
    muscle_site_new,
    muscle_site_photo,
    muscle_site_replace,
    muscle_sites,
)
from fitting.views.plan import plan, plan_new
from fitting.views.reading_correct import reading_correct
from fitting.views.sheets import sheet_care, sheet_fitting, sheet_form, sheets
from fitting.views.socket import socket, socket_new
from fitting.views.today import today
from fitting.views.visit import visit
from patients.admin import setup

urlpatterns = [
    path("", today, name="today"),
    path("due/", due_list, name="due_list"),
    path("cases/", cases, name="cases"),
    path("forecast-check/", forecast_check, name="forecast_check"),
    path("", include("patients.urls")),
    path("setup/", setup.urls),
    path("health", health, name="health"),
    path("language/", login_not_required(set_language), name="set_language"),
    path("cases/new/", child_new, name="child_new"),
    path("cases/<case_number>/edit/", child_edit, name="child_edit"),
    path("cases/<case_number>/limb/", limb_new, name="limb_new"),
    path("cases/<case_number>/measure/", measure, name="measure"),
    path("visits/<int:pk>/", visit, name="visit"),
    path("readings/<int:pk>/correct/", reading_correct, name="reading_correct"),
    path("cases/<case_number>/appointment/", appointment_new, name="appointment_new"),
    path("appointments/<int:pk>/", appointment, name="appointment"),
    path("limbs/<int:pk>/sheets/", sheets, name="sheets"),
    path("limbs/<int:pk>/fitting-sheet.pdf", sheet_fitting, name="sheet_fitting"),
    path("limbs/<int:pk>/care-sheet.pdf", sheet_care, name="sheet_care"),
    path("limbs/<int:pk>/measuring-form.pdf", sheet_form, name="sheet_form"),
    path("limbs/<int:pk>/socket/", socket_new, name="socket_new"),
    path("sockets/<int:pk>/", socket, name="socket"),
    path("limbs/<int:pk>/muscle-sites/", muscle_sites, name="muscle_sites"),
    path("limbs/<int:pk>/muscle-sites/new/", muscle_site_new, name="muscle_site_new"),
    path("limbs/<int:pk>/muscle-levels.json", muscle_settings, name="muscle_settings"),
    path("limbs/<int:pk>/muscle-recording/", muscle_recording_new, name="muscle_recording_new"),
    path("muscle-sites/<int:pk>/replace/", muscle_site_replace, name="muscle_site_replace"),
    path("muscle-sites/<int:pk>/photo/", muscle_site_photo, name="muscle_site_photo"),
    path("muscle-recordings/<int:pk>/", muscle_recording, name="muscle_recording"),
    path("muscle-recordings/<int:pk>/again/", muscle_recording_again, name="muscle_recording_again"),
    path("muscle-recordings/<int:pk>/file/", muscle_recording_file, name="muscle_recording_file"),
    path("clinic-days/", clinic_days, name="clinic_days"),
    path("clinic-days/<int:pk>/", clinic_day, name="clinic_day"),
    path("plans/new/", plan_new, name="plan_new"),
    path("plans/<int:pk>/", plan, name="plan"),
    path("cases/<case_number>/", case, name="case"),
]

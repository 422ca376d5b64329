from fitting.models.appointment import Appointment
from fitting.models.clinic_day import Absence, ClinicDay, VisitLength, usual_minutes
from fitting.models.forecast import CurrentForecast, Forecast
from fitting.models.muscle import LevelSettings, MuscleRecording, MuscleSite
from fitting.models.plan import PlanProposal, ProposedBooking
from fitting.models.present_fit import PresentFit
from fitting.models.reading import Reading
from fitting.models.settings import ClinicSettings
from fitting.models.sleeve import Sleeve, SleeveDesign
from fitting.models.socket import Layer, Socket, SocketStation
from fitting.models.visit import Visit, VisitKind

__all__ = [
    "Absence",
    "Appointment",
    "ClinicDay",
    "ClinicSettings",
    "CurrentForecast",
    "Forecast",
    "Layer",
    "LevelSettings",
    "MuscleRecording",
    "MuscleSite",
    "PlanProposal",
    "PresentFit",
    "ProposedBooking",
    "Reading",
    "Sleeve",
    "SleeveDesign",
    "Socket",
    "SocketStation",
    "Visit",
    "VisitKind",
    "VisitLength",
    "usual_minutes",
]

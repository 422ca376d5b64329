from fitting.models.appointment import Appointment
from fitting.models.forecast import CurrentForecast, Forecast
from fitting.models.muscle import LevelSettings, MuscleRecording, MuscleSite
from fitting.models.present_fit import PresentFit
from fitting.models.reading import Reading
from fitting.models.settings import ClinicSettings
from fitting.models.sleeve import Sleeve, SleeveDesign
from fitting.models.socket import Layer, Socket, SocketStation
from fitting.models.visit import Visit, VisitKind

__all__ = [
    "Appointment",
    "ClinicSettings",
    "CurrentForecast",
    "Forecast",
    "Layer",
    "LevelSettings",
    "MuscleRecording",
    "MuscleSite",
    "PresentFit",
    "Reading",
    "Sleeve",
    "SleeveDesign",
    "Socket",
    "SocketStation",
    "Visit",
    "VisitKind",
]

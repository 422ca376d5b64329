"""One invented limb at the clinic: sockets are made, fitted and replaced, layers come out, the fit is looked at."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from fitting.calc.limb import level_facts
from fitting.calc.outgrowth import END_GAP
from fitting.calc.takes import closest_two_mean
from fitting.demo.residual import Residual
from fitting.demo.stories import Turn
from fitting.models import Forecast, PresentFit, Reading, Socket, Visit
from fitting.services.sockets import SocketIn, StationIn, fit_socket, make_socket, take_layer_out
from fitting.services.visits import FitIn
from patients.models import Limb, Staff

# What sockets are made like in the demo, and when the clinic acts: picked so that most last one to three years.
ALLOWANCES_MM = (3.0, 4.0, 6.0)
LAYERS_MM = ((), (0.8,), (1.0,), (1.0, 0.8))
END_GAPS_MM = (8.0, 10.0, 12.0)
ACTS_AHEAD_DAYS = 45
WORN_HOURS = (5.0, 8.0)


@dataclass
class Worn:
    """The socket in use, its newest end gap and the age at which it was read."""

    row: Socket
    gap_mm: float
    gap_age_months: float


class LimbCourse:
    """What happens to one limb over the visits of its child."""

    def __init__(self, limb: Limb, residual: Residual, turn: Turn, rng: np.random.Generator):
        self.limb, self.residual, self.turn, self.rng = limb, residual, turn, rng
        self.worn: Worn | None = None
        self.history: list[Worn] = []
        self.hours = float(rng.uniform(*WORN_HOURS))

    def present_fit(self, age_months: float, last: bool) -> list[FitIn]:
        """How the socket in use fits, with the story's findings at the last visit; nothing without a socket."""
        if self.worn is None:
            return []
        hours = float(np.clip(self.hours + self.rng.normal(0, 0.5), 2, 12))
        findings = {"end_gap_mm": self._gap_mm(age_months), "wear_hours_per_day": round(hours * 2) / 2}
        findings |= self._usual_marks() | (dict(self.turn.findings) if last else {})
        return [FitIn(self.limb, self.worn.row, findings)]

    def _usual_marks(self):
        if self.rng.random() < 0.5:
            return {}
        return {"marks": PresentFit.Marks.CLEAR, "minutes_to_clear": int(self.rng.integers(4, 16))}

    def _gap_mm(self, age_months):
        if not self.residual.has_girths:
            return None
        grown_mm = self.residual.length_mm(age_months) - self.residual.length_mm(self.worn.gap_age_months)
        return float(max(round(self.worn.gap_mm - grown_mm), 0))

    def take_due_layer_out(self, day: date, age_months: float, by: Staff, now: datetime):
        """Take the next layer out when the promise says it is due."""
        due_on = self._promise().layer_on
        if self.worn is None or not self.turn.takes_layers_out or due_on is None or due_on > day:
            return
        gap_mm = self._gap_mm(age_months)
        after_mm = max(gap_mm - 1, 0.0)
        take_layer_out(self.worn.row.layers.filter(out_on=None).first(), by, day, after_mm, now)
        self.worn.gap_mm, self.worn.gap_age_months = after_mm, age_months

    def why_refit(self, day: date, last_measured: bool) -> str | None:
        """Why the promise asks for a new socket; "" for a first one, None when the one in use still serves."""
        if self.worn is None:
            return "" if self.turn.makes_sockets else None
        if self.turn.new_at_last and last_measured:
            return Socket.WhyRetired.CHANGED_DESIGN
        promise, soon = self._promise(), day + timedelta(days=ACTS_AHEAD_DAYS)
        if not self.turn.makes_refits:
            return None
        if promise.start_refit_by and promise.start_refit_by <= soon:
            short = promise.limiting == END_GAP
            return Socket.WhyRetired.OUTGROWN_LENGTH if short else Socket.WhyRetired.OUTGROWN_GIRTH
        if promise.length_on and promise.length_on <= soon:
            return Socket.WhyRetired.OUTGROWN_LENGTH
        return None

    def _promise(self) -> Forecast:
        return Forecast.objects.get(current_for__limb=self.limb)

    def make(
        self, visit: Visit, girths_mm: dict, sound_mm: float | None, day: date, by: Staff, now: datetime
    ) -> Socket:
        """Make the next socket from a visit."""
        allowance_mm = self.turn.allowance_mm
        if allowance_mm is None:
            allowance_mm = float(self.rng.choice(ALLOWANCES_MM))
        layers_mm = self.turn.layers_mm
        if layers_mm is None:
            layers_mm = LAYERS_MM[self.rng.integers(len(LAYERS_MM))]
        landmark = level_facts(self.limb.level).station_landmark
        stations = [
            StationIn(landmark, station_mm, girth_mm, round(girth_mm + allowance_mm, 1))
            for station_mm, girth_mm in girths_mm.items()
        ]
        what = SocketIn(
            visit=visit,
            allowance_mm=allowance_mm,
            end_gap_mm=float(self.rng.choice(END_GAPS_MM)),
            forearm_length_mm=None if sound_mm is None else float(round(sound_mm) + self.turn.longer_mm),
            made_on=day,
        )
        return make_socket(self.limb, by, what, stations, layers_mm if stations else (), now)

    def fit(self, socket: Socket, why: str, day: date, age_months: float, by: Staff, now: datetime):
        """Put a new socket into use; why: why the one in use before is retired, empty for the first."""
        fit_socket(socket, by, day, now, why_worn_retired=why)
        self.worn = Worn(socket, socket.end_gap_mm, age_months)
        self.history.append(self.worn)


def girths_of(readings, limb: Limb) -> dict[float, float]:
    """Girth [mm] of a limb by station [mm], of the readings about to be stored, proximal first."""
    return {
        reading.station_mm: closest_two_mean(reading.takes)
        for reading in readings
        if reading.measure == Reading.Measure.GIRTH and reading.limb == limb
    }

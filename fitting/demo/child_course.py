"""One invented child from acceptance to today: every visit, fitting and correction goes through the services."""

import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from fitting.calc.takes import closest_two_mean
from fitting.calc.units import age_months
from fitting.demo.calendar import FITTED_AFTER_DAYS, OPENING_HOURS, clinic_time, weekday_on_or_after
from fitting.demo.growth import Grower
from fitting.demo.limb_course import LimbCourse, girths_of
from fitting.demo.readings import Observer, body_readings, limb_readings, sound_readings
from fitting.demo.stories import Turn
from fitting.models import Reading, Visit, VisitKind
from fitting.services.visits import ReadingIn, VisitIn, correct_reading, record_visit
from patients.models import Child, Limb, Staff

M = Reading.Measure
LYING_UNTIL_MONTHS = 24
RECORDED_AFTER = timedelta(minutes=40)
CORRECTED_AFTER = timedelta(days=2)
SLIP = 10  # a length typed in centimetres where millimetres are meant
SLIP_ALERT = {"code": "unit_slip", "answer": "confirmed", "because": "read twice"}
SLIP_WHY = "Typed in centimetres; the paper form says millimetres."


@dataclass(frozen=True)
class Team:
    """Who sees the children of a clinic."""

    prosthetist: Staff
    others: tuple[Staff, ...]


@dataclass(frozen=True)
class Person:
    """One invented child: the record, how it grows, its story's turn, who sees it, its dice."""

    child: Child
    grower: Grower
    turn: Turn
    team: Team
    rng: np.random.Generator


class ChildCourse:
    """Runs one child's visits in order."""

    def __init__(self, person: Person, limbs: list[LimbCourse], days: list[date], today: date):
        self.person, self.limbs, self.days, self.today = person, limbs, days, today
        self.observer = Observer(person.child.clinic, person.rng)
        self.fitted_since_visit = False

    def run(self) -> list[Visit]:
        return [self._visit(number, day) for number, day in enumerate(self.days)]

    def _visit(self, number, day):
        child, last = self.person.child, number == len(self.days) - 1
        age, at = self._age(day), clinic_time(child.clinic, day, int(self.person.rng.choice(OPENING_HOURS)), 15)
        readings = self._readings(age, last)
        fits = [fit for limb in self.limbs for fit in limb.present_fit(age, last)]
        what = VisitIn(
            at=at,
            kind=self._kind(number),
            submission=uuid.UUID(bytes=self.person.rng.bytes(16), version=4),
            posture=Visit.Posture.LYING if age < LYING_UNTIL_MONTHS else Visit.Posture.SEATED_ELBOW_90,
            minutes_since_doffing=int(self.person.rng.integers(5, 25)) if fits else None,
        )
        slipped = self.person.turn.slipped and number == len(self.days) - 2
        stored = self._with_slip(readings) if slipped else readings
        visit = record_visit(child, self._observer(), what, stored, fits, at + RECORDED_AFTER)
        if slipped:
            self._correct_slip(visit, readings)
        for limb in [] if self._only_weighed(last) else self.limbs:
            self._act(limb, visit, readings, day, age)
        return visit

    def _only_weighed(self, last):
        return last and self.person.turn.only_weighed

    def _measured_days(self):
        return self.days[:-1] if self.person.turn.only_weighed else self.days

    def _age(self, day):
        return age_months(self.person.child.birth_date, day)

    def _kind(self, number):
        fitted, self.fitted_since_visit = self.fitted_since_visit, False
        if number == 0:
            return VisitKind.ASSESSMENT
        return VisitKind.FOLLOW_UP if fitted else VisitKind.REMEASURE

    def _observer(self):
        team = self.person.team
        if team.others and self.person.rng.random() < 0.2:
            return team.others[0]
        return team.prosthetist

    def _readings(self, age, last) -> list[ReadingIn]:
        grower, heavier = self.person.grower, self.person.turn.heavier if last else 1.0
        rows = body_readings(self.observer, grower, age, heavier)
        if self._only_weighed(last):
            return rows
        for course in self.limbs:
            rows += limb_readings(self.observer, course.limb, course.residual, age)
        if len(self.limbs) == 1:
            rows += sound_readings(self.observer, self.limbs[0].limb, grower, age)
        return rows

    def _act(self, course, visit, readings, day, age):
        """What the clinic does after a visit: a layer comes out, or a new socket is made and fitted."""
        by, now = self.person.team.prosthetist, visit.recorded_at + timedelta(minutes=20)
        course.take_due_layer_out(day, age, by, now)
        why = course.why_refit(day, last_measured=day == self._measured_days()[-1])
        fit_day = weekday_on_or_after(day + timedelta(days=FITTED_AFTER_DAYS))
        if why is None or not self._fits_in(visit, fit_day):
            return
        girths_mm = girths_of(readings, course.limb)
        sound_mm = self._prosthesis_length(course.limb, readings, age)
        made_day = weekday_on_or_after(day + timedelta(days=10))
        socket = course.make(visit, girths_mm, sound_mm, made_day, by, self._noon(made_day))
        course.fit(socket, why, fit_day, self._age(fit_day), by, self._noon(fit_day))
        self.fitted_since_visit = True

    def _fits_in(self, visit, fit_day):
        """Whether the fitting comes before the next visit, or before today after the last one."""
        later = [day for day in self.days if day > self.person.child.clinic.day_of(visit.at)]
        return fit_day < (later[0] if later else self.today)

    def _noon(self, day) -> datetime:
        return clinic_time(self.person.child.clinic, day, 12)

    def _prosthesis_length(self, limb, readings, age):
        """Sound forearm length as read [mm]; from the references for both limbs affected; none for a partial hand."""
        if limb.level == Limb.Level.PARTIAL_HAND:
            return None
        read = [closest_two_mean(r.takes) for r in readings if r.measure == M.SOUND_FOREARM_LENGTH]
        return read[0] if read else float(self.person.grower.size("forearm_length", age))

    def _with_slip(self, readings):
        """The readings as stored with the residual length typed in the wrong unit, and the alert waved through."""
        right = _residual_length(readings)
        wrong = ReadingIn(
            measure=right.measure,
            takes=tuple(take / SLIP for take in right.takes),
            typed=tuple(f"{take / SLIP:.1f}" for take in right.takes),
            limb=right.limb,
            landmark=right.landmark,
            alerts=(SLIP_ALERT,),
        )
        return [wrong if reading is right else reading for reading in readings]

    def _correct_slip(self, visit, readings):
        right = _residual_length(readings)
        wrong = visit.readings.get(measure=right.measure, limb=right.limb)
        by, now = self.person.team.prosthetist, visit.recorded_at + CORRECTED_AFTER
        correct_reading(wrong, by, right.takes, right.typed, SLIP_WHY, now)


def _residual_length(readings):
    return next(reading for reading in readings if reading.measure == M.RESIDUAL_LENGTH)

"""The invented scenario: the Tern Island limb program, its clinics, staff and sixty children, relative to a moment."""

import zlib
from collections.abc import Callable
from datetime import datetime, timedelta

import numpy as np
from django.db import transaction

from fitting.calc.residual_growth import Plates
from fitting.calc.units import age_months
from fitting.demo.bookings import Bookings, book_kept, open_clinic_days
from fitting.demo.calendar import clinic_time, visit_days
from fitting.demo.child_course import ChildCourse, Person, Team
from fitting.demo.families import make_child, make_clinics, make_limb, make_sleeve_designs, make_staff
from fitting.demo.growth import new_grower
from fitting.demo.limb_course import LimbCourse
from fitting.demo.muscle import SHOWN, show_muscles
from fitting.demo.residual import Residual
from fitting.demo.sleeves import make_sleeves
from fitting.demo.stories import turn_of
from fitting.demo.tables import demo_rows, rows_of_each_child
from patients.models import Child, Clinic, Limb, Staff

SEED = 20240229
SETTLING_MONTHS = 18


@transaction.atomic
def load_scenario(now: datetime, say: Callable[[int, int], None]) -> None:
    """Make the whole scenario as of a moment, the same for the same day; say(done, of) tells how far it is."""
    clinics = make_clinics()
    teams = {name: _team(clinic) for name, clinic in clinics.items()} if make_staff(clinics) else {}
    designs, bookings, children = make_sleeve_designs(), Bookings(), {}
    rows, limbs, guardians = demo_rows("children"), rows_of_each_child("limbs"), rows_of_each_child("guardians")
    for done, row in enumerate(rows, start=1):
        clinic, key = clinics[row["clinic"]], row["child"]
        today = clinic.day_of(now)
        child = children[key] = make_child(row, guardians[key], clinic, today, children.get(row["sibling_of"]))
        courses = _live(row, limbs[key], child, teams[row["clinic"]], today)
        for course in courses:
            make_sleeves(course, designs)
            if key in SHOWN:
                show_muscles(course.limb, course.worn.row.visit, teams[row["clinic"]].prosthetist, now)
        for visit in child.visits.order_by("at"):
            book_kept(visit, teams[row["clinic"]], today)
        bookings.book(child, teams[row["clinic"]], row["appointment"], today)
        say(done, len(rows))
    for name, clinic in clinics.items():
        open_clinic_days(clinic, teams[name], now)


def _team(clinic: Clinic) -> Team:
    served = Staff.objects.filter(clinics=clinic).order_by("pk")
    prosthetist = served.filter(roles_held__role="prosthetist").first()
    others = served.filter(roles_held__role="therapist").exclude(pk=prosthetist.pk)
    return Team(prosthetist, tuple(others))


def _live(row, limb_rows, child: Child, team: Team, today) -> list[LimbCourse]:
    """Live one child's course up to today; returns the courses of its limbs."""
    rng = np.random.default_rng([SEED, zlib.crc32(row["child"].encode())])
    turn, grower = turn_of(row["story"]), new_grower(row["growth_reference"], rng)
    last_seen = today - timedelta(days=int(row["last_seen_days"]))
    settling = any(
        limb["acquired_months_ago"] and float(limb["acquired_months_ago"]) < SETTLING_MONTHS for limb in limb_rows
    )
    days = visit_days(last_seen, int(row["visits"]), float(row["age_months"]), settling, rng)
    courses = []
    for limb_row in limb_rows:
        limb = make_limb(limb_row, child, today, team.prosthetist, clinic_time(child.clinic, days[0], 8))
        residual = _residual(limb, limb_row, child, grower, turn, days[0], today)
        courses.append(LimbCourse(limb, residual, turn, rng))
    ChildCourse(Person(child, grower, turn, team, rng), courses, days, today).run()
    return courses


def _residual(limb: Limb, limb_row, child, grower, turn, first_day, today) -> Residual:
    percent = float(limb_row["length_percent"])
    return Residual(
        level=limb.level,
        grower=grower,
        plates=Plates(limb.proximal_plate_lost, limb.distal_plate_lost, percent / 100),
        percent=percent,
        bulbous=limb.bulbous_end,
        now_months=age_months(child.birth_date, today),
        first_months=age_months(child.birth_date, first_day),
        acquired_months=age_months(child.birth_date, limb.acquired_on) if limb.acquired_on else None,
        widening=turn.widening,
    )

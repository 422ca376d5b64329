"""Small planning problems for tests."""

from datetime import date, timedelta

from hypothesis import strategies as st

from fitting.calc.planner.problem import Booking, ClinicDay, Problem, Refit

TODAY = date(2026, 5, 4)


def after(days):
    return TODAY + timedelta(days=days)


def clinic_day(days, minutes=120, clinic="Millbrook", staff=None, **fields):
    staff = staff or (("", minutes),)
    defaults = {"key": f"{clinic} {days}", "clinic": clinic, "on": after(days), "room_minutes": minutes, "staff": staff}
    return ClinicDay(**{**defaults, **fields})


def refit(key, early=60, **fields):
    """A refit whose early day is so many days ahead; likely 60 and late 120 days after it."""
    defaults = {
        "minutes": 60,
        "ready_on": TODAY,
        "fitted_by": after(early - 7),
        "early": after(early),
        "likely": after(early + 60),
        "late": after(early + 120),
        "travel_minutes": (("Millbrook", 30),),
    }
    return Refit(str(key), **{**defaults, **fields})


@st.composite
def problems(draw, most_refits=5, most_days=4):
    """Problems small enough to try every plan of."""
    clinics = ("Millbrook", "Eastgate")
    days = []
    for number in range(draw(st.integers(0, most_days))):
        clinic, on = draw(st.sampled_from(clinics)), draw(st.integers(0, 90))
        staff = (("an", draw(st.sampled_from((60, 90, 120)))), ("bo", draw(st.sampled_from((0, 60)))))
        languages = frozenset(draw(st.sampled_from(((), ("es",)))))
        rooms = draw(st.sampled_from((60, 120, 180)))
        days.append(clinic_day(on, rooms, clinic, staff, key=f"{number}", languages=languages))
    refits = tuple(_refit(draw, number, days) for number in range(draw(st.integers(0, most_refits))))
    taken = tuple(
        Booking(day.key, draw(st.sampled_from((30, 60))), draw(st.sampled_from(("", "an")))) for day in days[:1]
    )
    return Problem(TODAY, refits, tuple(days), taken, (clinic_day(20, key="open"), clinic_day(50, key="open later")))


def _refit(draw, number, days):
    pinned = None
    if days and draw(st.integers(0, 4)) == 0:
        pinned = Booking(draw(st.sampled_from(days)).key, 60, "an")
    return refit(
        number,
        early=draw(st.integers(-60, 200)),
        minutes=draw(st.sampled_from((45, 60, 90))),
        ready_on=after(draw(st.integers(-5, 40))),
        travel_minutes=draw(
            st.sampled_from(((("Millbrook", 30),), (("Millbrook", 200), ("Eastgate", 20)), (("Eastgate", 60),)))
        ),
        household=draw(st.sampled_from(("", "", "one"))),
        language=draw(st.sampled_from(("", "", "es"))),
        staff=draw(st.sampled_from(("", "", "bo"))),
        pinned=pinned,
    )

"""The invented clinics, staff, children, guardians and limbs, from the tables."""

from datetime import date, datetime, timedelta

from django.contrib.auth.hashers import make_password
from django.contrib.auth.password_validation import validate_password

from fitting.calc.units import DAYS_PER_MONTH
from fitting.demo.tables import demo_rows, words
from fitting.models import ClinicSettings, SleeveDesign
from fitting.services.cases import enter_limb
from patients.models import Child, Clinic, Guardian, Limb, RoleHeld, Staff
from patients.services import accept_child

DEMO_PASSWORD = "tern-island-on-trial"  # printed by the command; the demo is for a machine of one's own
MM_PER_CM = 10


def make_clinics() -> dict[str, Clinic]:
    """The clinics by name, each with its settings."""
    clinics = {}
    for row in demo_rows("clinics"):
        bands = row.pop("level_bands")
        clinic = Clinic.objects.create(name=row.pop("clinic"), **row)
        ClinicSettings.objects.create(clinic=clinic, level_bands=bands)
        clinics[clinic.name] = clinic
    return clinics


def make_staff(clinics: dict[str, Clinic]) -> list[Staff]:
    hashed = make_password(DEMO_PASSWORD)
    return [_make_member(row, clinics, hashed) for row in demo_rows("staff")]


def _make_member(row, clinics, hashed):
    roles = words(row["roles"])
    member = Staff(
        username=row["sign_in_name"],
        first_name=row["given_name"],
        last_name=row["family_name"],
    )
    validate_password(DEMO_PASSWORD, member)
    member.password = hashed
    member.save()
    member.clinics.set(clinics[name] for name in words(row["clinics"]))
    RoleHeld.objects.bulk_create(RoleHeld(staff=member, role=role) for role in roles)
    return member


def make_sleeve_designs() -> list[SleeveDesign]:
    return [SleeveDesign.objects.create(**row) for row in demo_rows("sleeve_designs")]


def days_before(day: date, months: float) -> date:
    return day - timedelta(days=round(months * DAYS_PER_MONTH))


def make_child(
    row: dict, guardian_rows: list[dict], clinic: Clinic, today: date, sibling: Child | None = None
) -> Child:
    """Accept a child of the table "children", aged as it says today, with its guardians."""
    child = Child(
        clinic=clinic,
        given_name=row["given_name"],
        family_name=row["family_name"],
        birth_date=days_before(today, float(row["age_months"]) + 0.5),
        gestation_weeks=int(row["gestation_weeks"]) if row["gestation_weeks"] else None,
        growth_reference=row["growth_reference"],
        language=row["language"],
        mother_stature_mm=_stature_mm(row["mother_cm"]),
        father_stature_mm=_stature_mm(row["father_cm"]),
        implant=row["implant"],
        allergies=row["allergies"],
        status=row["status"],
        travel_minutes=int(row["travel_minutes"]),
        sibling_of=sibling,
    )
    guardians = [
        Guardian(
            name=guardian["name"],
            relationship=guardian["relationship"],
            phone=guardian["phone"],
            has_legal_authority=guardian["has_legal_authority"] == "yes",
        )
        for guardian in guardian_rows
    ]
    child.full_clean(exclude=["case_serial", "case_number"])
    return accept_child(child, guardians)


def _stature_mm(cell):
    return float(cell) * MM_PER_CM if cell else None


def make_limb(row: dict, child: Child, today: date, by: Staff, now: datetime) -> Limb:
    """Enter a limb of the table "limbs"."""
    ago = row["acquired_months_ago"]
    limb = Limb(
        child=child,
        side=row["side"],
        level=row["level"],
        cause=row["cause"],
        cause_note=row["cause_note"],
        acquired_on=days_before(today, float(ago)) if ago else None,
        distal_plate_lost=row["plate_lost"] == "distal",
        bulbous_end=row["bulbous_end"] == "yes",
    )
    limb.full_clean()
    return enter_limb(limb, by, now)

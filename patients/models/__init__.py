from patients.models.child import Child
from patients.models.clinic import Clinic
from patients.models.guardian import Guardian
from patients.models.limb import Limb
from patients.models.staff import RoleHeld, Staff

__all__ = ["Child", "Clinic", "Guardian", "Limb", "RoleHeld", "Staff"]

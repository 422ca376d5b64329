"""Case numbers: a serial of five digits or more and a check character (ISO/IEC 7064, MOD 37,36)."""

from stdnum.iso7064 import mod_37_36


def case_number_of(serial: int) -> str:
    """Case number of a serial, such as `00042` and its check character."""
    digits = f"{serial:05d}"
    return digits + mod_37_36.calc_check_digit(digits)


def is_case_number(text: str) -> bool:
    return mod_37_36.is_valid(text)

"""What the readings of a part say of its size ahead: a mixture of normals of ln size, one for each tempo point."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import ndtr

from fitting.calc.mixtures import first_crossing, mixture_quantiles


@dataclass(frozen=True)
class Observation:
    """One reading: the day, its canonical value [mm or kg] and the standard deviation of one reading [same unit]."""

    on: date
    value: float
    error_sd: float


@dataclass(frozen=True)
class Outlook:
    """What one limb's readings say of its parts ahead, as a mixture over tempo.

    origin: day of the last reading
    days_ahead: (T,) days from origin, monthly, 0 first [days]
    parts: P names, such as "girth:60" or "forearm_length"
    weights: (J,) posterior weight of each tempo point
    mean_ln: (J, P, T) mean of ln true size [ln mm, or ln kg for weight]
    cov_ln: (J, T, P, P) covariance of ln true size over the parts
    ends_at_table: True when the reference's last age cut the search short
    last_age_months: last age of the reference that drives the parts [months]
    """

    origin: date
    days_ahead: np.ndarray
    parts: tuple[str, ...]
    weights: np.ndarray
    mean_ln: np.ndarray
    cov_ln: np.ndarray
    ends_at_table: bool
    last_age_months: float

    def part_mixture(self, part):
        """Mean and standard deviation of ln true size of one part, each (J, T)."""
        p = self.parts.index(part)
        return self.mean_ln[:, p], np.sqrt(self.cov_ln[:, :, p, p])

    @property
    def note(self):
        """One sentence when the reference ends before the search does, else empty."""
        if not self.ends_at_table:
            return ""
        return f"The reference ends at {self.last_age_months:g} months of age, so the forecast stops there."


def quantiles(outlook: Outlook, part: str, q, error_sd: float = 0.0) -> np.ndarray:
    """Quantiles of a part's size at each day ahead.

    q: (Q,) probabilities; error_sd: SD of one reading [mm or kg], 0 for the true size.
    Returns (Q, T) sizes [mm or kg].
    """
    mean, sd = outlook.part_mixture(part)
    if error_sd:
        sd = np.hypot(sd, error_sd / np.exp(mean))
    return np.exp(mixture_quantiles(outlook.weights, mean.T, sd.T, np.atleast_1d(q))).T


def probability_above(outlook: Outlook, part: str, threshold_mm: float) -> np.ndarray:
    """P(true size > threshold) at each day ahead, (T,); threshold [mm, or kg for weight]."""
    mean, sd = outlook.part_mixture(part)
    return outlook.weights @ ndtr((mean - np.log(threshold_mm)) / sd)


def crossing_days(outlook: Outlook, part: str, threshold_mm: float, q) -> np.ndarray:
    """First day ahead with P(true size > threshold) >= q, for each q; nan when not within the search. (Q,) [days]"""
    probability = probability_above(outlook, part, threshold_mm)
    return first_crossing(probability, outlook.days_ahead, np.atleast_1d(q))

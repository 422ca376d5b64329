"""Quantiles of normal mixtures, and the first day a probability is reached."""

import numpy as np

SQRT_2_PI = np.sqrt(2 * np.pi)
QUANTILE_TOLERANCE_SD = 1e-9  # of the mixture's standard deviation; far below a hundredth of a millimetre
MAX_STEPS = 60

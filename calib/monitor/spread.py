"""Does the spread fit the band, and what do a few good cuts prove?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib import normal
from calib.errors import CalibError


@dataclass(frozen=True)
class Capability:
    """`cp`: width of the band over six sd. `cpk`: distance to the nearer end over three sd."""

    cp: float
    cpk: float


def capability(low: float, high: float, mean: float, s: float) -> Capability:
    """Return how well readings with this mean and sd fit between two limits.

    Cp = (high - low)/(6 s), Cpk = min(high - mean, mean - low)/(3 s) (NIST/SEMATECH e-Handbook 6.1.6).

    Parameters
    ----------
    low, high, mean : float, mm
    s : float, mm
        Standard deviation of the readings.

    Raises
    ------
    CalibError
        When low is not below high or s is not above 0.

    >>> capability(8.0, 20.0, 16.0, 2.0).cp
    1.0
    """
    if not low < high:
        raise CalibError(f"capability: low {low:g} is not below high {high:g}. Swap them.")
    if not 0.0 < s < math.inf:
        raise CalibError(f"capability: sd {s:g} must be finite and above 0. Measure more pieces.")
    return Capability(cp=(high - low) / (6.0 * s), cpk=min(high - mean, mean - low) / (3.0 * s))


def tolerance_factor(n: int, coverage: float, confidence: float) -> float:
    """Return k so that mean + k sd of n readings stands above a share of all pieces, with confidence.

    One-sided: k = t'(confidence; n - 1, z sqrt n)/sqrt n, t' the quantile of the non-central t
    distribution and z the normal quantile of the coverage (NIST/SEMATECH e-Handbook 7.2.6.3).

    Parameters
    ----------
    n : int
        Readings that mean and sd came from; at least 2.
    coverage, confidence : float
        Between 0 and 1.

    Raises
    ------
    CalibError
        When n is below 2 or a probability is not between 0 and 1.

    >>> round(tolerance_factor(10, coverage=0.95, confidence=0.95), 4)
    2.911
    """
    if n < 2:
        raise CalibError(f"tolerance factor: {n} readings show no scatter. Measure at least 2 pieces.")
    for name, value in (("coverage", coverage), ("confidence", confidence)):
        if not 0.0 < value < 1.0:
            raise CalibError(f"tolerance factor: {name} {value:g} is not between 0 and 1. Give 0.95.")
    from scipy.stats import nct  # slow to import, and asked for rarely

    root_n = math.sqrt(n)
    return float(nct.ppf(confidence, n - 1, normal.quantile(coverage) * root_n)) / root_n

"""The chance that a quantity known with uncertainty lies inside its band."""

from __future__ import annotations

import math

from calib.errors import CalibError
from calib.normal import cdf


def probability_in_band(mean: float, u: float, low: float, high: float) -> float:
    """Return the probability that the true size is inside the band.

    p = Phi((high - mean)/u) - Phi((low - mean)/u), JCGM 106:2012, section 7.

    Parameters
    ----------
    mean : float, mm
        Best estimate.
    u : float, mm
        Standard uncertainty of the estimate; 0 = known exactly.
    low, high : float, mm
        Ends of the band; either may be infinite.

    Raises
    ------
    CalibError
        When u is negative or not a number, or low is above high.

    >>> round(probability_in_band(13.6, 1.8, 12.5, 16.3), 10)
    0.6626297865
    """
    if not u >= 0.0 or math.isinf(u) or not math.isfinite(mean):
        raise CalibError(f"band: estimate {mean:g}, u {u:g}: both must be finite and u not negative.")
    if not low <= high:
        raise CalibError(f"band: low {low:g} is not below high {high:g}. Swap them.")
    if u == 0.0:
        return float(low <= mean <= high)
    below, above = (low - mean) / u, (high - mean) / u
    if below > 0.0:  # both in the upper tail: mirror, where cdf keeps its digits
        below, above = -above, -below
    return cdf(above) - cdf(below)

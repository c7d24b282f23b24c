"""How many metres a setup stays inside its band while the cutter wears.

Symbols
-------
m, P_m : level now and its variance.
b, P_b : slope per metre and its variance; P_mb the covariance of the two.
s : scatter of one cut.
L : metres from now.
ok(L) : probability that a cut after L metres is inside the band.
z : two-sided normal quantile of the confidence.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib import normal
from calib.errors import CalibError
from calib.measurement.band import probability_in_band

_SCAN = 64  # points between now and the length where the level itself has left the band


@dataclass(frozen=True)
class Holds:
    """How long a setup holds.

    Parameters
    ----------
    length : float or None, m
        Metres until a cut is inside the band with less than the asked confidence; 0 when it already
        is, infinite when it never will be, None when the wear rate is not established.
    established : bool
        False when b^2 <= z^2 P_b.
    """

    length: float | None
    established: bool
    level: float
    slope: float
    u_level: float
    u_slope: float
    covariance: float
    noise: float
    low: float
    high: float

    def ok(self, length: float) -> float:
        """Return the probability that a cut after so many metres is inside the band.

        Phi((high - m - b L)/v) - Phi((low - m - b L)/v), v^2 = P_m + 2 L P_mb + L^2 P_b + s^2.
        """
        variance = self.u_level**2 + 2.0 * length * self.covariance + (length * self.u_slope) ** 2
        v = math.sqrt(max(variance, 0.0) + self.noise**2)
        return probability_in_band(self.level + self.slope * length, v, self.low, self.high)


def holds_for(
    level: float,
    slope: float,
    u_level: float,
    u_slope: float,
    covariance: float,
    noise: float,
    low: float,
    high: float,
    confidence: float = 0.95,
) -> Holds:
    """Return how many metres the next cut stays inside its band with the asked probability.

    The equations: `Holds.ok`, solved for ok(L) = confidence (derived here). When the slope's own
    interval at that confidence includes 0, b^2 <= z^2 P_b, the wear rate is not established, and no
    length is given.

    Parameters
    ----------
    level, low, high, noise : float, mm
        Level of the reading now, its band, and the sd of one cut. An end of the band may be infinite.
    slope : float, mm/m
        Positive when the reading grows as the cutter wears.
    u_level, u_slope : float, mm and mm/m
    covariance : float, mm^2/m
        Of level and slope.
    confidence : float
        From 0.5 up to, but not including, 1.

    Raises
    ------
    CalibError
        When a number is out of range or the covariance is larger than the uncertainties allow.

    >>> round(holds_for(0.02, 0.004, 0.01, 0.001, 0.0, 0.015, -0.10, 0.10).length, 4)
    11.2596
    """
    _check(level, slope, u_level, u_slope, covariance, noise, low, high, confidence)
    z = normal.quantile(0.5 + 0.5 * confidence)
    established = slope**2 > (z * u_slope) ** 2
    known = (level, slope, u_level, u_slope, covariance, noise, low, high)
    answer = Holds(None, established, *known)
    if not established:
        return answer
    return Holds(_length(answer, confidence), True, *known)


def _length(answer: Holds, confidence: float) -> float:
    if answer.ok(0.0) < confidence:
        return 0.0
    inside, outside = _bracket(answer, confidence)
    if math.isinf(outside):
        return math.inf
    while True:
        middle = 0.5 * (inside + outside)
        if middle in (inside, outside):
            return middle
        if answer.ok(middle) < confidence:
            outside = middle
        else:
            inside = middle


def _bracket(answer: Holds, confidence: float) -> tuple[float, float]:
    """Return a length that holds and a longer one that does not (infinite when there is none)."""
    end = answer.high if answer.slope > 0.0 else answer.low
    out = (end - answer.level) / answer.slope
    if math.isinf(out):  # it moves away from the only end that there is
        return 0.0, math.inf
    inside = 0.0
    for i in range(1, _SCAN + 1):  # the first crossing, should there ever be more than one
        length = out * i / _SCAN
        if answer.ok(length) < confidence:
            return inside, length
        inside = length
    return inside, out


def _check(
    level: float,
    slope: float,
    u_level: float,
    u_slope: float,
    covariance: float,
    noise: float,
    low: float,
    high: float,
    confidence: float,
) -> None:
    if not all(math.isfinite(value) for value in (level, slope, u_level, u_slope, covariance, noise)):
        raise CalibError("holds: level, slope and their uncertainties must be finite numbers.")
    if min(u_level, u_slope, noise) < 0.0:
        raise CalibError(f"holds: u {u_level:g}, {u_slope:g} and noise {noise:g} must not be negative.")
    if abs(covariance) > u_level * u_slope * (1.0 + 1e-9):
        raise CalibError(f"holds: covariance {covariance:g} is larger than u_level times u_slope.")
    if not low < high:
        raise CalibError(f"holds: low {low:g} is not below high {high:g}. Swap them.")
    if not 0.5 <= confidence < 1.0:
        raise CalibError(f"holds: confidence {confidence:g} must be from 0.5 to below 1. Give 0.95 for 95 %.")

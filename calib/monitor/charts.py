"""Two charts that see a small, lasting change in a run of good pieces: EWMA and CUSUM.

Symbols
-------
x : ndarray of shape (n,), mm; readings in the order they were cut.
weight : share of the newest reading in the moving average (lambda in the textbooks).
k, h : allowance and decision limit of the cumulative sum, in the unit of x; common choices are
    0.5 and 4 or 5 standard deviations.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.errors import CalibError
from calib.normal import Array


def ewma(x: Sequence[float] | Array, weight: float, start: float) -> Array:
    """Return the exponentially weighted moving average, the start included.

    z_0 = start, z_i = weight x_i + (1 - weight) z_{i-1} (NIST/SEMATECH e-Handbook 6.3.2.4).

    Parameters
    ----------
    x : ndarray of shape (n,)
    weight : float
        Above 0, at most 1 (1 = the last reading alone).
    start : float
        The target, or the mean of earlier pieces.

    Returns
    -------
    ndarray of shape (n + 1,)

    Raises
    ------
    CalibError
        When the weight is out of range or a reading is not finite.

    >>> [round(z, 2) for z in ewma([52.0, 47.0, 53.0], weight=0.3, start=50.0).tolist()]
    [50.0, 50.6, 49.52, 50.56]
    """
    _check_weight(weight)
    readings = _checked_readings(x)
    values = [float(start)]
    for reading in readings.tolist():
        values.append(weight * reading + (1.0 - weight) * values[-1])
    return np.array(values)


def ewma_limits(
    start: float, sd: float, weight: float, width: float = 3.0, after: int | None = None
) -> tuple[float, float]:
    """Return the lower and upper limit for a moving average of readings that have not changed.

    start -+ width sd sqrt(weight/(2 - weight)) once the chart has run in; after n readings the root also
    holds 1 - (1 - weight)^(2n) (NIST/SEMATECH e-Handbook 6.3.2.4).

    Parameters
    ----------
    start, sd : float, mm
        Where the average started, and the standard deviation of one reading.
    width : float
        In standard deviations of the average.
    after : int, optional
        Number of readings so far; None = many.

    >>> [round(limit, 4) for limit in ewma_limits(50.0, 2.0539, 0.3)]
    [47.4116, 52.5884]
    """
    _check_weight(weight)
    if not 0.0 <= sd < math.inf:
        raise CalibError(f"chart: sd {sd:g} must be finite and not negative.")
    share = weight / (2.0 - weight)
    if after is not None:
        share *= 1.0 - (1.0 - weight) ** (2 * after)
    half = width * sd * math.sqrt(share)
    return start - half, start + half


@dataclass(frozen=True, eq=False)
class Cusum:
    """Cumulative sums on both sides of the target.

    Parameters
    ----------
    high, low : ndarray of shape (n,), unit of x
        How far the readings have run above, and below, the target; neither is ever negative.
    first_signal : int or None
        Index (from 0) of the first reading at which one of them is above h.
    """

    high: Array
    low: Array
    first_signal: int | None


def cusum(x: Sequence[float] | Array, target: float, k: float, h: float) -> Cusum:
    """Return the tabular cumulative sums of readings and where they first tell of a change.

    high_i = max(0, high_{i-1} + x_i - target - k), low_i = max(0, low_{i-1} + target - k - x_i), both
    from 0 (NIST/SEMATECH e-Handbook 6.3.2.3).

    Parameters
    ----------
    x : ndarray of shape (n,)
    target, k, h : float, unit of x
        k about half the shift to be found; h from 4 to 5 standard deviations.

    Raises
    ------
    CalibError
        When k is negative, h is not above 0, or a reading is not finite.

    >>> sums = cusum([0.0, 1.0, 2.0, 2.0], target=0.0, k=0.5, h=3.0)
    >>> sums.high.tolist(), sums.low.tolist(), sums.first_signal
    ([0.0, 0.5, 2.0, 3.5], [0.0, 0.0, 0.0, 0.0], 3)
    """
    if not 0.0 <= k < math.inf or not h > 0.0:
        raise CalibError(f"chart: k {k:g} must not be negative and h {h:g} must be above 0.")
    readings = _checked_readings(x)
    high, low = np.zeros(len(readings)), np.zeros(len(readings))
    up = down = 0.0
    for i, reading in enumerate(readings.tolist()):
        up = max(0.0, up + reading - target - k)
        down = max(0.0, down + target - k - reading)
        high[i], low[i] = up, down
    signals = np.flatnonzero((high > h) | (low > h))
    return Cusum(high, low, int(signals[0]) if signals.size else None)


def _check_weight(weight: float) -> None:
    if not 0.0 < weight <= 1.0:
        raise CalibError(f"chart: weight {weight:g} must be above 0 and at most 1. Common choice: 0.3.")


def _checked_readings(x: Sequence[float] | Array) -> Array:
    readings = np.asarray(x, dtype=float)
    if readings.ndim != 1:
        raise CalibError(f"chart: readings have shape {readings.shape}. Give one row of numbers.")
    bad = np.flatnonzero(~np.isfinite(readings))
    if bad.size:
        raise CalibError(f"chart: reading {bad[0] + 1} is {readings[bad[0]]}. Leave it out.")
    return readings

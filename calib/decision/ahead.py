"""What the pieces to come will be as the edge wears: where each reading will stand, and how long it holds.

    inside(n) = sum over components c of w_c [Phi((high - m_c(n)) / v_c(n)) - Phi((low - m_c(n)) / v_c(n))]

with m_c(n) the level now, moved by what the edge will have lost after n more pieces and by n times the creep,
and v_c^2(n) the variance of the level, of the creep and of one cut. It is the chance of *one* piece, the one
cut then; a setting holds while that chance is at least the confidence asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.normal import cdf
from calib.regression.mixture import Mixture
from calib.regression.prospect import Prospect
from calib.shop import Band

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: A setting holds while the next piece is inside its band with at least this probability.
HOLDS_AT = 0.9
#: Nothing is said beyond this many pieces.
MOST_PIECES = 100_000


@dataclass(frozen=True, eq=False)
class Ahead:
    """One reading at one position, along the pieces to come.

    Parameters
    ----------
    weights, level, variance, creep, creep_variance : ndarray of shape (C,)
        mm, mm^2 and per piece; the variance is that of the level and of one cut.
    """

    future: Prospect
    f: int
    band: Band
    weights: Array
    level: Array
    variance: Array
    creep: Array
    creep_variance: Array

    def size(self, pieces: ArrayLike) -> tuple[Array, Array]:
        """Return mean and variance (C, n) of the true size of the piece that comes after so many, mm."""
        n = np.atleast_1d(np.asarray(pieces, dtype=np.float64))
        worn = self.future.worn_after(n)[:, self.f]
        mean = self.level[:, None] + worn + self.creep[:, None] * n
        return mean, self.variance[:, None] + self.creep_variance[:, None] * n**2

    def level_at(self, pieces: float) -> tuple[float, float]:
        """Return mean and variance of the level (no scatter of the single cut) after so many pieces, mm."""
        mean, variance = self.size(pieces)
        middle = float(self.weights @ mean[:, 0])
        of_cut = self.future.cut_sd[:, self.f] ** 2
        spread = variance[:, 0] - of_cut + (mean[:, 0] - middle) ** 2
        return middle, max(float(self.weights @ spread), 0.0)

    def inside(self, pieces: ArrayLike) -> Array:
        """Return the chance that the piece after so many is inside its band, shape (n,)."""
        mean, variance = self.size(pieces)
        sd = np.sqrt(np.maximum(variance, 1e-18))
        chance: Array = self.weights @ (
            cdf((self.band.high_mm - mean) / sd) - cdf((self.band.low_mm - mean) / sd)
        )
        return chance

    def reading(self, pieces: float) -> Mixture:
        """Return what the gauge would read on the piece after so many, its zero error left out, mm."""
        mean, variance = self.size(pieces)
        noise = self.future.reading_sd[:, self.f] ** 2
        return Mixture(self.weights, mean[:, 0], np.sqrt(variance[:, 0] + noise))

    def most(self, confidence: float = HOLDS_AT) -> float:
        """Return how many pieces (not only whole ones) the setting holds; 0 when it does not hold at all.

        The first crossing, by doubling and halving; infinite beyond `MOST_PIECES`.
        """
        if self.inside(0.0)[0] < confidence:
            return 0.0
        low, high = _bracket(self, confidence)
        if math.isinf(high):
            return math.inf
        while high - low > 1e-9 * high:
            middle = 0.5 * (low + high)
            if middle in (low, high):
                break
            low, high = (middle, high) if self.inside(middle)[0] >= confidence else (low, middle)
        return low


def _bracket(ahead: Ahead, confidence: float) -> tuple[float, float]:
    """Return a number of pieces that holds and a larger one that does not, infinite where there is none."""
    steps = np.append(0.0, np.geomspace(1e-3, MOST_PIECES, 49))
    failing = np.flatnonzero(ahead.inside(steps) < confidence)
    if not len(failing):
        return MOST_PIECES, math.inf
    return float(steps[failing[0] - 1]), float(steps[failing[0]])


def look_ahead(future: Prospect, change_mm: Array, moved: Mask, f: int, band: Band) -> Ahead:
    """Return one reading of a block at one position, along the pieces to come.

    Parameters
    ----------
    change_mm, moved : ndarray of shape (A,)
        As for `Prospect.after`.
    """
    mean, covariance = future.after(change_mm[None, :], moved[None, :])
    creep, creep_variance = future.creep_after()
    return Ahead(
        future, f, band, future.weights, mean[:, 0, f], covariance[:, 0, f, f] + future.cut_sd[:, f] ** 2,
        creep[:, f], creep_variance[:, f],
    )  # fmt: skip


def drifts(future: Prospect) -> bool:
    """Say whether anything is known to change along the batch."""
    return bool(np.any(future.drift) or np.any(future.creep_after()[1]))

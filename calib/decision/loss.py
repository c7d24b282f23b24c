"""Expected minutes that a batch of good pieces costs when it is cut at a given setting.

    minutes = sum over pieces i and readings f of
              too_high_f * P(size_fi > high_f) + too_low_f * P(size_fi < low_f)

The true size of piece i is normal around the level with the level's variance plus the scatter of one
cut; drift moves it along the batch. Being linear, the sum needs no joint probabilities.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib import normal
from calib.shop import Band, ReadingStakes

Array = NDArray[np.float64]

#: Pieces of a drifting batch at which the loss is looked at.
_BATCH_NODES = 6
#: A batch that drifts less than this is taken at its middle; one that drifts hardly at all as still.
_SHORT_DRIFT_MM = 0.01
_LEAST_DRIFT_MM = 1e-4


@dataclass(frozen=True)
class BatchLoss:
    """The price list of one reading for a batch.

    Parameters
    ----------
    band : Band
    stakes : ReadingStakes
        Minutes per spoiled piece.
    pieces : int
    along : int, optional
        Pieces until the setting is looked at again and moved when wear asks for it: a longer batch is priced
        as so many of these. None = the whole batch is cut as it stands.
    """

    band: Band
    stakes: ReadingStakes
    pieces: int
    along: int | None = None

    def minutes(self, mean: Array, variance: Array, drift: Array | float = 0.0) -> Array:
        """Return expected minutes, for arrays that broadcast together.

        Parameters
        ----------
        mean : ndarray, mm
            Level of the reading for the next piece.
        variance : ndarray, mm^2
            Of the true size of one piece: level and scatter.
        drift : ndarray or float, mm per piece
        """
        sd = np.sqrt(np.maximum(variance, 1e-18))
        pieces = self.pieces if self.along is None else min(self.pieces, self.along)
        travel = np.max(np.abs(drift)) * pieces
        if travel < _LEAST_DRIFT_MM:
            return self.pieces * self._piece(mean, sd)
        if travel < _SHORT_DRIFT_MM:
            return self.pieces * self._piece(mean + 0.5 * (pieces - 1) * drift, sd)
        at = (np.arange(_BATCH_NODES) + 0.5) / _BATCH_NODES * pieces - 0.5
        along = [self._piece(mean + i * drift, sd) for i in np.clip(at, 0.0, None)]
        total: Array = np.mean(along, axis=0) * self.pieces
        return total

    def _piece(self, mean: Array, sd: Array) -> Array:
        above = normal.cdf((mean - self.band.high_mm) / sd)
        below = normal.cdf((self.band.low_mm - mean) / sd)
        price: Array = self.stakes.too_high_min * above + self.stakes.too_low_min * below
        return price


def batch_minutes(
    losses: Sequence[BatchLoss], mean: Array, variance: Array, cut_sd: Array, drift: Array
) -> Array:
    """Return expected minutes summed over the readings, shape (C, P).

    Parameters
    ----------
    mean, variance : ndarray of shape (C, P, F), mm and mm^2
        Of the level.
    cut_sd, drift : ndarray of shape (C, F), mm and mm per piece
    """
    total = np.zeros(mean.shape[:2])
    for f, loss in enumerate(losses):
        spread = variance[:, :, f] + cut_sd[:, None, f] ** 2
        total += loss.minutes(mean[:, :, f], spread, drift[:, None, f])
    return total

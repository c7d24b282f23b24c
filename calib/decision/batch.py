"""Along the batch: when to measure a piece on the way, and how long the setting holds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calib.decision.ahead import MOST_PIECES, drifts, look_ahead
from calib.decision.choice import Choice
from calib.decision.loss import BatchLoss
from calib.decision.sensing import AGAIN_SHARE
from calib.decision.standins import heaviest
from calib.normal import quantile
from calib.regression.prospect import Prospect
from calib.shop import Setup

Array = NDArray[np.float64]

#: After how many pieces a look is weighed.
_LOOK_AFTER = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96)
_OUTCOMES = 41
#: Minutes that a look must save before it is spoken of.
_WORTH_SAYING_MIN = 0.25
#: Components below this share of the heaviest are left out of what a look is worth.
_SMALL = 1e-3
#: A reading that follows its adjusters by less than this per mm cannot be put right by them.
_MOVES_IT = 1e-3


def check_after(setup: Setup, futures: Sequence[Prospect], choices: Sequence[Choice]) -> int | None:
    """Return after how many good pieces one should be measured, or None when it does not pay.

    Notes
    -----
    Measuring costs half a test cut. After k pieces the last one is measured; then the rest is cut as it
    stands, or after one move onto the aim, whichever is cheaper. One look ahead: a lower bound of what
    looking is worth.
    """
    looks = [
        _Look(setup, future, choice, f)
        for future, choice in zip((heaviest(f, _SMALL) for f in futures), choices, strict=True)
        for f in range(len(future.readings))
        if np.abs(future.slopes[:, f, :]).max(initial=0.0) >= _MOVES_IT
    ]
    best: int | None = None
    price, saved = AGAIN_SHARE * setup.stakes.test_cut_min, _WORTH_SAYING_MIN
    for k in _LOOK_AFTER:
        if k >= setup.pieces_left:
            break
        stands = [look.as_it_stands(k) for look in looks]
        if sum(float(look.weights @ now) for look, now in zip(looks, stands, strict=True)) <= price + saved:
            continue  # no look can save more than all that the rest is expected to cost
        gain = sum(look.saves(k, now) for look, now in zip(looks, stands, strict=True)) - price
        if gain > saved:
            best, saved = k, gain
    return best


class _Look:
    """One reading of a block with an adjuster, measured along the batch."""

    def __init__(self, setup: Setup, future: Prospect, choice: Choice, f: int) -> None:
        mean, covariance = future.after(choice.change_mm[None, :], choice.moved[None, :])
        slopes = np.abs(future.slopes[:, f, :])
        a = int(np.argmax(slopes.mean(axis=0)))
        self.setup, self.weights = setup, future.weights
        self.band, self.stakes = setup.band(future.readings[f]), setup.stakes.of(future.readings[f])
        self.drift = (future.drift + future.creep_after()[0])[:, f]
        self.level, self.variance = mean[:, 0, f], covariance[:, 0, f, f]
        self.cut = np.maximum(future.cut_sd[:, f], 1e-9) ** 2
        self.landing = (slopes[:, a] * future.move_sd[:, a]) ** 2
        self.noise = self.cut + future.reading_sd[:, f] ** 2

    def _price(self, k: int) -> BatchLoss:
        return BatchLoss(self.band, self.stakes, self.setup.pieces_left - k)

    def as_it_stands(self, k: int) -> Array:
        """Minutes (C,) that the pieces after the k-th cost as it stands."""
        return self._price(k).minutes(self.level + k * self.drift, self.variance + self.cut, self.drift)

    def saves(self, k: int, now: Array) -> float:
        """Minutes that a look after k pieces saves; `now` is what they cost as it stands."""
        price, variance, drift = self._price(k), self.variance, self.drift
        after = variance * self.noise / (variance + self.noise)
        steps = quantile((np.arange(_OUTCOMES) + 0.5) / _OUTCOMES)
        there = (self.level + k * drift)[:, None] + np.sqrt(variance - after)[:, None] * steps
        stay = price.minutes(there, (after + self.cut)[:, None], drift[:, None])
        aim = np.linspace(self.band.low_mm, self.band.high_mm, 31)
        spread = (after + self.landing + self.cut)[:, None]
        moved = price.minutes(aim[None, :], spread, drift[:, None]).min(axis=1)
        known = np.minimum(stay, moved[:, None] + self.setup.stakes.move_min).mean(axis=1)
        return float(self.weights @ np.maximum(now - known, 0.0))


def holds_for_pieces(setup: Setup, futures: Sequence[Prospect], choices: Sequence[Choice]) -> int | None:
    """Return how many pieces the setting holds, or None where no drift is known or it does not hold at all.

    It holds while each reading of the next piece is inside its band with probability 0.9.
    """
    found = [
        look_ahead(future, choice.change_mm, choice.moved, f, setup.band(reading)).most()
        for future, choice in zip(futures, choices, strict=True)
        if drifts(future)
        for f, reading in enumerate(future.readings)
    ]
    least = min(found, default=0.0)
    return int(min(least, MOST_PIECES)) if least >= 1.0 else None

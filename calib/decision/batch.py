"""Along the batch: when to measure a piece on the way, and how long the setting holds."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calib.decision.ahead import MOST_PIECES, drifts, look_ahead
from calib.decision.choice import Choice
from calib.decision.loss import BatchLoss
from calib.decision.sensing import AGAIN_SHARE
from calib.normal import quantile
from calib.regression.prospect import Prospect
from calib.shop import Setup

Array = NDArray[np.float64]

#: After how many pieces a look is weighed.
_LOOK_AFTER = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64, 96)
_OUTCOMES = 41
#: Minutes that a look must save before it is spoken of.
_WORTH_SAYING_MIN = 0.25


def check_after(setup: Setup, futures: Sequence[Prospect], choices: Sequence[Choice]) -> int | None:
    """Return after how many good pieces one should be measured, or None when it does not pay.

    Notes
    -----
    Measuring costs half a test cut. After k pieces the last one is measured; then the rest is cut as it
    stands, or after one move onto the aim, whichever is cheaper. One look ahead: a lower bound of what
    looking is worth.
    """
    best: int | None = None
    saved = _WORTH_SAYING_MIN
    for k in _LOOK_AFTER:
        if k >= setup.pieces_left:
            break
        gain = -AGAIN_SHARE * setup.stakes.test_cut_min
        gain += sum(
            _gain(setup, future, choice, k) for future, choice in zip(futures, choices, strict=True)
        )
        if gain > saved:
            best, saved = k, gain
    return best


def _gain(setup: Setup, future: Prospect, choice: Choice, k: int) -> float:
    """Minutes that one look after k pieces saves for one block with an adjuster."""
    if not future.adjusters:
        return 0.0
    left = setup.pieces_left - k
    mean, covariance = future.after(choice.change_mm[None, :], choice.moved[None, :])
    total = 0.0
    for f, reading in enumerate(future.readings):
        slopes = np.abs(future.slopes[:, f, :])
        if slopes.max(initial=0.0) < 1e-3:
            continue
        a = int(np.argmax(slopes.mean(axis=0)))
        price = BatchLoss(setup.band(reading), setup.stakes.of(reading), left)
        drift = (future.drift + future.creep_after()[0])[:, f]
        level, variance = mean[:, 0, f] + k * drift, covariance[:, 0, f, f]
        cut = np.maximum(future.cut_sd[:, f], 1e-9) ** 2
        landing = (slopes[:, a] * future.move_sd[:, a]) ** 2
        now = price.minutes(level, variance + cut, drift)
        noise = cut + future.reading_sd[:, f] ** 2
        after = variance * noise / (variance + noise)
        steps = quantile((np.arange(_OUTCOMES) + 0.5) / _OUTCOMES)
        there = level[:, None] + np.sqrt(variance - after)[:, None] * steps
        stay = price.minutes(there, (after + cut)[:, None], drift[:, None])
        aim = np.linspace(price.band.low_mm, price.band.high_mm, 31)
        moved = price.minutes(aim[None, :], (after + landing + cut)[:, None], drift[:, None]).min(axis=1)
        known = np.minimum(stay, moved[:, None] + setup.stakes.move_min).mean(axis=1)
        total += float(future.weights @ np.maximum(now - known, 0.0))
    return total


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

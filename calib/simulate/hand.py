"""A hand that feels a joint: its own limits between the words, and its own spread."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from calib.feel import BETWEEN, way_into
from calib.regression.feelscale import ANCHOR_SHARE, LOG_GAP_SD, LOG_SPREAD_SD, OWN_SHARE, words_in_order
from calib.shop import FeelPair, FeelScale


@dataclass(frozen=True)
class Hand:
    """Words from tight to loose, the limits between them (mm) and the spread of one word (sd, mm).

    With `between` above 0 the hand is a finer one (see `calib.feel`): so many spreads into a wide word it
    says that the fit lies between two.
    """

    words: tuple[str, ...]
    limits_mm: tuple[float, ...]
    spread_mm: float
    between: float = 0.0

    def word(self, size_mm: float, rng: Generator) -> str:
        """Return what the hand says of a joint of this size."""
        felt = size_mm + self.spread_mm * float(rng.standard_normal())
        k = int(np.searchsorted(self.limits_mm, felt))
        low, high = (-math.inf, *self.limits_mm)[k], (*self.limits_mm, math.inf)[k]
        into = way_into(high - low, self.between * self.spread_mm)
        if felt < low + into:
            return f"{self.words[k - 1]}{BETWEEN}{self.words[k]}"
        if felt > high - into:
            return f"{self.words[k]}{BETWEEN}{self.words[k + 1]}"
        return self.words[k]

    def pairs(self, n: int, u_mm: float, rng: Generator, usual_mm: float = 0.04) -> tuple[FeelPair, ...]:
        """Return n cuts of earlier dial-ins that were felt and measured with an error of sd u_mm."""
        found = []
        for _ in range(n):
            size = usual_mm + 0.1 * float(rng.standard_normal())
            found.append(FeelPair(self.word(size, rng), size + u_mm * float(rng.standard_normal()), u_mm))
        return tuple(found)


def hand_as_stated(scale: FeelScale) -> Hand:
    """Return a hand whose words mean what the scale states, each with the stated spread."""
    order = words_in_order(scale)
    return Hand(order, tuple(scale.words[word][1] for word in order[:-1]), scale.spread_mm)


def draw_hand(scale: FeelScale, rng: Generator) -> Hand:
    """Draw a maker's hand from what is believed of hands before any pair (see `regression.feelscale`)."""
    stated = hand_as_stated(scale)
    limits = np.array(stated.limits_mm)
    anchor = (len(limits) - 1) // 2
    gaps = np.diff(limits) * np.exp(LOG_GAP_SD * rng.standard_normal(len(limits) - 1))
    steps = np.concatenate([[0.0], np.cumsum(gaps)])
    middle = limits[anchor] + ANCHOR_SHARE * scale.spread_mm * float(rng.standard_normal())
    spread = OWN_SHARE * scale.spread_mm * math.exp(LOG_SPREAD_SD * float(rng.standard_normal()))
    return Hand(stated.words, tuple((middle + steps - steps[anchor]).tolist()), spread)

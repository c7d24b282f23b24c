"""One action of one block, and all of them side by side.

Symbols
-------
A adjusters
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Choice:
    """One action of one block: expected minutes, and the moves that go with it.

    Parameters
    ----------
    change_mm : ndarray of shape (A,); moved : ndarray of shape (A,), bool
    tests : float
        Test cuts expected from now on.
    """

    minutes: float
    change_mm: Array
    moved: Mask
    tests: float = 0.0


@dataclass(frozen=True)
class Weighed:
    """Every action of one block, with its best position.

    `again` is priced without the minutes of measuring itself: all blocks share those.
    """

    cut_now: Choice
    move_and_cut: Choice | None
    test: Choice
    move_and_test: Choice | None
    again: Choice

    def best_cut(self) -> Choice:
        """The cheaper of cutting here and moving first."""
        return _cheaper(self.cut_now, self.move_and_cut)

    def best_test(self) -> Choice:
        """The cheaper of testing here and moving first."""
        return _cheaper(self.test, self.move_and_test)


#: Minutes by which a move must win before it is advised; below it is only noise of the arithmetic.
WORTH_MOVING_MIN = 0.02


def _cheaper(stay: Choice, move: Choice | None) -> Choice:
    if move is None or move.minutes > stay.minutes - WORTH_MOVING_MIN:
        return stay
    return move


def least(one: Choice | None, other: Choice | None) -> Choice | None:
    """The cheaper of two choices that may be missing."""
    if one is None or other is None:
        return one if other is None else other
    return other if other.minutes < one.minutes else one

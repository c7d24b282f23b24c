"""Who pays for a test cut that several blocks share.

Blocks are planned as if they had no unknowns in common, but one test cut serves them all. Each is planned
by itself and pays a share of the cut. Whatever the shares, the minutes of the blocks together are then less
than any common plan can do with (each may test when the others do not), so the shares that make them most
are the nearest: they are where a little more of the price would save every block as many tests. Minutes
are concave in the price, so the most is found by giving the price away in crumbs, each to the block that
it costs most.

Source: the decomposition of Everett 1963 (M), Generalized Lagrange multiplier method; checked against brute
force over both beliefs, see tests/benchmarks/two_readings.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Shares at which a block is planned. None tests for nothing: it would do so for ever.
_SHARES = np.array([0.05, 0.08, 0.13, 0.2, 0.35, 0.5, 0.7, 1.0])
_CRUMB = 0.01


class Block(Protocol):
    """What is weighed."""

    def alone_min(self, test_min: Array) -> Array:
        """Minutes that the block costs, for several prices of a test cut."""
        ...

    def cut_now_min(self) -> float:
        """Minutes that cutting the good pieces as it stands costs."""
        ...


def shares_of(test_min: float, blocks: Sequence[Block]) -> list[float]:
    """Return the share of a test cut of `test_min` minutes that each block pays; they sum to 1."""
    even = [1.0 / len(blocks)] * len(blocks)
    if len(blocks) == 1 or len(blocks) * _SHARES[0] >= 1.0:
        return even  # nothing to share, or too many to tell apart
    if sum(block.cut_now_min() for block in blocks) <= test_min:
        return even  # no test can pay
    minutes = np.stack([block.alone_min(_SHARES * test_min) for block in blocks])
    return given_away(minutes) if np.ptp(minutes, axis=1).max() > 1e-6 * test_min else even


def given_away(minutes: Array) -> list[float]:
    """Return the shares that make the minutes of all blocks together most.

    Parameters
    ----------
    minutes : ndarray of shape (B, len(_SHARES))
        Of each block at each share.
    """
    least = float(_SHARES[0])
    shares = np.arange(least, 1.0 + 0.5 * _CRUMB, _CRUMB)
    table = np.stack([np.interp(shares, _SHARES, row) for row in minutes])
    # Made concave where the grid is not quite: a crumb costs no more than the one before it.
    crumbs = np.minimum.accumulate(np.diff(table, axis=1), axis=1)
    free = round((1.0 - least * len(minutes)) / _CRUMB)
    takers = np.argsort(-crumbs.T, axis=None, kind="stable")[:free] % len(minutes)  # who ties takes turns
    return (least + _CRUMB * np.bincount(takers, minlength=len(minutes))).tolist()

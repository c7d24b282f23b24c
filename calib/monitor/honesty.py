"""Do the chances that were given come true?

Each forecast was made from the log as it then was and is judged by the reading that came next. If the
chances are true, the outcome less the chance has mean 0 whatever came before, so the misses of one
forecast after another are uncorrelated even within one mounting, and the variance of their sum is the
sum of p (1 - p) (prequential principle, Dawid 1984, M). Readings of one cut belong to one advice and are
taken together (as one group) where a spread is estimated.

Symbols
-------
p : ndarray of shape (n,), the chance that was given.
o : ndarray of shape (n,), what came true: 1, 0, or 0.5 for a reading exactly on the edge of its band.
g : which advice each of them belongs to.

Assumed: which forecasts could be judged does not hang on how they came out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.errors import CalibError
from calib.normal import Array

Indices = NDArray[np.intp]

#: Limits of the bins of chances that were given.
EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0)


@dataclass(frozen=True)
class Bin:
    """Forecasts whose chance lay from `low` up to `high`.

    Parameters
    ----------
    count : int
    said, came_true : float
        Mean of the chances, and share that came true.
    u : float
        Standard error of the share that came true if the chances are true.
    """

    low: float
    high: float
    count: int
    said: float
    came_true: float
    u: float


@dataclass(frozen=True)
class Honesty:
    """How chances compare with what came true.

    Parameters
    ----------
    count : int
    said, came_true, u : float
        As in `Bin`, over all.
    bins : tuple of Bin
        Those that hold anything, lowest first.
    brier, u_brier : float
        Mean of (p - o)^2 and its standard error; 0 is perfect.
    base_rate, brier_base : float
        Share that came true, and the score of always saying that: a forecast that knows the end.
    better_by, u_better_by : float
        Brier score of the base rate less that of the chances, and the standard error of that difference.
    """

    count: int
    said: float
    came_true: float
    u: float
    bins: tuple[Bin, ...]
    brier: float
    u_brier: float
    base_rate: float
    brier_base: float
    better_by: float
    u_better_by: float

    @property
    def off_by(self) -> float:
        """How far the share that came true is from what was said, in standard errors."""
        return 0.0 if self.u == 0.0 else (self.came_true - self.said) / self.u


def honesty(
    said: Sequence[float] | Array,
    came_true: Sequence[float] | Array,
    groups: Sequence[int] | None = None,
    edges: Sequence[float] = EDGES,
) -> Honesty | None:
    """Return how chances compare with what came true; None when there are none.

    Parameters
    ----------
    said : ndarray of shape (n,)
        Chances, 0 to 1.
    came_true : ndarray of shape (n,)
        1 = it did, 0 = it did not, 0.5 = exactly on the edge.
    groups : sequence of int of length n, optional
        Forecasts with the same number were made together; None = each by itself.
    edges : sequence of float
        Limits of the bins, from 0 to 1.

    Raises
    ------
    CalibError
        When the lengths differ or a number is not between 0 and 1.

    >>> found = honesty([0.9, 0.9, 0.2, 0.8], [1, 1, 0, 0])
    >>> round(found.said, 2), found.came_true, round(found.brier, 3)
    (0.7, 0.5, 0.175)
    """
    p, o = _checked(said), _checked(came_true)
    g = np.array(range(len(p)) if groups is None else groups, dtype=np.intp)
    if not len(p) == len(o) == len(g):
        told = f"{len(p)} chances, {len(o)} outcomes and {len(g)} groups"
        raise CalibError(f"honesty: {told}. Give as many of each.")
    if len(p) == 0:
        return None
    base = float(o.mean())
    squares, base_squares = (p - o) ** 2, (base - o) ** 2
    return Honesty(
        count=len(p), said=float(p.mean()), came_true=base, u=_u_if_true(p, g), bins=_bins(p, o, g, edges),
        brier=float(squares.mean()), u_brier=_u_of_mean(squares, g),
        base_rate=base, brier_base=float(base_squares.mean()),
        better_by=float((base_squares - squares).mean()), u_better_by=_u_of_mean(base_squares - squares, g),
    )  # fmt: skip


def _bins(p: Array, o: Array, g: Indices, edges: Sequence[float]) -> tuple[Bin, ...]:
    found = []
    for k, (low, high) in enumerate(itertools.pairwise(edges)):
        last = k == len(edges) - 2
        inside = (p >= low) & ((p <= high) if last else (p < high))
        if inside.any():
            mine, true = p[inside], o[inside]
            u = _u_if_true(mine, g[inside])
            found.append(Bin(low, high, len(mine), float(mine.mean()), float(true.mean()), u))
    return tuple(found)


def _u_if_true(p: Array, g: Indices) -> float:
    """Return the standard error of the share that comes true when the chances p are true.

    Readings of one cut may hang together in any way: within a group the sds are added, which is the
    most that the variance of their sum can be.
    """
    sd = np.sqrt(p * (1.0 - p))
    by_group = np.bincount(np.unique(g, return_inverse=True)[1], weights=sd)
    return math.sqrt(float(by_group @ by_group)) / len(p)


def _u_of_mean(values: Array, g: Indices) -> float:
    """Return the standard error of a mean, groups taken whole; infinite for a single group."""
    place = np.unique(g, return_inverse=True)[1]
    sums = np.bincount(place, weights=values - values.mean())
    if len(sums) < 2:
        return math.inf
    return math.sqrt(float(sums @ sums) * len(sums) / (len(sums) - 1)) / len(values)


def _checked(values: Sequence[float] | Array) -> Array:
    data = np.asarray(values, dtype=float)
    bad = np.flatnonzero(~((data >= 0.0) & (data <= 1.0)))
    if data.ndim != 1 or bad.size:
        told = f"number {bad[0] + 1} is {data[bad[0]]:g}" if data.ndim == 1 else f"shape {data.shape}"
        raise CalibError(f"honesty: {told}. Give one row of numbers from 0 to 1.")
    return data

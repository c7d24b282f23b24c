"""How far a cutting edge has worn back after so many metres, and what is believed of it beforehand.

    r(L) = rate L + fast (1 - exp(-L / over)),     fast = rate x head start

A fresh edge loses its thinnest part quickly and then wears in a straight line (published for milling of
particleboard; for shop cutters no numbers are published). The quick part is told as a *head start*: so
many metres' worth of wear come on top, nearly all of them within the first few times `over`. The head
start goes with the rate, because what is abrasive is so from the first metre on. Neither number is ever
below 0, so recession never is and never shrinks.

Beforehand the rate is half-normal, the head start exponential and `over` lognormal, independent of each
other: common practice, no source, wide, and all of it gives way to the log.

Symbols
-------
L metres that the edge has cut since it was sharp, each times the abrasiveness of its stock
r radial recession, mm;  W nodes
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.normal import quantile

Array = NDArray[np.float64]

#: Scale of the half-normal rate where nothing was said: 0 to 0.05 mm of slot width per 100 m of hardwood
#: is 0 to 0.00025 mm of recession per metre (common practice, no source).
WEAR_SD_MM_PER_M = 0.00025
#: Mean of the head start, and median and log-sd of the metres that it takes (assumed, no source).
HEAD_START_M = 30.0
OVER_M = 12.0
OVER_LOG_SD = 0.6
#: Limits of the parts of the half-normal rate, in probability; the outer ones are small for the tail.
_RATE_EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0)
#: An edge that has cut so many times `over` has its quick part behind it.
_QUICK_PART_DONE = 6.0


@dataclass(frozen=True, eq=False)
class Recession:
    """Some courses of the wear of one edge.

    Parameters
    ----------
    rate_mm_per_m, fast_mm, over_m : ndarray of shape (W,)
        None of them below 0; `over_m` above 0.
    """

    rate_mm_per_m: Array
    fast_mm: Array
    over_m: Array

    def at(self, metres: ArrayLike) -> Array:
        """Return the recession after so many metres since sharp, mm, of shape (W, *shape of metres).

        >>> Recession(np.array([0.001]), np.array([0.02]), np.array([5.0])).at([0.0, 100.0]).round(4)
        array([[0.  , 0.12]])
        """
        L = np.asarray(metres, dtype=np.float64)
        along = (slice(None), *[None] * L.ndim)
        quick: Array = -np.expm1(-L / self.over_m[along])
        return self.rate_mm_per_m[along] * L + self.fast_mm[along] * quick

    def between(self, start_m: ArrayLike, end_m: ArrayLike) -> Array:
        """Return the recession that is added from one length to another, mm."""
        start, end = np.broadcast_arrays(start_m, end_m)
        return self.at(end) - self.at(start)

    def take(self, which: NDArray[np.intp] | NDArray[np.bool_] | slice) -> Recession:
        """Return some of the courses."""
        return Recession(self.rate_mm_per_m[which], self.fast_mm[which], self.over_m[which])

    def __len__(self) -> int:
        return len(self.rate_mm_per_m)


@dataclass(frozen=True, eq=False)
class WearAxis:
    """Courses of wear with their log prior weights, as an axis of the grid of hypotheses."""

    recession: Recession
    log_weight: Array

    def __len__(self) -> int:
        return len(self.recession)


@dataclass(frozen=True)
class EdgeBelief:
    """What is known of the wear of a setup's edge without the setup's own log.

    Parameters
    ----------
    axes : mapping of reading to WearAxis
        For the block that the reading is the first of; a block that is not named takes the prior of the
        setup's knowledge.
    """

    axes: Mapping[str, WearAxis]


def unworn() -> WearAxis:
    """Return the axis of an edge that does not wear."""
    zero = np.zeros(1)
    return WearAxis(Recession(zero, zero, np.ones(1)), zero)


def prior_axis(wear_sd_mm_per_m: float, cut_m: float = 0.0) -> WearAxis:
    """Return a few courses that stand for the prior: rates by parts, each with a short and a long head start.

    Parameters
    ----------
    wear_sd_mm_per_m : float
        Scale of the half-normal rate; 0 = no wear.
    cut_m : float, m
        What the edge had cut before the log; where that is long, the head start is behind it.
    """
    if wear_sd_mm_per_m <= 0.0:
        return unworn()
    rates, rate_share = half_normal_parts(wear_sd_mm_per_m, _RATE_EDGES)
    heads, head_share = (np.zeros(1), np.ones(1))
    if cut_m < _QUICK_PART_DONE * OVER_M:
        heads, head_share = exponential_parts(HEAD_START_M, 2)
    rate, head = np.repeat(rates, len(heads)), np.tile(heads, len(rates))
    share = np.outer(rate_share, head_share).ravel()
    return WearAxis(Recession(rate, rate * head, np.full(len(rate), OVER_M)), np.log(share))


def half_normal_parts(scale: float, edges: tuple[float, ...]) -> tuple[Array, Array]:
    """Return the means of the parts of a half-normal between quantiles, and the parts' shares."""
    at = np.array(edges)
    z = quantile(0.5 + 0.5 * np.minimum(at, 1.0 - 1e-16))
    share = np.diff(at)
    density = np.exp(-0.5 * z**2) * np.sqrt(2.0 / np.pi)
    density[-1] = 0.0
    return scale * (density[:-1] - density[1:]) / share, share


def exponential_parts(mean: float, parts: int) -> tuple[Array, Array]:
    """Return the means of the equally likely parts of an exponential distribution, and their shares."""
    above = 1.0 - np.arange(parts + 1) / parts  # probability of lying above each limit
    with np.errstate(divide="ignore", invalid="ignore"):
        partial = above * (1.0 - np.log(above))  # of (x + 1) exp(-x) at x = -log(above)
    partial[-1] = 0.0
    return mean * -np.diff(partial) * parts, np.full(parts, 1.0 / parts)


@dataclass(frozen=True)
class RateGrid:
    """Evenly spaced rates, crossed with head starts: fine enough to integrate on.

    Parameters
    ----------
    low, high : float, mm per m
    over_parts : 1 or 2
        Lengths of the quick part: the median, or one sd to either side of it.
    """

    wear_sd_mm_per_m: float
    low: float
    high: float
    nodes: int = 25
    head_parts: int = 4
    over_parts: int = 2

    def axis(self) -> WearAxis:
        """Return the courses with their prior weights: density times spacing, trapezium rule."""
        rates = np.linspace(self.low, self.high, self.nodes)
        spacing = (self.high - self.low) / (self.nodes - 1)
        log_rate = -0.5 * (rates / self.wear_sd_mm_per_m) ** 2 + np.log(
            spacing * np.sqrt(2.0 / np.pi) / self.wear_sd_mm_per_m
        )
        log_rate[[0, -1]] -= np.log(2.0)
        heads, head_share = exponential_parts(HEAD_START_M, self.head_parts)
        overs = OVER_M * np.exp(OVER_LOG_SD * (np.array([-1.0, 1.0]) if self.over_parts > 1 else np.zeros(1)))
        r, h, o = (side.ravel() for side in np.meshgrid(rates, heads, overs, indexing="ij"))
        log_weight = np.repeat(log_rate, len(heads) * len(overs))
        log_weight = log_weight + np.tile(np.repeat(np.log(head_share), len(overs)), len(rates))
        return WearAxis(Recession(r, r * h, o), log_weight - np.log(len(overs)))

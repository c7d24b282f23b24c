"""One recession for all setups that use an edge at a like engaged height.

Given the course of the edge's wear, the logs of the setups are independent of each other. So each setup says
how likely its rows are under each course (`wearevidence`, everything else of that setup summed
over), the logs of these are added to the prior's, and that is all that the setups share: offsets, moves and
scatter stay each mounting's and each setup's own.

What one setup is told of the wear (`belief`) is weighed so that its own rows, which its own posterior brings
in, count once: the weights are those of the joint posterior, less its own evidence.

Symbols
-------
W courses of wear (nodes), S setups
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.normal import quantile
from calib.regression.hypotheses import scatter_nodes, variants_of, wear_axis_of
from calib.regression.infer import standing
from calib.regression.recession import EdgeBelief, RateGrid, Recession, WearAxis
from calib.regression.terms import Block
from calib.regression.wearevidence import wear_evidence
from calib.shop import Cut, Setup

Array = NDArray[np.float64]

#: Rates up to so many prior scales are looked at (a half-normal is beyond it once in 2000).
_REACH = 3.5
#: Rates whose weight is below this share of the heaviest are left out when the grid is set again.
_LEAST = 1e-5
_TIMES = 3
#: Rates, head starts and their lengths on the grid that looks where the rates are that matter.
_COARSE = (17, 2, 1)
#: Limits, in probability, of the parts into which the courses are gathered for one setup.
_GATHER = (0.0, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97, 1.0)
#: The wear is established when the 90 % range of its rate is less than this part of what it was beforehand,
#: or is clear of no wear: all of it above this quantile of what was believed beforehand.
ESTABLISHED = 0.9
CLEAR_OF_NONE = 0.25


@dataclass(frozen=True)
class EdgeLog:
    """A setup that uses the edge, with its cuts; `setup.knowledge.wear_sd_mm_per_m` is above 0."""

    setup: Setup
    cuts: Sequence[Cut]


@dataclass(frozen=True, eq=False)
class SharedWear:
    """What is known of the wear of one edge.

    Parameters
    ----------
    recession : Recession
        W courses.
    weights : ndarray of shape (W,), sums to 1
        After all that was read.
    logs : tuple of EdgeLog
    wear_sd_mm_per_m : float
        Scale of the prior.
    """

    recession: Recession
    weights: Array
    logs: tuple[EdgeLog, ...]
    wear_sd_mm_per_m: float

    def range_of_rate(self, coverage: float = 0.9) -> tuple[float, float, float]:
        """Return low, median and high of the recession per metre once it is steady, mm per m."""
        return self._range(self.recession.rate_mm_per_m, coverage)

    def range_after(self, metres: float, coverage: float = 0.9) -> tuple[float, float, float]:
        """Return low, median and high of the recession after so many metres since sharp, mm."""
        return self._range(self.recession.at(metres), coverage)

    @property
    def narrowed(self) -> float:
        """Width of the 90 % range of the rate, as part of what it was before anything was read."""
        low, _, high = self.range_of_rate()
        before_low, before_high = self._before(0.05), self._before(0.95)
        return (high - low) / (before_high - before_low)

    @property
    def established(self) -> bool:
        """Whether the cuts say anything of the wear."""
        low, _, _ = self.range_of_rate()
        return self.narrowed < ESTABLISHED or low > self._before(CLEAR_OF_NONE)

    def _before(self, probability: float) -> float:
        """Return a quantile of the rate before anything was read: of a half-normal."""
        return self.wear_sd_mm_per_m * float(quantile(0.5 + 0.5 * probability))

    def _range(self, values: Array, coverage: float) -> tuple[float, float, float]:
        tail = 0.5 * (1.0 - coverage)
        low, middle, high = weighted_quantiles(values, self.weights, (tail, 0.5, 1.0 - tail))
        return low, middle, high


def weighted_quantiles(values: Array, weights: Array, at: Sequence[float]) -> list[float]:
    """Return quantiles of weighted values; each weight is spread evenly to half way to its neighbours."""
    distinct, of = np.unique(values, return_inverse=True)
    share = np.bincount(of, weights=weights)
    limits = np.concatenate([distinct[:1], 0.5 * (distinct[1:] + distinct[:-1]), distinct[-1:]])
    return [float(q) for q in np.interp(at, np.append(0.0, np.cumsum(share)), limits)]


def shared_wear(logs: Sequence[EdgeLog]) -> SharedWear:
    """Return what the logs of all setups say of the wear of the edge that they share.

    Parameters
    ----------
    logs : sequence of EdgeLog
        Each row once; the last edge in each log is the shared one. The prior's scale is the first setup's.
    """
    sd = logs[0].setup.knowledge.wear_sd_mm_per_m
    speakers = [block for log in logs for block in _speakers(log)]
    scatters = [scatter_nodes(block, wear_axis_of(block[0])) for block in speakers]

    def weighed(grid: RateGrid) -> tuple[WearAxis, Array]:
        axis = grid.axis()
        total = axis.log_weight.copy()
        for block, scatter in zip(speakers, scatters, strict=True):
            total += wear_evidence(block, axis, scatter)
        weights = np.exp(total - total.max())
        return axis, weights / weights.sum()

    grid = RateGrid(sd, 0.0, _REACH * sd, *_COARSE)
    for _ in range(_TIMES):  # a coarse look says where the rates are that matter
        closer = _closer(grid, *weighed(grid))
        if closer is None:
            break
        grid = closer
    axis, weights = weighed(RateGrid(sd, grid.low, grid.high))
    return SharedWear(axis.recession, weights, tuple(logs), sd)


def _speakers(log: EdgeLog) -> list[list[Block]]:
    """Return the blocks of a setup that say something of the wear of its present edge."""
    return [
        variants
        for variants in variants_of(log.setup, list(log.cuts) or [standing(log.setup)])
        if any(row.recession and row.to_m > row.from_m for row in variants[0].rows)
    ]


def _closer(grid: RateGrid, axis: WearAxis, weights: Array) -> RateGrid | None:
    """Return a grid around the rates that matter, or None when this one is close enough."""
    rates, of = np.unique(axis.recession.rate_mm_per_m, return_inverse=True)
    share = np.bincount(of, weights=weights)
    matter = np.flatnonzero(share > _LEAST * share.max())
    first, last = max(matter[0] - 1, 0), min(matter[-1] + 1, len(rates) - 1)
    if last - first > 0.6 * len(rates):
        return None
    return replace(grid, low=float(rates[first]), high=float(rates[last]))


def belief(shared: SharedWear, log: EdgeLog, ahead_m: float) -> EdgeBelief:
    """Return what the rest of the shop says of the wear, for each block of one of the setups.

    Parameters
    ----------
    log : EdgeLog
        One of those that `shared` was made of, or its newest rows: what the others say counts all the same.
    ahead_m : float, m
        How far ahead the wear matters: courses are told apart by what they will take off until then.

    Returns
    -------
    EdgeBelief
        To be given to `posterior` with the same setup and cuts: its weights then are those of `shared`.
    """
    cuts = list(log.cuts) or [standing(log.setup)]
    found = {}
    for variants in variants_of(log.setup, cuts):
        now = variants[0].track.now
        if now is None or not np.any(variants[0].recession):
            continue
        courses, weights = _gathered(shared, now.edge_m, ahead_m)
        flat = WearAxis(courses, np.zeros(len(weights)))
        own = wear_evidence(variants, flat, scatter_nodes(variants, flat))
        log_weight = np.log(weights) - own
        found[variants[0].readings[0]] = WearAxis(courses, log_weight - log_weight.max())
    return EdgeBelief(found)


def _gathered(shared: SharedWear, now_m: float, ahead_m: float) -> tuple[Recession, Array]:
    """Gather the courses into a few, by what they will take off, each the mean of its part."""
    ahead = shared.recession.between(now_m, now_m + ahead_m)
    order = np.argsort(ahead, kind="stable")
    share = shared.weights[order]
    middle = np.cumsum(share) - 0.5 * share
    part = np.searchsorted(np.array(_GATHER[1:-1]), middle)
    weights: Array = np.bincount(part, weights=share, minlength=len(_GATHER) - 1).astype(np.float64)
    kept = np.flatnonzero(weights > 0.0)

    def mean(values: Array) -> Array:
        total = np.bincount(part, weights=share * values[order], minlength=len(_GATHER) - 1)
        means: Array = total[kept] / weights[kept]
        return means

    r = shared.recession
    return Recession(mean(r.rate_mm_per_m), mean(r.fast_mm), mean(r.over_m)), weights[kept]

"""What the shop taught, component by component: before, after, and how sure.

A component is a factor on a median (scatter, error of a move, spread of mountings) or a number of its
own (the setup's offset of a reading, the relative error of a scale). Factors are read off the grid, each
node's share spread evenly over its cell in the logarithm; the others are mixtures of Gaussians.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calib.regression.learn.begin import Ground
from calib.regression.learn.carry import believed, check_same
from calib.regression.learn.grid import Grid
from calib.regression.learn.state import Carried
from calib.regression.mixture import Mixture
from calib.shop import Setup

Array = NDArray[np.float64]
Kind = Literal["scatter", "move", "mounting", "kept", "creep", "offset", "scale"]


@dataclass(frozen=True, eq=False)
class Spread:
    """A belief in one factor: nodes (in log) and their weights; none above `most_log`."""

    logs: Array
    weights: Array
    most_log: float = np.inf

    def quantile(self, probability: float) -> float:
        """Return the factor below which it lies with this probability."""
        if len(self.logs) == 1:
            return float(np.exp(self.logs[0]))
        middle = 0.5 * (self.logs[1:] + self.logs[:-1])
        first, last = 1.5 * self.logs[[0, -1]] - 0.5 * self.logs[[1, -2]]
        edges = np.minimum(np.concatenate([[first], middle, [last]]), self.most_log)
        below = np.concatenate([[0.0], np.cumsum(self.weights)])
        return float(np.exp(np.interp(probability * below[-1], below, edges)))


@dataclass(frozen=True)
class Learned:
    """One component.

    Parameters
    ----------
    kind : {"scatter", "move", "mounting", "kept", "creep", "offset", "scale"}
        kept: the spread of mountings that were put back with a kept joint, in parts of the others'.
        creep: the setup's own, mm per piece.
    of : tuple of str
        The readings or adjusters it speaks of.
    unit_mm : float
        What a factor multiplies: the median, mm; 1 for offset (mm) and scale (mm per mm).
    before, after : Spread or Mixture
    """

    kind: Kind
    of: tuple[str, ...]
    unit_mm: float
    before: Spread | Mixture
    after: Spread | Mixture

    def factor_interval(self, coverage: float, *, before: bool = False) -> tuple[float, float]:
        """Return the equal-tailed interval, in units of `unit_mm`."""
        belief = self.before if before else self.after
        tail = 0.5 * (1.0 - coverage)
        return belief.quantile(tail), belief.quantile(1.0 - tail)

    def interval(self, coverage: float, *, before: bool = False) -> tuple[float, float]:
        """Return the equal-tailed interval in mm (mm per mm for a scale)."""
        low, high = self.factor_interval(coverage, before=before)
        return low * self.unit_mm, high * self.unit_mm

    def median(self, *, before: bool = False) -> float:
        """Return the median in mm (mm per mm for a scale)."""
        return (self.before if before else self.after).quantile(0.5) * self.unit_mm


def learned(setup: Setup, carried: Carried) -> list[Learned]:
    """Return every component of a setup that its mountings may have taught.

    Raises
    ------
    CalibError
        When the state was carried with another belief than the setup's.
    """
    check_same(carried, setup)
    found: list[Learned] = []
    for block, ground in believed(carried, setup):
        known = setup.knowledge
        now = _marginals(ground.grid, ground.believed.weight)
        then = _marginals(ground.grid, np.exp(ground.grid.log_prior))
        for reading in block.readings:
            sd = float(np.hypot(known.scale(reading, "cut_sd_mm"), known.scale(reading, "reading_sd_mm")))
            found.append(Learned("scatter", (reading,), sd, then[0], now[0]))
        for adjuster in block.adjusters:
            if setup.move_sd_mm(adjuster) > 0.0:
                sd = setup.move_sd_mm(adjuster)
                found.append(Learned("move", (adjuster,), sd, then[1], now[1]))
        found.append(Learned("mounting", block.readings, ground.grid.mounting_sd_mm, then[2], now[2]))
        if carried.kept:
            found.append(Learned("kept", block.readings, 1.0, then[3], now[3]))
        found += [_own(ground, "offset", reading) for reading in block.readings]
        found += [_own(ground, "creep", f) for f in block.readings if f"creep:{f}" in ground.state.terms]
        found += [_own(ground, "scale", a) for a in block.adjusters if f"scale:{a}" in ground.state.terms]
    return found


def _marginals(grid: Grid, weight: Array) -> tuple[Spread, ...]:
    by = weight.reshape(grid.shape) / weight.sum()
    others = ((1, 2, 3, 4), (0, 2, 3, 4), (0, 1, 3, 4), (0, 1, 2, 4))
    logs = grid.logs[:4]
    most = (np.inf, np.inf, np.inf, 0.0)  # a kept joint makes nothing worse
    return tuple(Spread(*one) for one in zip(logs, (by.sum(axis=a) for a in others), most, strict=True))


def _own(ground: Ground, kind: Literal["offset", "creep", "scale"], name: str) -> Learned:
    k = ground.state.terms.index(f"{kind}:{name}")
    weight = ground.believed.weight
    keep = weight > 1e-9 * weight.max()
    sd = np.sqrt(ground.believed.covariance[keep, k, k])
    after = Mixture(weight[keep] / weight[keep].sum(), ground.believed.mean[keep, k], sd)
    before = Mixture(np.ones(1), np.zeros(1), np.array([ground.prior_sd[k]]))
    return Learned(kind, (name,), 1.0, before, after)

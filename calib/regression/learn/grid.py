"""The grid of hypotheses on which the evidence of all mountings is added up: frozen and versioned.

Three scales of a shop are learned across mountings, each a factor on its median in `Knowledge`: of the
scatter, of the error of a move, and of the spread of mountings. A fourth, the part of that spread which
is left when a kept joint serves as the gauge, joins once a mounting was put back so; a fifth, how much
the creep differs from mounting to mounting, where creep is expected at all. Nodes lie evenly in
the logarithm, closer than any history of a maker can tell apart, so that sums over them are integrals.

Symbols
-------
L scatters, M move errors, N spreads, R parts left by a kept joint, Q parts of the creep;
H = L M N R Q hypotheses in that order
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calib.regression.hypotheses import UNKNOWN_MM
from calib.regression.terms import Block
from calib.shop import Knowledge

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Changes whenever a node does: states of another grid cannot be added to.
GRID_VERSION = "1"
#: Median of the sd of one mounting's offset around the setup's own, mm, when the user has said none (common
#: practice, no source: a jig against its stop comes back within a few hundredths, by eye within a tenth).
MOUNTING_SD_MM = 0.06
#: Log-sd of its prior: a factor of 2.7 either way, since mountings differ more than gauges do.
MOUNTING_LOG_SD = 1.0

_SCATTER_LOGS = np.linspace(-1.5, 1.5, 21)
_MOVE_LOGS = np.linspace(-1.5, 1.5, 11)
_MOUNTING_LOGS = np.linspace(-2.4, 2.4, 17)
#: A kept joint leaves a tenth to all of the spread; each part is as likely.
_KEPT_LOGS = np.log(np.array([0.1, 0.2, 0.35, 0.6, 1.0]))
#: The creep of one mounting around the setup's own, in parts of its prior sd; each part is as likely.
_CREEP_LOGS = np.log(np.array([0.05, 0.1, 0.2, 0.4, 0.8]))
#: Where every scale is exactly known, so is the creep: it is the setup's own (a thousandth apart).
_LEAST_CREEP_LOG = float(np.log(1e-3))


@dataclass(frozen=True, eq=False)
class Grid:
    """The nodes for one block.

    Parameters
    ----------
    scatter_log, move_log, mounting_log, kept_log, creep_log : ndarray of shape (L,), (M,), (N,), (R,), (Q,)
        Logarithms of the factors.
    log_weights : tuple of five ndarray
        Log prior weights of the nodes of each axis.
    mounting_sd_mm : float, mm
        Median of the spread of mountings.
    """

    scatter_log: Array
    move_log: Array
    mounting_log: Array
    kept_log: Array
    creep_log: Array
    log_weights: tuple[Array, Array, Array, Array, Array]
    mounting_sd_mm: float

    @property
    def logs(self) -> tuple[Array, Array, Array, Array, Array]:
        """The five axes."""
        return self.scatter_log, self.move_log, self.mounting_log, self.kept_log, self.creep_log

    @property
    def shape(self) -> tuple[int, ...]:
        """(L, M, N, R, Q)."""
        return tuple(len(axis) for axis in self.logs)

    @property
    def pairs(self) -> int:
        """L M: pairs of a scatter and a move error, on which one mounting is solved."""
        return self.shape[0] * self.shape[1]

    @cached_property
    def log_prior(self) -> Array:
        """Log prior weight of every hypothesis, shape (H,)."""
        total = np.zeros(1)
        for weights in self.log_weights:
            total = (total[:, None] + weights).ravel()
        return total

    @cached_property
    def pair_scatter(self) -> Array:
        """Factor on the scatter of every pair, shape (L M,)."""
        return np.repeat(np.exp(self.scatter_log), self.shape[1])

    @cached_property
    def pair_move(self) -> Array:
        """Factor on the move error of every pair, shape (L M,)."""
        return np.tile(np.exp(self.move_log), self.shape[0])

    def spread_mm(self, kept: bool) -> Array:
        """Return the sd of a mounting's offset (mm) of every spread and its parts, shape (N R Q,)."""
        part = self.kept_log if kept else np.zeros_like(self.kept_log)
        spread = (self.mounting_sd_mm * np.exp(self.mounting_log[:, None] + part)).ravel()
        return np.repeat(spread, len(self.creep_log))

    def creep_part(self) -> Array:
        """Return the sd of a mounting's creep in parts of its prior's, shape (N R Q,)."""
        return np.tile(np.exp(self.creep_log), len(self.mounting_log) * len(self.kept_log))


def grid_of(block: Block, kept: bool) -> Grid:
    """Return the grid of a block.

    Parameters
    ----------
    kept : bool
        Some mounting was put back with a kept joint as the gauge.

    Notes
    -----
    ``scales_known`` makes scatter and move error single nodes, and the spread of mountings too when
    ``mounting_sd`` is said.
    """
    known = block.setup.knowledge
    moves = any(block.setup.move_sd_mm(a) > 0.0 for a in block.adjusters)
    scatter, scatter_weight = _axis(_SCATTER_LOGS, known.log_sd, known)
    move, move_weight = _axis(_MOVE_LOGS if moves else np.zeros(1), known.log_sd, known)
    median = _mounting_median(block) if known.mounting_sd_mm is None else known.mounting_sd_mm
    exact = known.scales_known and known.mounting_sd_mm is not None
    mounting, mounting_weight = _axis(np.zeros(1) if exact else _MOUNTING_LOGS, MOUNTING_LOG_SD)
    kept_log = _KEPT_LOGS if kept and not exact else np.zeros(1)
    creeps = any(known.scale(f, "creep_sd_mm") > 0.0 for f in block.readings)
    creep_log = _CREEP_LOGS if creeps and not exact else np.array([_LEAST_CREEP_LOG])
    flat = [np.full(len(logs), -np.log(len(logs))) for logs in (kept_log, creep_log)]
    weights = (scatter_weight, move_weight, mounting_weight, flat[0], flat[1])
    return Grid(scatter, move, mounting, kept_log, creep_log, weights, max(median, 1e-6))


def _mounting_median(block: Block) -> float:
    """Return the median spread of mountings, mm; what is set by eye goes back no better than at first."""
    by_eye = any(not block.setup.adjuster(a).has_scale for a in block.adjusters)
    first = max(block.setup.knowledge.scale(f, "offset_sd_mm") for f in block.readings)
    return min(first, UNKNOWN_MM) if by_eye else MOUNTING_SD_MM


def _axis(logs: Array, log_sd: float, known: Knowledge | None = None) -> tuple[Array, Array]:
    """Return nodes and log prior weights of one axis; a single node where the scale is exactly known."""
    if log_sd <= 0.0 or (known is not None and known.scales_known):
        logs = np.zeros(1)
    density = -0.5 * (logs / max(log_sd, 1e-12)) ** 2
    return logs, density - np.log(np.exp(density).sum())

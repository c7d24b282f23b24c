"""From the carried belief to the start of a mounting: few hypotheses that say the same.

The grid has thousands of hypotheses and a mounting of a few cuts cannot tell neighbours apart, so they
are gathered into groups; a group keeps its weight, its mean square factors, and mean and covariance of
all that is in it (the spread of mountings included, since each mounting draws its offset anew).

Symbols
-------
H hypotheses, K groups, p terms of the state, q terms of the block that persist
M (q, p) from the state's terms to those of the present mounting: offset = setup's own + recession * edge
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.regression.footing import Footing
from calib.regression.hypotheses import Span
from calib.regression.learn.grid import Grid, grid_of
from calib.regression.learn.state import Belief, BlockState, Carried, belief, prior_sds
from calib.regression.start import Start, persisting
from calib.regression.terms import Block
from calib.shop import Cut, Setup

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Limits of the groups, in sds of the logarithm from its mean.
_SCATTER_EDGES = np.array([-1.5, -0.5, 0.5, 1.5])
_MOVE_EDGES = np.array([-0.6, 0.6])
_SPREAD_EDGES = np.array([-0.6, 0.6])
#: Hypotheses, and groups, below this share of the whole are left out.
_LEAST_SHARE = 1e-9
_LEAST_GROUP = 1e-4


@dataclass(frozen=True, eq=False)
class Ground:
    """What one block of a mounting goes on from.

    Parameters
    ----------
    believed : Belief
        In the state's terms.
    to_block : ndarray of shape (q, p)
        M.
    redrawn : ndarray of shape (q,), bool
        Which of the block's terms every mounting draws anew: offsets and creep.
    creep_sd : ndarray of shape (F,)
        Of the redrawn ones: prior sd of a creep, mm per piece; 0 for an offset.
    """

    grid: Grid
    state: BlockState
    prior_sd: Array
    believed: Belief
    terms: tuple[str, ...]
    to_block: Array
    redrawn: NDArray[np.bool_]
    creep_sd: Array

    def spreads(self, kept: bool) -> Array:
        """Return the sd of each redrawn term around the setup's own, shape (S, F)."""
        offset, creep = self.grid.spread_mm(kept)[:, None], self.grid.creep_part()[:, None]
        return np.asarray(np.where(self.creep_sd > 0.0, creep * self.creep_sd, offset))


def footing_of(carried: Carried, setup: Setup, cuts: Sequence[Cut], edge: str) -> Footing:
    """Return what the rows of a mounting stand on.

    An adjuster without a scale is set by eye at every mounting: its positions count from there.
    """
    by_eye = {a.name for a in setup.adjusters if not a.has_scale and cuts}
    reference = {
        name: float(cuts[0].settings_mm[name]) if name in by_eye else mm
        for name, mm in carried.reference_mm.items()
    }
    return Footing(reference, carried.stocks, carried.metres_m.get(edge, 0.0))


def ground_of(carried: Carried, number: int, block: Block, edge: str, kept: bool = False) -> Ground:
    """Return what a block (the `number`-th of its setup) goes on from, on a sharpening."""
    grid = grid_of(block, carried.kept or kept)
    terms = persisting(block)
    edges = (f"edge:{edge}",) if np.any(block.recession) else ()
    state = carried.blocks[number].widened((*terms, *edges))
    if kept and not carried.kept:
        state = state.split(grid.shape[3], grid.shape[4])
    sds = prior_sds(block, state.terms)
    to_block = np.zeros((len(terms), len(state.terms)))
    for k, term in enumerate(terms):
        to_block[k, state.terms.index(term)] = 1.0
        if term.startswith("offset:") and edges:
            to_block[k, state.terms.index(edges[0])] = block.recession[block.readings.index(term[7:])]
    redrawn = np.array([term.startswith(("offset:", "creep:")) for term in terms], dtype=bool)
    creep_sd = [
        sd if term.startswith("creep:") else 0.0 for term, sd in zip(terms, to_block @ sds, strict=True)
    ]
    believed = belief(state, grid, sds)
    return Ground(grid, state, sds, believed, terms, to_block, redrawn, np.array(creep_sd)[redrawn])


def start_of(ground: Ground, carried: Carried, kept: bool = False, around: Span | None = None) -> Start:
    """Return the start of a mounting in few hypotheses.

    Parameters
    ----------
    around : (mean, sd), optional
        Of the logarithm of the scatter's factor, where the groups of scatters are set.
    """
    grid, weight = ground.grid, ground.believed.weight
    L, M = grid.shape[:2]
    by = weight.reshape(L, M, -1)
    scatter = _grouped(grid.scatter_log, by.sum(axis=(1, 2)), _SCATTER_EDGES, around)
    move = _grouped(grid.move_log, by.sum(axis=(0, 2)), _MOVE_EDGES)
    spread = _grouped(np.log(grid.spread_mm(kept)), by.sum(axis=(0, 1)).ravel(), _SPREAD_EDGES)
    label = np.ravel_multi_index(
        np.broadcast_arrays(scatter[:, None, None], move[:, None], spread), (9, 9, 9)
    ).ravel()
    _, label = np.unique(label, return_inverse=True)
    return gathered(ground, carried, label, kept)


def pair_start(ground: Ground, carried: Carried, kept: bool) -> Start:
    """Return one hypothesis for every pair of a scatter and a move error, spreads gathered, equal weights."""
    H, pairs = len(ground.believed.weight), ground.grid.pairs
    found = gathered(ground, carried, np.arange(H) // (H // pairs), kept, least=0.0)
    return Start(
        found.terms, np.zeros(len(found.log_weight)), found.scatter, found.move, found.mean,
        found.covariance, found.turned,
    )  # fmt: skip


def gathered(
    ground: Ground, carried: Carried, label: Indices, kept: bool, least: float = _LEAST_GROUP
) -> Start:
    """Return one hypothesis for every label (0, 1, ...), with the moments of all that bear it."""
    grid, M = ground.grid, ground.to_block
    weight = ground.believed.weight.copy()
    floor = _LEAST_SHARE * weight.max() if least > 0.0 else 0.0
    used = np.flatnonzero(weight > floor)
    groups = np.unique(label[used])
    at = np.searchsorted(groups, label[used])
    w = weight[used]
    total = np.bincount(at, weights=w)
    share = w / total[at]
    mean = ground.believed.mean[used] @ M.T
    covariance = M @ ground.believed.covariance[used] @ M.T
    own = np.zeros((len(weight) // grid.pairs, len(ground.terms)))
    own[:, ground.redrawn] = ground.spreads(kept) ** 2
    covariance = covariance + own[used % len(own)][:, :, None] * np.eye(len(ground.terms))
    centre = _sums(at, share[:, None] * mean, len(groups))
    away = mean - centre[at]
    square = covariance + away[:, :, None] * away[:, None, :]
    pair = used // (len(weight) // grid.pairs)
    start = Start(
        ground.terms,
        np.log(total / total.sum()),
        np.sqrt(_sums(at, share * grid.pair_scatter[pair] ** 2, len(groups))),
        np.sqrt(_sums(at, share * grid.pair_move[pair] ** 2, len(groups))),
        centre,
        _sums(at, share[:, None, None] * square, len(groups)),
        carried.turned,
    )
    return _without_small(start, least)


def _without_small(start: Start, least: float) -> Start:
    keep = start.log_weight > np.log(max(least, 1e-300)) + start.log_weight.max()
    return Start(
        start.terms, start.log_weight[keep], start.scatter[keep], start.move[keep], start.mean[keep],
        start.covariance[keep], start.turned,
    )  # fmt: skip


def _sums(at: Indices, values: Array, groups: int) -> Array:
    total = np.zeros((groups, *values.shape[1:]))
    np.add.at(total, at, values)
    return total


def _grouped(logs: Array, weight: Array, edges: Array, around: Span | None = None) -> Indices:
    """Return the group of every node of one axis."""
    if len(logs) == 1:
        return np.zeros(1, dtype=np.intp)
    share = weight / weight.sum()
    center = float(share @ logs) if around is None else around[0]
    sd = float(np.sqrt(share @ (logs - center) ** 2)) if around is None else around[1]
    return np.searchsorted(edges, (logs - center) / max(sd, 1e-9)).astype(np.intp)

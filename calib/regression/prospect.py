"""What each reading would be at any other setting: the belief as the decision needs it.

For every component c of a block's mixture the future is linear in a few numbers: the size now
(without the errors that the next move renews), those renewable errors, the scale errors, slopes that
are still being learned and the creep per piece. Their joint moments are kept; mean and covariance of
the readings after any set of moves follow by small products.

Symbols
-------
C components, F readings, A adjusters, P candidate positions, q the numbers listed above
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from calib.regression.blockposterior import BlockPosterior
from calib.regression.infer import reading_sds
from calib.regression.recession import Recession
from calib.regression.shared import measured_features
from calib.regression.terms import Block, acting_moves, features_at, known_part
from calib.regression.track import MachineState

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class EdgeAhead:
    """How the edge will wear.

    Parameters
    ----------
    recession : Recession
        C courses, one a component.
    slopes : ndarray of shape (F,), mm of reading per mm of recession
    cut_m : float, m
        Since it was sharp, at the abrasiveness of each stock.
    metres_per_piece_m : float, m
        Of the good pieces, at the abrasiveness of theirs.
    """

    recession: Recession
    slopes: Array
    cut_m: float
    metres_per_piece_m: float


@dataclass(frozen=True, eq=False)
class Prospect:
    """The future of one block of readings.

    Parameters
    ----------
    readings, adjusters : tuple of str
    weights : ndarray of shape (C,)
    slopes : ndarray of shape (C, F, A), mm per mm; 0 where the slope is being learned
    mean : ndarray of shape (C, q); covariance : ndarray of shape (C, q, q)
    cut_sd, reading_sd : ndarray of shape (C, F), mm
        Scatter of one cut (of the wood) and of one measurement.
    move_sd : ndarray of shape (C, A), mm of the adjuster's scale
    drift : ndarray of shape (C, F), mm per piece, by wear
        Mean over the pieces that are left.
    now_mm : ndarray of shape (A,)
        Where the adjusters stand.
    learned : ndarray of shape (F, A), bool
        Slopes that are still being learned.
    pieces_since_move : float
        Pieces cut since the last adjustment.
    hypothesis : ndarray of shape (C,)
        Components that differ in nothing but the wear have the same number.
    edge : EdgeAhead
    """

    readings: tuple[str, ...]
    adjusters: tuple[str, ...]
    weights: Array
    slopes: Array
    mean: Array
    covariance: Array
    cut_sd: Array
    reading_sd: Array
    move_sd: Array
    renews: Mask
    drift: Array
    now_mm: Array
    learned: Mask
    pieces_since_move: float
    hypothesis: NDArray[np.intp]
    edge: EdgeAhead

    def worn_after(self, pieces: ArrayLike) -> Array:
        """Return what wear will have done to each reading after some more pieces, shape (C, F, ...), mm."""
        edge = self.edge
        metres = edge.metres_per_piece_m * np.asarray(pieces, dtype=np.float64)
        gone = edge.recession.between(edge.cut_m, edge.cut_m + metres)
        worn: Array = np.einsum("f,c...->cf...", edge.slopes, gone)
        return worn

    def after(self, change_mm: Array, moved: Mask, *, measured: bool = False) -> tuple[Array, Array]:
        """Return mean (C, P, F) mm and covariance (C, P, F, F) mm^2 of the size of the next piece.

        Parameters
        ----------
        change_mm : ndarray of shape (P, A), mm
            How far each adjuster is moved; 0 where it is not.
        moved : ndarray of shape (P, A), bool
            A move of 0 mm is still a move: it lands anew.
        measured : bool
            As the gauge will read it, with the zero error that it has shown so far.

        Notes
        -----
        The scatter of the single cut is not in it.
        """
        factors = self._factors(change_mm, moved)
        if measured:
            F, A = len(self.readings), len(self.adjusters)
            for f in range(F):
                factors[:, :, f, F + 2 * A + F * A + f] = 1.0
        mean = np.einsum("cpfq,cq->cpf", factors, self.mean)
        mean = mean + np.einsum("cfa,pa->cpf", self.slopes, change_mm)
        covariance = np.einsum("cpfq,cqr,cpgr->cpfg", factors, self.covariance, factors, optimize=True)
        landing = self._move_slopes()[:, None] * (self.move_sd[:, None, :] * moved)[:, :, None, :]
        return mean, covariance + landing @ np.swapaxes(landing, 2, 3)

    def creep_after(self) -> tuple[Array, Array]:
        """Return mean and variance of the creep per piece, each of shape (C, F)."""
        F = len(self.readings)
        at = slice(self.mean.shape[1] - F, None)
        return self.mean[:, at], np.diagonal(self.covariance, axis1=1, axis2=2)[:, at]

    def _move_slopes(self) -> Array:
        """Slopes by which errors of moves act; 1 where the slope is being learned."""
        return np.where(self.learned, 1.0, self.slopes)

    def _factors(self, change_mm: Array, moved: Mask) -> Array:
        C, F, A = self.slopes.shape
        P = len(change_mm)
        factors = np.zeros((C, P, F, self.mean.shape[1]))
        slopes = self._move_slopes()
        for f in range(F):
            factors[:, :, f, f] = 1.0
            kept = self.renews & ~moved
            factors[:, :, f, F : F + A] = slopes[:, None, f, :] * kept
            factors[:, :, f, F + A : F + 2 * A] = self.slopes[:, None, f, :] * change_mm
            for a in np.flatnonzero(self.learned[f]):
                factors[:, :, f, F + 2 * A + f * A + a] = change_mm[:, a]
            since = ~moved.any(axis=1)  # creep starts again at an adjustment
            factors[:, :, f, 2 * F + 2 * A + F * A + f] = np.where(since, self.pieces_since_move, 0.0)
        return factors


def prospect(found: BlockPosterior) -> Prospect:
    """Return the future of one block."""
    block = found.block
    state = block.track.now
    assert state is not None, "posterior() always has a last row"
    known = block.setup.knowledge
    mean, covariance = found.linear(lambda variant: _numbers(variant, state))
    F, A = len(block.readings), len(block.adjusters)
    next_piece = _on(block, state)
    at_now = np.array([[known_part(v, f, next_piece) for f in range(F)] for v in found.variants])
    mean[:, :F] += at_now[found.variant] + found.worn_mm[:, None] * block.recession
    edge = _edge_ahead(found, state)
    slopes = found.slopes.reshape(len(found.weights), F, A)
    return Prospect(
        readings=block.readings,
        adjusters=block.adjusters,
        weights=found.weights,
        slopes=np.nan_to_num(slopes),
        mean=mean,
        covariance=covariance,
        cut_sd=np.outer(found.scatter, [known.scale(f, "cut_sd_mm") for f in block.readings]),
        reading_sd=np.stack([reading_sds(block.setup, f, found.scatter) for f in block.readings], axis=1),
        move_sd=np.outer(found.move, [block.setup.move_sd_mm(a) for a in block.adjusters]),
        renews=np.array([block.setup.adjuster(a).landing == "renews" for a in block.adjusters], dtype=bool),
        drift=_drift(edge, block.setup.pieces_left),
        now_mm=np.array([state.settings_mm[a] for a in block.adjusters]),
        learned=np.isnan(block.slopes),
        pieces_since_move=state.pieces_since_move,
        hypothesis=found.hypothesis,
        edge=edge,
    )


def _edge_ahead(found: BlockPosterior, state: MachineState) -> EdgeAhead:
    setup = found.block.setup
    stock = state.stock if setup.stock is None else setup.stock
    metres = setup.metres_per_piece_m * setup.abrasiveness(stock)
    return EdgeAhead(found.recession, found.block.recession, state.edge_m, metres)


def _drift(edge: EdgeAhead, pieces_left: int) -> Array:
    pieces = max(pieces_left, 1)
    gone = edge.recession.between(edge.cut_m, edge.cut_m + pieces * edge.metres_per_piece_m)
    drift: Array = np.outer(gone, edge.slopes) / pieces
    return drift


def _numbers(block: Block, state: MachineState) -> list[Mapping[str, float]]:
    """The q numbers of the future as linear functions of the terms of one variant of the block."""
    sizes, renewable, creeps = [], [], []
    fresh = {
        name
        for a in block.adjusters
        if block.setup.adjuster(a).landing == "renews"
        for name in acting_moves(block, a, state)
    }
    for f, reading in enumerate(block.readings):
        creep = f"creep:{reading}"
        named = features_at(block, f, _on(block, state))
        sizes.append({n: v for n, v in named.items() if n not in fresh and n != creep})
        creeps.append({creep: 1.0})
    for a in block.adjusters:
        acting = acting_moves(block, a, state)
        renews = block.setup.adjuster(a).landing == "renews"
        renewable.append(dict.fromkeys(acting, 1.0) if renews else {})
    scales = [{f"scale:{a}": 1.0} for a in block.adjusters]
    learned = [{f"slope:{f}:{a}": 1.0} for f in block.readings for a in block.adjusters]
    zeros = [measured_features(f, block.setup.worth.get(f)) for f in block.readings]
    return [*sizes, *renewable, *scales, *learned, *zeros, *creeps]


def _on(block: Block, state: MachineState) -> MachineState:
    """The state as the good pieces will find it: in their own stock."""
    target = block.setup.stock
    if target is None or target == state.stock:
        return state
    return replace(state, stock=target)

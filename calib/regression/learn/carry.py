"""Carry what one mounting taught to the next: its evidence, added to the sums.

1. Before the mounting, every pair (scatter, move error) has one Gaussian prior of the terms that
   persist, gathered over the spreads of mountings.
2. The mounting is solved as ever (slips, words, wear and turned scales included); what is left of each
   pair is one mean, one covariance and its evidence.
3. Dividing by the prior of step 1 leaves what the cuts alone said: c - 1/2 z' Lambda z + eta' z.
4. This mounting's own offset is integrated out for every spread tau of mountings:
       Lambda' = Lambda - Lambda B (B' Lambda B + I/tau^2)^-1 B' Lambda   (B picks the offsets; eta alike)
5. c', eta' and Lambda' are added to the sums.

Without slips, words, wear and turned scales every step is exact, and the sums do not depend on the order
of the mountings. With them step 2 keeps the first two moments (measured in tests/test_learn_slips.py).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.regression import knowledge
from calib.regression.footing import reference_settings
from calib.regression.hypotheses import Solver, doubtful_scales, solve_block, variants_of
from calib.regression.learn.begin import Ground, footing_of, ground_of, pair_start, start_of
from calib.regression.learn.grid import grid_of
from calib.regression.learn.state import EDGE_SD_MM, BlockState, Carried
from calib.regression.start import Start
from calib.regression.terms import Block, blocks_of
from calib.shop import Cut, Setup

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: A pair whose log weight is this far below the best is given up.
_GIVE_UP = 45.0
#: Sharpenings whose edges are remembered apart; older ones are integrated out.
_EDGES_KEPT = 4
#: No probability of a turned scale is carried closer to 0 or 1 than this.
_TURNED_LEAST = 1e-9


class Unit(NamedTuple):
    """The rows of one mounting on one sharpening."""

    mounting: str
    edge: str
    cuts: tuple[Cut, ...]


class Told(NamedTuple):
    """What one mounting said: constant (J,), shift (J, q) and precision (J, q, q)."""

    constant: Array
    shift: Array
    precision: Array


def units_of(cuts: Sequence[Cut]) -> list[Unit]:
    """Return the mountings of a log, in order; a new sharpening within one begins a unit of its own.

    What a row leaves out (mounting, sharpening, stock) is as in the row before.
    """
    found: list[tuple[str, str, list[Cut]]] = []
    mounting = edge = ""
    stock = None
    for cut in cuts:
        mounting = mounting if cut.mounting is None else cut.mounting
        edge = edge if cut.sharpening is None else cut.sharpening
        stock = stock if cut.stock is None else cut.stock
        if not found or found[-1][:2] != (mounting, edge):
            found.append((mounting, edge, []))
        found[-1][2].append(replace(cut, mounting=mounting, sharpening=edge, stock=stock))
    return [Unit(m, e, tuple(rows)) for m, e, rows in found]


def nothing_carried(setup: Setup, cuts: Sequence[Cut]) -> Carried:
    """Return the state before the first mounting; the first of these cuts says where offsets are defined."""
    reference = reference_settings(setup, cuts)
    blocks = []
    for block in blocks_of(setup, [], footing=footing_of(Carried(reference, ()), "")):
        H = len(grid_of(block, False).log_prior)
        blocks.append(BlockState((), np.zeros(H), np.zeros((H, 0)), np.zeros((H, 0, 0))))
    return Carried(reference, tuple(blocks))


def carry(carried: Carried | None, setup: Setup, cuts: Sequence[Cut], *, kept_joint: bool = False) -> Carried:
    """Return the state after one mounting (or several, told apart by their labels).

    Parameters
    ----------
    carried : Carried or None
        What the mountings before it left; None for the first one.
    cuts : sequence of Cut
        Of the mounting, in the order they were made.
    kept_joint : bool
        The setup was put back with a kept joint as the gauge; how well that works is learned apart.

    Raises
    ------
    CalibError
        When a cut does not fit the setup.

    Examples
    --------
    >>> from calib.shop import Adjuster, Band, Joint
    >>> stop = Adjuster("stop", moves={"gap": 1.0})
    >>> setup = Setup("s", Joint("plain"), (Band("gap", 0.1, 0.0, 0.2),), (stop,))
    >>> carry(None, setup, [Cut(1, "test", {"stop": 2.0}, {"gap": (0.13,)})]).numbers
    1
    """
    state = nothing_carried(setup, cuts) if carried is None else carried
    for unit in units_of(cuts):
        state = _with_unit(state, setup, unit, kept_joint)
    return state


def through(
    setup: Setup, cuts: Sequence[Cut], carried: Carried | None = None
) -> tuple[Carried | None, list[Cut]]:
    """Carry through all mountings but the last; return the state and the rows of the last one.

    A log of a single mounting, with nothing carried, is left as it is.
    """
    units = units_of(cuts)
    if carried is None and len({unit.mounting for unit in units}) < 2:
        return None, list(cuts)
    for unit in units[:-1]:
        carried = carry(carried, setup, unit.cuts)
    return carried, list(units[-1].cuts) if units else []


def _with_unit(state: Carried, setup: Setup, unit: Unit, kept: bool) -> Carried:
    footing = footing_of(state, unit.edge)
    blocks: list[BlockState] = []
    turned = dict(state.turned)
    numbers = moves = 0
    metres = 0.0
    for b, variants in enumerate(variants_of(setup, unit.cuts, footing)):
        ground = ground_of(state, b, variants[0], unit.edge, kept)
        blocks.append(_added(ground, state, variants, kept))
        turned.update(_turned(ground, state, variants, kept))
        numbers += sum(row.is_number for row in variants[0].rows)
        track = variants[0].track
        moves = len(track.moves)
        metres = track.now.metres_m if track.now is not None else 0.0
    edges = (*(e for e in state.edges if e != unit.edge), unit.edge)
    old = edges[:-_EDGES_KEPT]
    return replace(
        state,
        blocks=tuple(_forgotten(block, old) for block in blocks),
        mountings=tuple(dict.fromkeys([*state.mountings, unit.mounting])),
        stocks=tuple(dict.fromkeys([*state.stocks, *(cut.stock or "" for cut in unit.cuts)])),
        edges=edges[-_EDGES_KEPT:],
        metres_m={**{e: m for e, m in state.metres_m.items() if e not in old}, unit.edge: metres},
        turned=turned,
        numbers=state.numbers + numbers,
        moves=state.moves + moves,
        kept=state.kept or kept,
    )


def _forgotten(block: BlockState, edges: Sequence[str]) -> BlockState:
    for edge in edges:
        if f"edge:{edge}" in block.terms:
            block = block.without(f"edge:{edge}", EDGE_SD_MM)
    return block


def _added(ground: Ground, carried: Carried, variants: list[Block], kept: bool) -> BlockState:
    """Return the sums of one block with the evidence of one mounting."""
    state = ground.state
    parts = len(state.constant) // ground.grid.pairs
    alive = _alive(ground, parts)
    start = pair_start(_only(ground, alive, parts), carried, kept)
    told = _told(start, *_collapsed(Solver(variants, knowledge.known(), start)))
    told = _spread_out(told, ground.offsets, ground.grid.spread_mm(kept))
    M = ground.to_block
    hypotheses = (np.flatnonzero(alive)[:, None] * parts + np.arange(parts)).ravel()
    constant = np.full(len(state.constant), -np.inf)
    shift, precision = state.shift.copy(), state.precision.copy()
    constant[hypotheses] = state.constant[hypotheses] + told.constant
    shift[hypotheses] += told.shift @ M
    precision[hypotheses] += M.T @ told.precision @ M
    top = constant.max()
    return BlockState(state.terms, constant - top, shift, precision)


def _alive(ground: Ground, parts: int) -> NDArray[np.bool_]:
    by_pair = ground.believed.weight.reshape(-1, parts).sum(axis=1)
    alive: NDArray[np.bool_] = by_pair > np.exp(-_GIVE_UP) * by_pair.max()
    return alive


def _only(ground: Ground, alive: NDArray[np.bool_], parts: int) -> Ground:
    """Return the ground with the pairs that were given up weighing nothing."""
    kept = np.repeat(alive, parts)
    weight = np.where(kept, np.maximum(ground.believed.weight, 1e-280), 0.0)
    return replace(ground, believed=replace(ground.believed, weight=weight))


def _collapsed(solver: Solver) -> tuple[Array, Array, Array]:
    """Return log evidence (K,), mean (K, q) and covariance (K, q, q) of every hypothesis of the start."""
    assert solver.start is not None
    terms = solver.start.terms
    at = np.array([solver.block.index[name] for name in terms], dtype=np.intp)
    K = len(solver.start.log_weight)
    node, log_weight, mean, covariance = (np.concatenate(side) for side in zip(*_parts(solver), strict=True))
    mean, covariance = mean[:, at], covariance[:, at[:, None], at]
    top = np.full(K, -np.inf)
    np.maximum.at(top, node, log_weight)
    share = np.exp(log_weight - top[node])
    total = np.bincount(node, weights=share, minlength=K)
    share = share / total[node]
    centre = np.zeros((K, len(at)))
    np.add.at(centre, node, share[:, None] * mean)
    away = mean - centre[node]
    spread = np.zeros((K, len(at), len(at)))
    np.add.at(spread, node, share[:, None, None] * (covariance + away[:, :, None] * away[:, None, :]))
    return top + np.log(total), centre, spread


def _parts(solver: Solver) -> Iterator[tuple[Indices, Array, Array, Array]]:
    """Give every set of bad readings that matters to some hypothesis: node, log weight, mean, covariance."""
    assert solver.grid.node is not None
    for bad in range(len(solver.candidates.sets)):
        k = np.flatnonzero(solver.matters(bad))
        if len(k):
            log_weight, mean, covariance = solver.part_of(bad, k)
            yield solver.grid.node[k], log_weight, mean, covariance


def _told(start: Start, log_evidence: Array, mean: Array, covariance: Array) -> Told:
    """Return what the cuts alone said of z: the posterior divided by the prior of the start.

    Worked in units of the prior, z = mean0 + C e with C C' the prior covariance. Where a mixture was
    gathered into its moments it may be wider than the prior in some direction; there nothing was said.
    """
    q = mean.shape[1]
    C = np.linalg.cholesky(start.covariance)
    inverse = np.linalg.inv(C)
    inner = inverse @ covariance @ np.swapaxes(inverse, 1, 2)
    gain = np.linalg.inv(inner)
    value, vector = np.linalg.eigh(0.5 * (gain + np.swapaxes(gain, 1, 2)) - np.eye(q))
    e = np.einsum("kqp,kp->kq", inverse, mean - start.mean)
    along = np.einsum("kqp,kq->kp", vector, e)
    value = np.maximum(value, 0.0)
    pull = (1.0 + value) * along * (value > 1e-12)
    constant = log_evidence + np.sum(0.5 * np.log1p(value) - 0.5 * pull**2 / (1.0 + value), axis=1)
    back = np.swapaxes(inverse, 1, 2) @ vector
    precision = (back * value[:, None, :]) @ np.swapaxes(back, 1, 2)
    eta = np.einsum("kqp,kp->kq", back, pull)
    m0 = start.mean
    constant = constant - np.einsum("kq,kq->k", eta, m0)
    constant = constant - 0.5 * np.einsum("kq,kqp,kp->k", m0, precision, m0)
    return Told(constant, eta + np.einsum("kqp,kp->kq", precision, m0), precision)


def _spread_out(told: Told, offsets: NDArray[np.bool_], spread_mm: Array) -> Told:
    """Integrate the mounting's own offset out, for every spread; from (K, ...) to (K S, ...)."""
    q = told.shift.shape[1]
    F = int(offsets.sum())
    cross = told.precision[:, :, offsets]
    inner = told.precision[:, offsets][:, :, offsets][:, None] + (spread_mm**-2)[:, None, None] * np.eye(F)
    gain = np.linalg.inv(inner)
    eta = told.shift[:, offsets]
    constant = told.constant[:, None] + 0.5 * np.einsum("kf,ksfg,kg->ks", eta, gain, eta)
    constant = constant - 0.5 * np.linalg.slogdet(inner)[1] - F * np.log(spread_mm)
    shift = told.shift[:, None] - np.einsum("kqf,ksfg,kg->ksq", cross, gain, eta, optimize=True)
    precision = told.precision[:, None] - cross[:, None] @ gain @ np.swapaxes(cross, 1, 2)[:, None]
    return Told(constant.ravel(), shift.reshape(-1, q), precision.reshape(-1, q, q))


def _turned(ground: Ground, carried: Carried, variants: list[Block], kept: bool) -> dict[str, float]:
    """Return the probability that a scale counts the other way, of those that were moved."""
    if not doubtful_scales(variants[0]):
        return {}
    found = solve_block(variants, lambda around: start_of(ground, carried, kept, around))
    return {a: float(np.clip(p, _TURNED_LEAST, 1.0 - 1e-6)) for a, p in found.reversed_scales.items()}


def believed(carried: Carried, setup: Setup) -> list[tuple[Block, Ground]]:
    """Return every block of a setup with what was carried of it, on its latest sharpening."""
    edge = carried.edges[-1] if carried.edges else ""
    blocks = blocks_of(setup, [], footing=footing_of(carried, edge))
    return [(block, ground_of(carried, b, block, edge)) for b, block in enumerate(blocks)]

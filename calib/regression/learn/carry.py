"""Carry what one mounting taught to the next: its evidence, added to the sums.

1. Before the mounting, every pair (scatter, move error) has one Gaussian prior of the terms that
   persist, gathered over the spreads of mountings.
2. The mounting is solved as ever, slips, words, wear and turned scales included.
3. Dividing by the prior of step 1 leaves what the cuts alone said: c - 1/2 z' Lambda z + eta' z.
4. What this mounting drew for itself (its offsets, its creep) is integrated out for every spread tau:
       Lambda' = Lambda - Lambda B (B' Lambda B + I/tau^2)^-1 B' Lambda   (B picks what is drawn; eta alike)
5. c', eta' and Lambda' are added to the sums.

Without slips, words, wear and turned scales every step is exact, and the sums do not depend on the order
of the mountings. With them step 3 gathers several Gaussians into one; tests/test_learn_components.py measures
what that costs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.errors import CalibError
from calib.regression import knowledge
from calib.regression.footing import Footing, reference_settings
from calib.regression.hypotheses import Solver, doubtful_scales, variants_of, wear_axis_of
from calib.regression.learn.begin import Ground, footing_of, ground_of, pair_start
from calib.regression.learn.evidence import spread_out, told_alone
from calib.regression.learn.grid import grid_of
from calib.regression.learn.state import EDGE_SD_MM, BlockState, Carried, fingerprint
from calib.regression.terms import Block, blocks_of
from calib.regression.track import several_mountings, walk
from calib.shop import Cut, Setup

Array = NDArray[np.float64]

#: A pair whose log weight is this far below the best is given up.
_GIVE_UP = 30.0
#: So many readings of a mounting, the worst ones, are looked at in pairs for slips.
_MOST_IN_PAIRS = 10
#: A scale that counts the other way with less than this probability is no longer weighed.
_SETTLED = 1e-6
#: Sharpenings whose edges are remembered apart; older ones are integrated out.
_EDGES_KEPT = 4
#: No probability of a turned scale is carried closer to 0 or 1 than this.
_TURNED_LEAST = 1e-9


class Unit(NamedTuple):
    """The rows of one mounting on one sharpening."""

    mounting: str
    edge: str
    cuts: tuple[Cut, ...]


def units_of(cuts: Sequence[Cut], carried: Carried | None = None) -> list[Unit]:
    """Return the mountings of a log, in order; a new sharpening within one begins a unit of its own.

    What a row leaves out (mounting, sharpening, stock) is as in the row before; the edge of the first one
    is that of the mountings that were carried.
    """
    found: list[tuple[str, str, list[Cut]]] = []
    mounting, edge = "", carried.edges[-1] if carried is not None and carried.edges else ""
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
    for block in blocks_of(setup, [], footing=Footing(reference)):
        H = len(grid_of(block, False).log_prior)
        blocks.append(BlockState((), np.zeros(H), np.zeros((H, 0)), np.zeros((H, 0, 0))))
    return Carried(reference, tuple(blocks), last_mm=reference, believed=fingerprint(setup))


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
    check_same(state, setup)
    for unit in units_of(cuts, state):
        state = _with_unit(state, setup, unit, kept_joint)
    return state


def check_same(carried: Carried, setup: Setup) -> None:
    """Raise `CalibError` when a state was carried with another belief than the setup has now."""
    if carried.believed != fingerprint(setup):
        raise CalibError(
            f"setup {setup.name}: what was carried from its earlier mountings rests on another belief "
            "(knowledge, joint, adjusters or words have changed). Carry them again from the log."
        )


def through(
    setup: Setup, cuts: Sequence[Cut], carried: Carried | None = None
) -> tuple[Carried | None, list[Cut]]:
    """Carry through all mountings but the last; return the state and the rows of the last one.

    A log of a single mounting, with nothing carried, is left as it is.
    """
    if carried is None and not several_mountings(cuts):
        return None, list(cuts)
    units = units_of(cuts, carried)
    for unit in units[:-1]:
        carried = carry(carried, setup, unit.cuts)
    if carried is not None and not carried.mountings:
        carried = None  # nothing was cut in any of them
    return carried, list(units[-1].cuts) if units else []


def _with_unit(state: Carried, setup: Setup, unit: Unit, kept: bool) -> Carried:
    footing = footing_of(state, setup, unit.cuts, unit.edge)
    track = walk(setup, unit.cuts, footing.metres_m)
    assert track.now is not None, "a unit has rows"
    edges = (*(e for e in state.edges if e != unit.edge), unit.edge)
    old = edges[:-_EDGES_KEPT]
    metres = {e: m for e, m in state.metres_m.items() if e not in old}
    state = replace(
        state,
        last_mm=dict(unit.cuts[-1].settings_mm),
        edges=edges[-_EDGES_KEPT:],
        metres_m={**metres, unit.edge: track.now.metres_m},
    )
    if not any(cut.readings or cut.feel for cut in unit.cuts):
        return state
    return _with_cuts(state, setup, unit, kept, footing, old)


def _with_cuts(
    state: Carried, setup: Setup, unit: Unit, kept: bool, footing: Footing, old: Sequence[str]
) -> Carried:
    """Return the state with the evidence of one unit, in which something was measured."""
    blocks: list[BlockState] = []
    turned = dict(state.turned)
    numbers = moves = 0
    for b, variants in enumerate(variants_of(setup, unit.cuts, footing=footing)):
        ground = ground_of(state, b, variants[0], unit.edge, kept)
        sums, doubts = _added(ground, state, variants, kept)
        blocks.append(_forgotten(sums, old))
        turned.update(doubts)
        numbers += sum(row.is_number for row in variants[0].rows)
        moves = len(variants[0].track.moves)
    return replace(
        state,
        blocks=tuple(blocks),
        mountings=tuple(dict.fromkeys([*state.mountings, unit.mounting])),
        stocks=tuple(dict.fromkeys([*state.stocks, *(cut.stock or "" for cut in unit.cuts)])),
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


def _added(
    ground: Ground, carried: Carried, variants: list[Block], kept: bool
) -> tuple[BlockState, dict[str, float]]:
    """Return the sums of one block with the evidence of one mounting, and which scales seem turned."""
    state = ground.state
    parts = len(state.constant) // ground.grid.pairs
    alive = _alive(ground, parts)
    doubtful = doubtful_scales(variants[0])
    if all(carried.turned.get(a, 1.0) < _SETTLED for a in doubtful):
        doubtful, variants = [], variants[:1]
    start = pair_start(_only(ground, alive, parts), carried, kept)
    solver = Solver(variants, knowledge.known(), wear_axis_of(variants[0]), start, _MOST_IN_PAIRS)
    told = told_alone(solver)
    told = spread_out(told, ground.redrawn, ground.spreads(kept))
    M = ground.to_block
    hypotheses = (np.flatnonzero(alive)[:, None] * parts + np.arange(parts)).ravel()
    constant = np.full(len(state.constant), -np.inf)
    shift, precision = np.zeros_like(state.shift), np.zeros_like(state.precision)
    constant[hypotheses] = state.constant[hypotheses] + told.constant
    shift[hypotheses] = state.shift[hypotheses] + told.shift @ M
    precision[hypotheses] = state.precision[hypotheses] + M.T @ told.precision @ M
    sums = BlockState(state.terms, constant - constant.max(), shift, precision)
    by_pair = ground.believed.weight.reshape(-1, parts).sum(axis=1)[alive]
    return sums, _turned(solver, doubtful, by_pair)


def _turned(solver: Solver, doubtful: list[str], by_pair: Array) -> dict[str, float]:
    """Return the probability that a scale counts the other way, of those that were moved."""
    assert solver.grid.node is not None
    if not doubtful:
        return {}
    log_weight = np.logaddexp.reduce(solver.log_weight, axis=1)
    weight = np.exp(log_weight - log_weight.max()) * by_pair[solver.grid.node]
    by_variant = np.bincount(solver.grid.variant, weights=weight) / weight.sum()
    turned = dict(zip(doubtful, by_variant[1:], strict=True))
    return {a: float(np.clip(p, _TURNED_LEAST, 1.0 - _TURNED_LEAST)) for a, p in turned.items()}


def _alive(ground: Ground, parts: int) -> NDArray[np.bool_]:
    by_pair = ground.believed.weight.reshape(-1, parts).sum(axis=1)
    alive: NDArray[np.bool_] = by_pair > np.exp(-_GIVE_UP) * by_pair.max()
    return alive


def _only(ground: Ground, alive: NDArray[np.bool_], parts: int) -> Ground:
    """Return the ground with the pairs that were given up weighing nothing."""
    kept = np.repeat(alive, parts)
    weight = np.where(kept, np.maximum(ground.believed.weight, 1e-280), 0.0)
    return replace(ground, believed=replace(ground.believed, weight=weight))


def believed(carried: Carried, setup: Setup) -> list[tuple[Block, Ground]]:
    """Return every block of a setup with what was carried of it, on its latest sharpening."""
    edge = carried.edges[-1] if carried.edges else ""
    blocks = blocks_of(setup, [], footing=Footing(carried.reference_mm, carried.stocks))
    return [(block, ground_of(carried, b, block, edge)) for b, block in enumerate(blocks)]

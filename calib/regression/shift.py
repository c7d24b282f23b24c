"""Has the setup moved? The evidence that from some cut on every reading stands a step away.

A knocked fence, a height that crept, a cutter that was changed and not logged: from cut k on there is
one more unknown, a step s ~ N(0, w^2) along a column u_k that is 0 before k. That changes the covariance
of the readings by rank one, so the evidence of every k follows in closed form from the factors that the
solver already has, for every hypothesis on the scatter and on the moves, and with none or one of the
readings a slip (compare `blunder`):

    a = u' A u,  b = u' r
    log evidence ratio = -1/2 log(1 + w^2 a) + 1/2 b^2 / (1/w^2 + a)
    step given the readings: mean b / (1/w^2 + a), variance 1 / (1/w^2 + a)

Which cut it was is summed over, each with the same small prior probability. Against all of them stands
that nothing has shifted and none, one or two readings are slips.

Symbols
-------
K hypotheses, n numeric rows, m steps (first cut x direction)
A whitened inverse covariance of the readings, r whitened residuals (see `solve`)
u (n, m) columns in mm per mm of step; w (K, m) prior sd of a step, mm

Assumed: at most one step, in the present mounting, not together with a move (there it is the move's
error). Not handled: words; a step that only the last cut shows, which is a slip until it is confirmed.

Source: the matrix determinant and inversion lemmas; a step at an unknown time as in Chernoff and
Zacks 1964 (M).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.regression.blunder import Candidates
from calib.regression.solve import GaussianFit
from calib.regression.steps import Step
from calib.regression.terms import Block

Array = NDArray[np.float64]

#: How often setups shift is not known. After b cuts without one the next comes with a shift with probability
#: 1/(18 + b): the mean of a Beta(1, 17) prior after b misses.
_STANDING = 18.0
#: A setup is moved about while it is dialled in, and fewer than five cuts hardly say where it stood; a step
#: more than five cuts ago was looked for when those cuts were new. Both count this much.
_UNLIKELY = 0.1
_FEW = 5
#: A shift with more than this probability is told and taken as true. In simulated setups that have not moved
#: that happens no more than once in 200 cuts (tests/benchmarks/shift.py).
RAISED = 0.5
#: So many of the latest cuts are looked at as the first one after a step.
_LATEST = 24
#: A slip is considered beside a step when without a step it has at least this share of no slip at all.
_SLIP_SHARE = 0.05


@dataclass(frozen=True)
class Shift:
    """What the readings say of a shift of one block.

    Parameters
    ----------
    probability : float
        That the readings have shifted at some cut of this mounting, two or more cuts ago.
    step : Step
        The most probable one.
    cuts_since : int
        Cuts read since, the first one that shows it included.
    earliest, latest : int
        Cuts between which it began, with nine tenths of the probability.
    size_mm, u_mm : mapping of reading to mm
        Mean and standard uncertainty of the change, if there was one and it began there.
    """

    probability: float
    step: Step
    cuts_since: int
    earliest: int
    latest: int
    size_mm: Mapping[str, float]
    u_mm: Mapping[str, float]


def possible_steps(block: Block, numbers: Sequence[int]) -> list[Step]:
    """Return every step that could be told from the readings of the present mounting.

    Parameters
    ----------
    numbers : sequence of int
        Which rows of the block are measured numbers.
    """
    now = block.track.now
    if now is None:
        return []
    rows = [block.rows[i] for i in numbers]
    states = block.track.states
    read = sorted({row.position for row in rows if states[row.position].span == now.span})
    last = max((step.position for step in block.steps), default=-1)
    firsts = [
        position
        for before, position in itertools.pairwise(read[:-1])
        if before >= last and not _moved(block, before, position)
    ]
    cuts = {row.position: row.cut for row in rows}
    return [
        _step(block, cuts[position], position, along, effects)
        for position in firsts[-_LATEST:]
        for along, effects in _ways(block).items()
    ]


def _moved(block: Block, before: int, position: int) -> bool:
    """Say whether a move that may have landed off lies between two cuts."""
    then, now = block.track.states[before], block.track.states[position]
    return any(
        then.moves.get(a, ()) != now.moves.get(a, ()) and block.setup.move_sd_mm(a) > 0.0
        for a in block.adjusters
    )


def _ways(block: Block) -> dict[str, dict[str, float]]:
    """Return what may shift: each reading alone, and where several hang on it, each adjuster."""
    if len(block.readings) == 1:
        return {"": {block.readings[0]: 1.0}}
    ways = {reading: {reading: 1.0} for reading in block.readings}
    for a, adjuster in enumerate(block.adjusters):
        slopes = zip(block.readings, block.slopes[:, a], strict=True)
        effects = {f: float(slope) for f, slope in slopes if slope and not math.isnan(slope)}
        if len(effects) > 1:
            ways[adjuster] = effects
    return ways


def _step(block: Block, cut: int, position: int, along: str, effects: Mapping[str, float]) -> Step:
    known = block.setup.knowledge
    sds = [
        math.hypot(known.scale(f, "cut_sd_mm"), known.scale(f, "reading_sd_mm")) / abs(effect)
        for f, effect in effects.items()
    ]
    return Step(cut, position, along, effects, max(min(sds), 1e-6))


def _cuts_since(block: Block, numbers: Sequence[int]) -> dict[int, int]:
    """Return by position in this mounting how many cuts have been read from there on."""
    span = None if block.track.now is None else block.track.now.span
    places = {block.rows[i].position for i in numbers}
    read = sorted((p for p in places if block.track.states[p].span == span), reverse=True)
    return {position: count for count, position in enumerate(read, start=1)}


def _columns(block: Block, numbers: Sequence[int], steps: Sequence[Step]) -> Array:
    """Return mm of each reading per mm of each step, shape (n, m)."""
    rows = [block.rows[i] for i in numbers]
    return np.array(
        [
            [s.effects.get(block.readings[row.reading], 0.0) * (row.position >= s.position) for s in steps]
            for row in rows
        ]
    )


def weigh(
    block: Block,
    numbers: Sequence[int],
    fit: GaussianFit,
    scatter: Array,
    wide_sd: Array,
    candidates: Candidates,
    log_weight: Array,
) -> Shift | None:
    """Return what the readings say of a shift; None when no step could be told yet.

    Parameters
    ----------
    block : Block
    numbers : sequence of int
        Rows of the block that `fit` holds.
    fit : GaussianFit
    scatter : ndarray of shape (K,)
        Factor on the median scatter of each hypothesis.
    wide_sd : ndarray of shape (n,), mm
        sd of a slip (see `blunder`).
    candidates : Candidates
    log_weight : ndarray of shape (K, sets)
        Of every hypothesis with every set of slips, when nothing has shifted.
    """
    steps = possible_steps(block, numbers)
    if not steps:
        return None
    slips = _slips(candidates, log_weight)
    U = _columns(block, numbers, steps)
    w = scatter[:, None] * np.array([step.prior_sd_mm for step in steps])
    a, b = _information(fit, U, wide_sd, slips)
    precision = 1.0 / w[:, None, :] ** 2 + a
    log_ratio = 0.5 * b**2 / precision - 0.5 * np.log(precision * w[:, None, :] ** 2)
    since = _cuts_since(block, numbers)
    base = log_weight[:, [0, *(1 + i for i in slips)]]
    log_each = base[:, :, None] + log_ratio + np.log(_prior_odds(steps, since))
    top = max(float(log_each.max()), float(log_weight.max()))
    each = np.exp(log_each - top)
    still = float(np.exp(log_weight - top).sum())
    return _told(steps, since, each, still, b / precision, 1.0 / precision)


def _prior_odds(steps: Sequence[Step], since: Mapping[int, int]) -> Array:
    """Return the prior odds of every step against none, shape (m,)."""
    ways = len({step.along for step in steps})
    return np.array([odds_before(since[s.position], max(since.values())) / ways for s in steps])


def odds_before(cuts_since: int, cuts: int) -> float:
    """Return the prior odds that a setup shifted with one cut.

    Parameters
    ----------
    cuts_since : int
        Cuts read since, that one included.
    cuts : int
        Cuts read in this mounting.
    """
    before = cuts - cuts_since
    odds = 1.0 / (_STANDING + before - 1.0)
    odds *= _UNLIKELY if before < _FEW else 1.0
    return odds * (_UNLIKELY if cuts_since > _FEW else 1.0)


def _slips(candidates: Candidates, log_weight: Array) -> list[int]:
    """Return the rows that are worth taking as a slip beside a step."""
    n = sum(len(bad) == 1 for bad in candidates.sets)
    share = np.exp(log_weight[:, : n + 1] - log_weight[:, : n + 1].max()).sum(axis=0)
    return [int(i) for i in np.flatnonzero(share[1:] >= _SLIP_SHARE * share[0])]


def _information(fit: GaussianFit, U: Array, wide_sd: Array, slips: list[int]) -> tuple[Array, Array]:
    """Return a and b of every step, shape (K, 1 + slips, m): with nothing bad, then with each slip."""
    white = U / np.sqrt(fit.noise_variance)[:, :, None]
    AU = fit.freedom @ white
    a = np.sum(white * AU, axis=1)[:, None, :]
    b = np.einsum("kn,knm->km", fit.residual, white)[:, None, :]
    if not slips:
        return np.maximum(a, 0.0), b
    at = np.array(slips)
    M = np.diagonal(fit.freedom, axis1=1, axis2=2)[:, at] + fit.noise_variance[:, at] / wide_sd[at] ** 2
    pull = AU[:, at, :]
    a = np.concatenate([a, a - pull**2 / M[:, :, None]], axis=1)
    b = np.concatenate([b, b - pull * (fit.residual[:, at] / M)[:, :, None]], axis=1)
    return np.maximum(a, 0.0), b


def _told(
    steps: list[Step], since: Mapping[int, int], each: Array, still: float, mean: Array, variance: Array
) -> Shift:
    by_step = each.sum(axis=(0, 1))
    best = int(np.argmax(by_step))
    total = max(float(by_step[best]), 1e-300)
    size = float(np.sum(each[:, :, best] * mean[:, :, best])) / total
    spread = variance[:, :, best] + (mean[:, :, best] - size) ** 2
    u = math.sqrt(float(np.sum(each[:, :, best] * spread)) / total)
    step = steps[best]
    earliest, latest = _between(steps, by_step)
    return Shift(
        probability=float(by_step.sum() / (by_step.sum() + still)),
        step=step,
        cuts_since=since[step.position],
        earliest=earliest,
        latest=latest,
        size_mm={f: size * effect for f, effect in step.effects.items()},
        u_mm={f: u * abs(effect) for f, effect in step.effects.items()},
    )


def _between(steps: list[Step], by_step: Array) -> tuple[int, int]:
    """Return the first and last cut of the shortest run of beginnings that holds nine tenths."""
    cuts = sorted({(step.position, step.cut) for step in steps})
    share = [sum(by_step[s] for s, step in enumerate(steps) if step.position == p) for p, _ in cuts]
    wanted = 0.9 * sum(share)
    runs = [
        (j - i, cuts[i][1], cuts[j][1])
        for i in range(len(cuts))
        for j in range(i, len(cuts))
        if sum(share[i : j + 1]) >= wanted - 1e-12
    ]
    return min(runs)[1:] if runs else (cuts[0][1], cuts[-1][1])

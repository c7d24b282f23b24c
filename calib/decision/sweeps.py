"""The sweeps that bring the plan's values to rest.

A test cut convolves the values with a Gaussian: by FFT, on values continued flat beyond the grid. Where
landing adds, states are swept in handfuls of rising variance, so that tests settle in a pass or two and
only chains of moves need more. Where it renews, all rungs of one number of tests go together.

Symbols
-------
H hypotheses, S states, J rungs, N grid points
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from calib.decision.blur import Blur

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_MOST_SWEEPS = 40
#: The plan stands still when its tests are counted, so fewer sweeps do.
_COUNT_SWEEPS = 4
_COUNT_TOLERANCE = 0.05
#: States that are swept together (one after the other would settle sooner, but cost more).
_HANDFUL = 8
#: Changes of sweep after sweep that are a geometric row: its largest ratio, how far two ratios may differ (of
#: what is missing to 1), and its last change, minutes or tests.
_LONGEST_ROW, _PLAIN_ROW, _SMALL_CHANGE = 0.95, 0.2, 4.0


@dataclass(frozen=True, eq=False)
class Ladder:
    """The states and where tests and moves lead, ascending in variance.

    Parameters
    ----------
    variance : ndarray of shape (H, S), mm^2
        Of the level.
    spread : ndarray of shape (H, S), mm
        How far a test may shift the mean (sd).
    test, move : (lower state, upper state, share of the upper one), each of shape (H, S)
    """

    variance: Array
    spread: Array
    test: tuple[Indices, Indices, Array]
    move: tuple[Indices, Indices, Array]


@dataclass(frozen=True, eq=False)
class Worth:
    """What the sweeps need: prices, the loss table (H, S, N), the ladder and the grid's spacing (H,).

    The price of a test has the shape (H,), minutes.
    """

    test_min: Array
    move_min: float
    can_move: bool
    loss: Array
    ladder: Ladder
    spacing: Array
    per_step: tuple[int, ...]

    def of(self, h: Indices) -> Worth:
        """Return the prices of some hypotheses alone."""
        ladder = Ladder(
            self.ladder.variance[h],
            self.ladder.spread[h],
            _rows(self.ladder.test, h),
            _rows(self.ladder.move, h),
        )
        per_step = tuple(self.per_step[k] for k in h.tolist())
        return replace(
            self,
            test_min=self.test_min[h],
            loss=self.loss[h],
            ladder=ladder,
            spacing=self.spacing[h],
            per_step=per_step,
        )


@dataclass(frozen=True, eq=False)
class Settled:
    """Values at rest, each of shape (H, S, N).

    Parameters
    ----------
    value, cut, test, move : ndarray, minutes
        From now on: with the best step, cut as it stands, with a test next, with a move next (infinite
        where none can be).
    tests : ndarray
        Test cuts that the plan expects when a test comes next, that one included.
    """

    value: Array
    cut: Array
    test: Array
    move: Array
    tests: Array


def points_per_step(step_mm: float, spacing: Array) -> tuple[int, ...]:
    """Grid points per least step of each hypothesis; 1 = as good as continuous."""
    if step_mm <= 0.0:
        return (1,) * len(spacing)
    return tuple(max(round(step_mm / h), 1) if step_mm > 1.5 * h else 1 for h in spacing.tolist())


def sweep_adding(worth: Worth) -> Settled:
    """Return the settled values of every state."""
    tables = _Adding(worth)
    _to_rest(tables, tables.tolerance)
    found = tables.value, worth.loss, tables.test, tables.move
    return Settled(*found, _count_adding(worth, tables.blur, tables.handfuls, tables.test, tables.best))


class _Tables:
    """Values (H, S, N) on their way to rest: `sweep` brings them all one step nearer.

    `value` and `best` (what a move can reach) are what a sweep starts from; `others` follow from them.
    """

    others: tuple[str, ...] = ("test", "move")

    def __init__(self, worth: Worth) -> None:
        self.worth, loss = worth, worth.loss
        self.blur = Blur(worth.ladder.spread / worth.spacing[:, None], loss.shape[2])
        self.value, self.test, self.move = loss.copy(), np.empty_like(loss), np.full_like(loss, np.inf)
        self.best: Array = np.empty(0)

    @property
    def tolerance(self) -> float:
        """Minutes; sweeps end when nothing changes by more (what is left to come is of the same size)."""
        return max(0.02, 1e-5 * float(self.worth.loss.max()))

    def sweep(self) -> None:
        """Work every state out once."""
        raise NotImplementedError

    def of(self, h: Indices) -> Self:
        """Return the tables of some hypotheses alone."""
        part = copy(self)
        part.worth, part.blur = self.worth.of(h), self.blur.of(h)
        for name in ("value", "best", *self.others):
            setattr(part, name, getattr(self, name)[h])
        return part

    def put(self, h: Indices, part: Self) -> None:
        """Put the tables of some hypotheses back."""
        for name in ("value", "best", *self.others):
            getattr(self, name)[h] = getattr(part, name)


def _to_rest(tables: _Tables, tolerance: float) -> None:
    """Sweep until no value changes by more than a tolerance.

    Hypotheses that rest are left out once they are half of those that are still swept. Values that come to
    rest as a geometric row are taken to its end at once (Aitken 1926, M), and swept on from there.
    """
    part, at = tables, np.arange(len(tables.value))
    changes: list[Array] = []
    for _ in range(_MOST_SWEEPS):
        before = part.value.copy(), part.best.copy()
        part.sweep()
        changes.append(np.max(np.abs(part.value - before[0]), axis=(1, 2)))
        moving = np.flatnonzero(changes[-1] >= tolerance)
        if not len(moving):
            break
        if 2 * len(moving) <= len(at):
            tables.put(at, part)
            at, part, changes = at[moving], part.of(moving), []
        elif len(changes) == 3:
            rest = _rest_of_the_row(changes)[:, None, None]
            for now, old in zip((part.value, part.best), before, strict=True):
                now += rest * (now - old)
            changes = []
    tables.put(at, part)


def _rest_of_the_row(changes: list[Array]) -> Array:
    """Return what is still to come, in multiples of the last of three changes: 0 where they are no row.

    A row that is taken for longer than it is ends below the values, and comes up by a test's price a sweep
    only: it must be plain, and its last change small.

    >>> _rest_of_the_row([np.array([4.0, 4.0, 40.0]), np.array([2.0, 3.0, 20.0]), np.array([1.0, 1.0, 10.0])])
    array([1., 0., 0.])
    """
    first, second, last = (np.maximum(change, 1e-12) for change in changes)
    ratio = last / second
    plain = (ratio < _LONGEST_ROW) & (np.abs(ratio - second / first) < _PLAIN_ROW * (1.0 - ratio))
    ratio = np.where(plain & (last < _SMALL_CHANGE), ratio, 0.0)
    result: Array = ratio / (1.0 - ratio)
    return result


class _Adding(_Tables):
    """Where landing adds: handfuls of states of rising variance, one after the other."""

    def __init__(self, worth: Worth) -> None:
        super().__init__(worth)
        S = worth.loss.shape[1]
        self.best = reachable(worth.loss, worth.per_step)
        self.handfuls = [slice(s, min(s + _HANDFUL, S)) for s in range(0, S, _HANDFUL)]

    def sweep(self) -> None:
        """Work every state out once."""
        worth, ladder, value = self.worth, self.worth.ladder, self.value
        for states in self.handfuls:
            after = _between(value, ladder.test, states)
            self.test[:, states] = worth.test_min[:, None, None] + self.blur.apply(after, states)
            stay = np.minimum(worth.loss[:, states], self.test[:, states])
            value[:, states] = stay
            if worth.can_move:
                self.best[:, states] = reachable(stay, worth.per_step)
                self.move[:, states] = worth.move_min + _between(self.best, ladder.move, states)
                np.minimum(stay, self.move[:, states], out=value[:, states])


def _rows(where: tuple[Indices, Indices, Array], h: Indices) -> tuple[Indices, Indices, Array]:
    """Take some hypotheses out of where steps lead."""
    low, high, share = where
    return low[h], high[h], share[h]


def _between(table: Array, where: tuple[Indices, Indices, Array], states: slice) -> Array:
    """Look up where a step leads from these states: between two rungs of the table."""
    low, high, share = (part[:, states] for part in where)
    rows, u = np.arange(len(table))[:, None], share[:, :, None]
    result: Array = (1 - u) * table[rows, low] + u * table[rows, high]
    return result


def _count_adding(worth: Worth, blur: Blur, handfuls: list[slice], test: Array, best: Array) -> Array:
    """Expected tests of the settled plan when a test comes next."""
    loss, ladder = worth.loss, worth.ladder
    low, high, share = ladder.move
    rows = np.arange(len(loss))[:, None]
    stay = np.minimum(loss, test)
    everything = slice(0, loss.shape[1])
    moves = (worth.move_min + _between(best, ladder.move, everything) < stay) & worth.can_move
    tests = loss > test
    landed = np.where(share > 0.5, high, low)
    target = _target(stay, worth.per_step)[rows, landed]
    count, test_count = np.zeros_like(loss), np.zeros_like(loss)
    for _ in range(_COUNT_SWEEPS):
        for states in handfuls:
            test_count[:, states] = 1.0 + blur.apply(_between(count, ladder.test, states), states)
            staying = np.where(tests[:, states], test_count[:, states], 0.0)
            there = landed[:, states]
            after = np.where(tests[rows, there], test_count[rows, there], 0.0)
            after = np.take_along_axis(after, target[:, states], axis=2)
            count[:, states] = np.where(moves[:, states], after, staying)
    return test_count


def sweep_renewing(worth: Worth, rungs: int) -> Settled:
    """Return the settled values of every state.

    States: `rungs` positions that no landing is part of, then `rungs` for each number of tests made
    since the last landing.
    """
    tables = _Renewing(worth, rungs)
    _to_rest(tables, tables.tolerance)
    tables.sweep_first()
    counts = _Counts(tables)
    _to_rest(counts, _COUNT_TOLERANCE)
    counts.sweep_first()
    return Settled(tables.value, worth.loss, tables.test, tables.move, counts.test)


class _Renewing(_Tables):
    """Where landing renews: all rungs of one number of tests go together."""

    def __init__(self, worth: Worth, rungs: int) -> None:
        super().__init__(worth)
        self.rungs, self.levels = rungs, worth.loss.shape[1] // rungs - 1
        self.best = reachable(worth.loss[:, rungs : 2 * rungs], worth.per_step)

    def sweep(self) -> None:
        """Work every state with a landing out once, the most tests first."""
        J, levels = self.rungs, self.levels
        for k in range(levels - 1, -1, -1):
            ahead = slice(J * (1 + min(k + 1, levels - 1)), J * (2 + min(k + 1, levels - 1)))
            self._settle(slice(J * (1 + k), J * (2 + k)), self.value[:, ahead])

    def sweep_first(self) -> None:
        """Work the positions without a landing out: they are tested down their own ladder."""
        for j in range(self.rungs):
            states = slice(j, j + 1)
            self._settle(states, _between(self.value, self.worth.ladder.test, states))

    def _settle(self, states: slice, following: Array) -> None:
        worth = self.worth
        self.test[:, states] = worth.test_min[:, None, None] + self.blur.apply(following, states)
        stay = np.minimum(worth.loss[:, states], self.test[:, states])
        if states.start == self.rungs:
            self.best[:] = reachable(stay, worth.per_step)
        if worth.can_move:
            self.move[:, states] = worth.move_min + self._landed(states)
        np.minimum(stay, self.move[:, states], out=self.value[:, states])

    def _landed(self, states: slice) -> Array:
        """Look up what is reached after a landing: the first rungs, without a test since."""
        low, high, share = (part[:, states] for part in self.worth.ladder.move)
        at, u, J = np.arange(len(self.best))[:, None], share[:, :, None], self.rungs
        result: Array = (1 - u) * self.best[at, low - J] + u * self.best[at, high - J]
        return result


class _Counts(_Renewing):
    """The tests that a settled plan expects: `test` when one comes next, `value` in any case."""

    others = ("test", "move", "tests", "moves", "target")

    def __init__(self, settled: _Renewing) -> None:
        worth, first = settled.worth, slice(settled.rungs, 2 * settled.rungs)
        vars(self).update(vars(settled))
        stay = np.minimum(worth.loss, settled.test)
        self.tests, self.moves = worth.loss > settled.test, settled.move < stay
        self.target = _target(stay[:, first], worth.per_step)
        self.value, self.test = np.zeros_like(worth.loss), np.zeros_like(worth.loss)
        self.best = np.zeros_like(settled.best)

    def _settle(self, states: slice, following: Array) -> None:
        self.test[:, states] = 1.0 + self.blur.apply(following, states)
        stay = np.where(self.tests[:, states], self.test[:, states], 0.0)
        if states.start == self.rungs:
            self.best[:] = np.take_along_axis(stay, self.target, axis=2)
        self.value[:, states] = np.where(self.moves[:, states], self._landed(states), stay)


def reachable(value: Array, per_step: tuple[int, ...]) -> Array:
    """For every grid point (last axis) the least value among the points that a move can reach."""
    if max(per_step) == 1:
        return np.broadcast_to(value.min(axis=2, keepdims=True), value.shape).copy()
    best = np.empty_like(value)
    for h, every in enumerate(per_step):
        best[h] = _repeated(_folded(value[h], every).min(axis=1), value.shape[2])
    return best


def _target(value: Array, per_step: tuple[int, ...]) -> Indices:
    """Like `reachable`, but the grid point that is moved to."""
    target = np.empty(value.shape, dtype=np.intp)
    for h, every in enumerate(per_step):
        row = _folded(value[h], every).argmin(axis=1)
        target[h] = _repeated(row * every + np.arange(every), value.shape[2])
    return target


def _folded(value: Array, every: int) -> Array:
    """Fold rows (S, N) into (S, N / every, every): what a move can reach stands in one column."""
    rows = -(-value.shape[1] // every)
    folded = np.full((len(value), rows * every), np.inf)
    folded[:, : value.shape[1]] = value
    return folded.reshape(len(value), rows, every)


def _repeated(column: NDArray[Any], points: int) -> NDArray[Any]:
    """Lay one value per column out along the whole grid again."""
    return column[:, np.arange(points) % column.shape[1]]

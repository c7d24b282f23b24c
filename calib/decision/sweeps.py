"""The sweeps that bring the plan's values to rest.

A test cut convolves the values with a Gaussian: by FFT, on values continued flat beyond the grid. Where
landing adds, states are swept in handfuls of rising variance, so that tests settle in a pass or two and
only chains of moves need more. Where it renews, all rungs of one number of tests go together.

Symbols
-------
H hypotheses, S states, J rungs, N grid points
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_MOST_SWEEPS = 40
#: The plan stands still when its tests are counted, so fewer sweeps do.
_COUNT_SWEEPS = 4
#: States that are swept together (one after the other would settle sooner, but cost more).
_HANDFUL = 8
#: Lengths of an FFT that have small factors only.
_FFT_LENGTHS = (256, 320, 384, 432, 512, 576, 640, 768, 900, 1024, 1280, 1536, 1800, 2048, 2560, 3072, 4096)
#: A Gaussian is cut off at this many sds.
_REACH = 4.5


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Worth:
    """What the sweeps need: prices, the loss table (H, S, N), the ladder and the grid's spacing (H,)."""

    test_min: float
    move_min: float
    can_move: bool
    loss: Array
    ladder: Ladder
    spacing: Array
    per_step: tuple[int, ...]

    @property
    def tolerance(self) -> float:
        """Minutes; sweeps end when nothing changes by more (what is left to come is of the same size)."""
        return max(0.02, 1e-5 * float(self.loss.max()))


@dataclass(frozen=True)
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
    loss, ladder = worth.loss, worth.ladder
    blur = Blur(ladder.spread / worth.spacing[:, None], loss.shape[2])
    value, test, move = loss.copy(), np.empty_like(loss), np.full_like(loss, np.inf)
    best = reachable(loss, worth.per_step)
    handfuls = [slice(s, min(s + _HANDFUL, loss.shape[1])) for s in range(0, loss.shape[1], _HANDFUL)]
    for _ in range(_MOST_SWEEPS):
        before = value.copy()
        for states in handfuls:
            test[:, states] = worth.test_min + blur.apply(_between(value, ladder.test, states), states)
            stay = np.minimum(loss[:, states], test[:, states])
            value[:, states] = stay
            if worth.can_move:
                best[:, states] = reachable(stay, worth.per_step)
                move[:, states] = worth.move_min + _between(best, ladder.move, states)
                np.minimum(stay, move[:, states], out=value[:, states])
        if float(np.max(np.abs(value - before))) < worth.tolerance:
            break
    return Settled(value, loss, test, move, _count_adding(worth, blur, handfuls, test, best))


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
    loss, J = worth.loss, rungs
    levels = loss.shape[1] // J - 1
    blur = Blur(worth.ladder.spread / worth.spacing[:, None], loss.shape[2])
    value, test, move = loss.copy(), np.empty_like(loss), np.full_like(loss, np.inf)
    count, test_count = np.zeros_like(loss), np.zeros_like(loss)
    at = np.arange(len(loss))[:, None]
    low, high, share = worth.ladder.move
    best = reachable(loss[:, J : 2 * J], worth.per_step)
    best_count = np.zeros_like(best)

    def settle(states: slice, following: Array, following_count: Array) -> None:
        test[:, states] = worth.test_min + blur.apply(following, states)
        test_count[:, states] = 1.0 + blur.apply(following_count, states)
        stay = np.minimum(loss[:, states], test[:, states])
        stay_count = np.where(loss[:, states] > test[:, states], test_count[:, states], 0.0)
        value[:, states], count[:, states] = stay, stay_count
        if states.start == J:
            best[:] = reachable(stay, worth.per_step)
            best_count[:] = np.take_along_axis(stay_count, _target(stay, worth.per_step), axis=2)
        if worth.can_move:
            lo, hi, u = low[:, states] - J, high[:, states] - J, share[:, states, None]
            moved = worth.move_min + (1 - u) * best[at, lo] + u * best[at, hi]
            moved_count = (1 - u) * best_count[at, lo] + u * best_count[at, hi]
            count[:, states] = np.where(moved < stay, moved_count, stay_count)
            move[:, states] = moved
            np.minimum(stay, moved, out=value[:, states])

    for _ in range(_MOST_SWEEPS):
        before = value.copy()
        for k in range(levels - 1, -1, -1):
            states = slice(J * (1 + k), J * (2 + k))
            ahead = slice(J * (1 + min(k + 1, levels - 1)), J * (2 + min(k + 1, levels - 1)))
            settle(states, value[:, ahead].copy(), count[:, ahead].copy())
        if float(np.max(np.abs(value - before))) < worth.tolerance:
            break
    for j in range(J):  # a first position is tested down its own ladder
        states = slice(j, j + 1)
        settle(
            states, _between(value, worth.ladder.test, states), _between(count, worth.ladder.test, states)
        )
    return Settled(value, loss, test, move, test_count)


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


class Blur:
    """Convolution of rows with Gaussians; beyond the grid the values go on flat.

    Parameters
    ----------
    spread : ndarray of shape (H, S)
        sds in grid points.
    points : int
    """

    def __init__(self, spread: Array, points: int) -> None:
        wanted = points + 2 * _REACH * float(spread.max())
        self.points = points
        self.length = next((n for n in _FFT_LENGTHS if n >= wanted), _FFT_LENGTHS[-1])
        frequency = 2.0 * np.pi * np.arange(self.length // 2 + 1) / self.length
        self.factors: Array = np.exp(-0.5 * (spread[:, :, None] * frequency) ** 2)

    def apply(self, values: Array, states: slice) -> Array:
        """Convolve values (H, states, N), each with the Gaussian of its state."""
        pad = self.length - self.points
        padded = np.empty((*values.shape[:-1], self.length))
        padded[..., : self.points] = values
        padded[..., self.points : self.points + pad // 2] = values[..., -1:]
        padded[..., self.points + pad // 2 :] = values[..., :1]
        smooth = np.fft.irfft(np.fft.rfft(padded) * self.factors[:, states], n=self.length)
        result: Array = smooth[..., : self.points]
        return result

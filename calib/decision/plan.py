"""The exact plan for one reading and one adjuster: a dynamic program over the belief.

State: mean z of the level (mm of the reading) and its variance P. A test cut of noise variance s^2
turns P into P s^2 / (P + s^2) and spreads z by what the variance lost; a move shifts z by what can be
reached and adds the variance q of its landing; cutting the good stock ends it at the batch's loss.

    V(z, P) = min { loss(z, P),  test + E V(z', P'),  move + min over reachable z' of W(z', P after) }
    W = the first two alone (two moves in a row never pay)

Where landing *adds*, the variance after a move is P + q. Where it *renews*, the error of the last
landing is left behind and only the offset's own variance B carries over. Right after a landing the two
are independent, so the pair (B, tests made since) says everything and the program stays exact while
steps are fine. (With a coarse step, what can be reached hangs on the offset's place between two steps,
which the plan does not carry: it is then some 10 % too hopeful; tests/benchmarks/dial_in.py.)

z lies on an even grid, variances on a logarithmic ladder; a test cut is a convolution with a Gaussian
(see `sweeps`).

Symbols
-------
H hypotheses solved side by side (each with its own s^2 and q), S states, J rungs, N grid points

Source: Bellman 1957 (M); checked against simulation of its own policy and a finer grid, see
tests/benchmarks/dial_in.py.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.decision.sweeps import Ladder, Settled, Worth, points_per_step, sweep_adding, sweep_renewing

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Tests on one position that the renewing plan tells apart.
MOST_TESTS_HERE = 3
#: The widest spread of one test, in grid points; wider ones make the grid coarser.
_WIDEST_SPREAD = 200.0


@dataclass(frozen=True, eq=False)
class Line:
    """The one-dimensional problem, for H hypotheses at once.

    Parameters
    ----------
    loss : callable (z of shape (H, 1, N), variance of shape (H, S, 1)) -> (H, S, N) minutes
        Expected minutes of cutting the batch at level z known with that variance, both mm and mm^2.
    test_variance : ndarray of shape (H,), mm^2
        Noise of one measured test cut.
    move_variance : ndarray of shape (H,), mm^2
        Landing of one move, in mm of the reading.
    piece_sd : ndarray of shape (H,), mm
        Scatter of one piece; sets how fine the grid must be.
    step_mm : float
        Least step in mm of the reading; 0 = continuous.
    low_mm, high_mm : float
        The band.
    largest_variance_mm2 : float
        The widest belief that will be asked about.
    test_min : float or ndarray of shape (H,)
        Minutes of a test cut.
    move_min : float
        Minutes of a move.
    can_move, renews : bool
    points, rungs : int
        Size of the grid and of the ladder.
    """

    loss: Callable[[Array, Array], Array]
    test_variance: Array
    move_variance: Array
    piece_sd: Array
    step_mm: float
    low_mm: float
    high_mm: float
    largest_variance_mm2: float
    test_min: float | Array
    move_min: float
    can_move: bool = True
    renews: bool = False
    points: int = 161
    rungs: int = 40


@dataclass(frozen=True, eq=False)
class Plan:
    """A solved `Line`: what every step is worth at any belief.

    Beliefs are given as mean z and variance, arrays of shape (C, P); h (C,) says which hypothesis stands
    for each component. Where landing renews, `since` is the number of tests since the last landing (it
    may be fractional) and the variance is the offset's when it landed; None = no landing is in play.
    """

    line: Line
    grid: Array
    log_low: Array
    log_step: Array
    settled: Settled

    def test_minutes(self, h: Indices, z: Array, variance: Array, since: Array | None = None) -> Array:
        """Return expected minutes from now when a test is made first."""
        return self._look(self.settled.test, h, z, variance, since)

    def tests_expected(self, h: Indices, z: Array, variance: Array, since: Array | None = None) -> Array:
        """Return the expected number of tests, that one included, when the next step is a test."""
        return self._look(self.settled.tests, h, z, variance, since)

    def best_minutes(self, h: Indices, z: Array, variance: Array, since: Array | None = None) -> Array:
        """Return expected minutes of the best plan from a belief."""
        return self._look(self.settled.value, h, z, variance, since)

    def move_minutes(self, h: Indices, z: Array, variance: Array, since: Array | None = None) -> Array:
        """Return expected minutes from now when a move is made first."""
        return self._look(self.settled.move, h, z, variance, since)

    def along(self, table: Array, h: Indices, variance: Array, since: Array | None = None) -> Array:
        """Return a table of `settled` along the whole grid at one variance a component, shape (C, N).

        Parameters
        ----------
        table : ndarray of shape (H, S, N)
        h : ndarray of shape (C,); variance : ndarray of shape (C,), mm^2
        since : ndarray of shape (C,), optional
            As in the other look-ups.
        """
        J = self.line.rungs
        noise = self.line.test_variance[h]
        low, high, share = (
            part[:, 0] for part in _place(variance[:, None], self.log_low[h], self.log_step[h], J, noise)
        )

        def rows(start: Indices | int) -> Array:
            between: Array = (1.0 - share)[:, None] * table[h, low + start]
            between += share[:, None] * table[h, high + start]
            return between

        if since is None or not self.line.renews:
            return rows(0)
        k, over = _tests_here(since)
        result: Array = (1.0 - over)[:, None] * rows(J * (1 + k)) + over[:, None] * rows(J * (2 + k))
        return result

    def _look(self, table: Array, h: Indices, z: Array, variance: Array, since: Array | None) -> Array:
        J = self.line.rungs
        low, _, share = _place(
            variance, self.log_low[h], self.log_step[h], J, self.line.test_variance[h]
        )
        rung = low + share
        if since is None or not self.line.renews:
            return self._between(table, h, z, rung, 0)
        low, share = _tests_here(since)
        below = self._between(table, h, z, rung, J * (1 + low))
        above = self._between(table, h, z, rung, J * (2 + low))
        result: Array = (1.0 - share) * below + share * above
        return result

    def _between(self, table: Array, h: Indices, z: Array, rung: Array, start: Indices | int) -> Array:
        """Bilinear interpolation in z and in the logarithm of the variance."""
        grid = self.grid[h]
        spacing = (grid[:, 1] - grid[:, 0])[:, None]
        at = np.clip((z - grid[:, :1]) / spacing, 0.0, self.line.points - 1.000001)
        j = np.minimum(rung.astype(np.intp), self.line.rungs - 2)
        n = at.astype(np.intp)
        u, v, hh = rung - j, at - n, h[:, None]
        s = j + start
        result: Array = (1 - u) * ((1 - v) * table[hh, s, n] + v * table[hh, s, n + 1]) + u * (
            (1 - v) * table[hh, s + 1, n] + v * table[hh, s + 1, n + 1]
        )
        return result


def _tests_here(since: Array) -> tuple[Indices, Array]:
    """Return the whole number of tests below, and the share of the next one."""
    k = np.clip(since, 0.0, float(MOST_TESTS_HERE))
    low = np.minimum(np.floor(k), MOST_TESTS_HERE - 1).astype(np.intp)
    return low, k - low


def offset_when_landed(total: Array, offset: Array, landing: Array, noise: Array) -> tuple[Array, Array]:
    """Return (B, tests since) of a belief whose last landing renews.

    Parameters
    ----------
    total, offset : ndarray, mm^2
        Variance of the level now, and of the offset alone.
    landing, noise : ndarray, mm^2
        Variance of a landing and of a test.

    Notes
    -----
    With A = B + landing and n tests: total = A / (1 + n A / noise) and
    offset = B - B^2 (A - total) / A^2, solved for B by bisection (the right side rises with B).
    """
    low, high = offset.copy(), np.full_like(offset, 1e4)
    for _ in range(80):
        B = np.sqrt(np.maximum(low, 1e-30) * high)
        A = B + landing
        too_small = B - B**2 * np.maximum(A - total, 0.0) / A**2 < offset
        low, high = np.where(too_small, B, low), np.where(too_small, high, B)
    A = low + landing
    return low, np.maximum(noise / np.maximum(total, 1e-30) - noise / A, 0.0)


def solve_plan(line: Line) -> Plan:
    """Return the plan of every hypothesis."""
    grid, spacing = _grid(line)
    log_low, log_step = _rungs(line)
    ladder = _renewing(line, log_low, log_step) if line.renews else _adding(line, log_low, log_step)
    loss = line.loss(grid[:, None, :], ladder.variance[:, :, None])
    worth = Worth(
        np.broadcast_to(line.test_min, spacing.shape), line.move_min, line.can_move, loss, ladder, spacing,
        points_per_step(line.step_mm, spacing),
    )
    settled = sweep_renewing(worth, line.rungs) if line.renews else sweep_adding(worth)
    return Plan(line, grid, log_low, log_step, settled)


def _grid(line: Line) -> tuple[Array, Array]:
    """Even grids around the band, each fine enough for its hypothesis; the step is a multiple of it."""
    half = 0.5 * (line.high_mm - line.low_mm)
    noise = np.sqrt(line.test_variance + line.move_variance)
    reach = half + 4.0 * line.piece_sd + 3.0 * noise
    spacing = 2.0 * reach / (line.points - 1)
    spacing = np.maximum(spacing, np.sqrt(line.largest_variance_mm2) / _WIDEST_SPREAD)
    if line.step_mm > 0.0:
        per_step = np.maximum(np.round(line.step_mm / spacing), 1.0)
        coarse = line.step_mm > 1.5 * spacing
        spacing = np.where(coarse, line.step_mm / per_step, spacing)
    middle = 0.5 * (line.high_mm + line.low_mm)
    offsets = np.arange(line.points) - (line.points - 1) / 2
    return middle + spacing[:, None] * offsets, spacing


def _rungs(line: Line) -> tuple[Array, Array]:
    least = line.test_variance / 30.0
    most = np.maximum(line.largest_variance_mm2, 4.0 * (line.test_variance + line.move_variance)) * 1.05
    log_low = np.log(least)
    return log_low, (np.log(most) - log_low) / (line.rungs - 1)


def _place(
    variance: Array, log_low: Array, log_step: Array, rungs: int, noise: Array
) -> tuple[Indices, Indices, Array]:
    """Return the two rungs around variances (H, S) and the share of the upper one.

    Between rungs values are taken linear in sqrt(variance + noise): the spread of what will be seen.
    """
    at = (np.log(np.maximum(variance, 1e-300)) - log_low[:, None]) / log_step[:, None]
    at = np.clip(at, 0.0, rungs - 1.0)
    low = np.minimum(at.astype(np.intp), rungs - 2)
    below, own, above = (
        np.sqrt(np.exp(log_low[:, None] + log_step[:, None] * place) + noise[:, None])
        for place in (low, at, low + 1)
    )
    return low, low + 1, (own - below) / (above - below)


def _adding(line: Line, log_low: Array, log_step: Array) -> Ladder:
    """Variances after a test and after a move whose landing adds."""
    J = line.rungs
    P = np.exp(log_low[:, None] + log_step[:, None] * np.arange(J))
    noise = line.test_variance[:, None]
    after = P * noise / (P + noise)
    test = _place(after, log_low, log_step, J, line.test_variance)
    move = _place(P + line.move_variance[:, None], log_low, log_step, J, line.test_variance)
    return Ladder(P, np.sqrt(P - after), test, move)


def _renewing(line: Line, log_low: Array, log_step: Array) -> Ladder:
    """First the positions that no landing is part of, then (B, tests since the landing)."""
    J, noise = line.rungs, line.test_variance[:, None]
    B = np.exp(log_low[:, None] + log_step[:, None] * np.arange(J))
    after = B * noise / (B + noise)
    variance, spread = [B], [np.sqrt(B - after)]
    low, high, share = _place(after, log_low, log_step, J, line.test_variance)
    tests = [(low, high, share)]
    landed = _place(B, log_low, log_step, J, line.test_variance)
    moves = [(landed[0] + J, landed[1] + J, landed[2])]
    A = B + line.move_variance[:, None]
    own = np.broadcast_to(np.arange(J), B.shape)
    for k in range(MOST_TESTS_HERE + 1):
        total = A / (1.0 + k * A / noise)
        lost = total - total * noise / (total + noise)
        variance.append(total)
        spread.append(np.sqrt(lost))
        following = J * (1 + min(k + 1, MOST_TESTS_HERE)) + own
        tests.append((following, following, np.zeros_like(B)))
        offset = B - B**2 * (A - total) / A**2
        low, high, share = _place(offset, log_low, log_step, J, line.test_variance)
        moves.append((low + J, high + J, share))
    return Ladder(
        np.concatenate(variance, axis=1), np.concatenate(spread, axis=1), _joined(tests), _joined(moves)
    )


def _joined(parts: list[tuple[Indices, Indices, Array]]) -> tuple[Indices, Indices, Array]:
    low, high, share = (np.concatenate(side, axis=1) for side in zip(*parts, strict=True))
    return low, high, share

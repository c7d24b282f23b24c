"""What not knowing the scales still costs after one more test cut.

The plan's value of a test is averaged over hypotheses about scatter and move error. That average knows
which of them is true from the test on, so it takes a test for better than it is. Here one test is looked
at as it will really end: with updated weights, and with one step that is taken for all of them.

    V1(test) = test + E_y [ min over steps of sum_c w_c(y) Q_c(step, y) ]
             = sum_c w_c Q_c(test) + E_y [ min over steps of sum_c w_c(y) Q_c - sum_c w_c(y) min Q_c ]

The last expectation is what is worked out, on equally probable outcomes y of the lead reading; with a single
component it is 0 and the plan's own value stands. After that one test the plan's values Q are used, which
again know the scales; so the expectation is taken once more, with its first value added to every further
test. V1 is still a little hopeful (tests/benchmarks/not_knowing.py says by how much).

Weights, means and variances follow in closed form along the lead reading. What is approximated: readings
that follow the lead reading add to what a test tells of the level, but not to what it tells of the scales;
the ends of the range do not bind after the test; where landing renews, the steps of a coarse scale are
counted from the offset that each component believes in.

Symbols
-------
C components, K outcomes, D moves, N grid points, y outcome, w weights, Q minutes by the plan

Source: the bound is that of Littman, Cassandra and Kaelbling 1995 (QMDP, M), with one step of lookahead;
checked against dense integration in tests/test_decision_lookahead.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.decision.plan import Plan
from calib.normal import cdf, quantile

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_OUTCOMES = 15
#: Moves that are looked at on each side of the best place, and how far that goes, in widths of the band.
_MOVES_EACH_SIDE = 12
_MOVES_REACH = 0.6
_HALVINGS = 30
#: Components below this share of the heaviest are left out, and all but so many of the heaviest.
_LEAST_SHARE = 0.005
_MOST_COMPONENTS = 48


@dataclass(frozen=True, eq=False)
class Place:
    """What is believed of the lead reading where the test would be made.

    Parameters
    ----------
    weights, mean, variance : ndarray of shape (C,), 1, mm and mm^2
    noise, landing : ndarray of shape (C,), mm^2
        Variance of a test and of the landing of a later move.
    stand_in : ndarray of shape (C,)
        Which hypothesis of the plan stands for each component.
    offset : ndarray of shape (C,), mm
        Mean of the level without the landing that the next move leaves behind; the mean itself where
        landing adds.
    since : ndarray of shape (C,), optional
        Tests since the last landing, where it renews and one is in play; the plan is then asked with
        `when_landed` (C,), mm^2, the offset's variance when it landed.
    """

    weights: Array
    mean: Array
    variance: Array
    noise: Array
    landing: Array
    stand_in: Indices
    offset: Array
    since: Array | None = None
    when_landed: Array | None = None

    def heaviest(self) -> Place:
        """Return the place with its heaviest components alone."""
        order = np.argsort(-self.weights, kind="stable")[:_MOST_COMPONENTS]
        kept = np.sort(order[self.weights[order] > _LEAST_SHARE * self.weights.max()])
        weights = self.weights[kept] / self.weights[kept].sum()
        since = None if self.since is None else self.since[kept]
        landed = None if self.when_landed is None else self.when_landed[kept]
        return Place(
            weights, self.mean[kept], self.variance[kept], self.noise[kept], self.landing[kept],
            self.stand_in[kept], self.offset[kept], since, landed,
        )  # fmt: skip


def not_knowing_min(plan: Plan, place: Place, outcomes: int = _OUTCOMES, rounds: int = 1) -> float:
    """Return the minutes by which the averaged plan underprices a test at this place; never below 0.

    Parameters
    ----------
    plan : Plan
    place : Place
    outcomes : int
        Equally probable outcomes of the test that are looked at.
    rounds : int
        How often the answer is put on the price of further tests, and worked out again.
    """
    place = place.heaviest()
    if len(place.weights) == 1:
        return 0.0
    spread = np.sqrt(place.variance + place.noise)
    y = likely_outcomes(place.weights, place.mean, spread, outcomes)
    weights = _updated(place, spread, y)
    away = y[:, None] - place.mean
    gain = place.variance / (place.variance + place.noise)
    after = _After(plan, place)
    known = np.sum(weights * after.knowing(place.mean + gain * away), axis=1)
    stay = after.staying(weights, place.mean + gain * away)
    move = after.moving(weights, place.offset + after.follows * gain * away)
    cut, test = np.minimum(stay.cut, move.cut), np.minimum(stay.test, move.test)
    minutes = 0.0
    for _ in range(1 + rounds):
        minutes = max(float(np.mean(np.minimum(cut, test + minutes) - known)), 0.0)
    return minutes


def likely_outcomes(weights: Array, mean: Array, sd: Array, outcomes: int) -> Array:
    """Return the middles of equally probable parts of a mixture of normals, shape (K,), by bisection.

    >>> likely_outcomes(np.ones(1), np.zeros(1), np.ones(1), 3).round(3)
    array([-0.967,  0.   ,  0.967])
    """
    p = (np.arange(outcomes) + 0.5) / outcomes
    ends = quantile(p)[:, None] * sd + mean  # the mixture's lies between the least and the largest of them
    low, high = ends.min(axis=1), ends.max(axis=1)
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        below = cdf((middle[:, None] - mean) / sd) @ weights < p
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return 0.5 * (low + high)


def _updated(place: Place, spread: Array, y: Array) -> Array:
    """Return the weights after each outcome, shape (K, C)."""
    log = np.log(place.weights / spread) - 0.5 * ((y[:, None] - place.mean) / spread) ** 2
    weights = np.exp(log - log.max(axis=1, keepdims=True))
    result: Array = weights / weights.sum(axis=1, keepdims=True)
    return result


class _Steps(NamedTuple):
    """Minutes of two steps after each outcome, each of shape (K,)."""

    cut: Array
    test: Array


class _After:
    """The plan's values after the test: along the grid, at the variance that each component has then."""

    def __init__(self, plan: Plan, place: Place) -> None:
        self.plan, h = plan, place.stand_in
        line, table = plan.line, plan.settled
        left = place.variance * place.noise / (place.variance + place.noise)
        belief, since, offset = left, None, left
        self.follows: Array = np.ones(len(left))
        if place.since is not None and place.when_landed is not None:
            belief, since = place.when_landed, place.since + 1.0
            total = belief + place.landing
            self.follows = belief / total
            offset = np.maximum(belief - self.follows**2 * (total - left), 1e-12)
        landed, anew = (offset, 0.0 * left) if line.renews else (left + place.landing, None)
        self.grid = _Grid(plan.grid[h])
        self.known = plan.along(table.value, h, belief, since)
        self.here = [plan.along(t, h, belief, since) for t in (table.cut, table.test)]
        self.there = [plan.along(t, h, landed, anew) for t in (table.cut, table.test)]

    def knowing(self, z: Array) -> Array:
        """Minutes of each component alone, by its own best step, at means (K, C)."""
        return self.grid.between([self.known], z)[0]

    def staying(self, weights: Array, z: Array) -> _Steps:
        """Minutes of cutting and of testing where the adjusters stand, at means (K, C)."""
        return _Steps(*(np.sum(weights * q, axis=1) for q in self.grid.between(self.here, z)))

    def moving(self, weights: Array, offset: Array) -> _Steps:
        """Minutes of the cheapest move with a cut, and with a test, after it; infinite where none can be."""
        line = self.plan.line
        if not line.can_move:
            return _Steps(np.full(len(weights), np.inf), np.full(len(weights), np.inf))
        aim = self.grid.values[np.arange(len(self.there[0])), self.there[0].argmin(axis=1)]
        wanted = np.sum(weights * (aim - offset), axis=1)
        z = offset[:, None, :] + self._moves(wanted)[:, :, None]
        cut, test = self.grid.between(self.there, z)
        return _Steps(*(np.einsum("kc,kdc->kd", weights, q).min(axis=1) + line.move_min for q in (cut, test)))

    def _moves(self, wanted: Array) -> Array:
        """Moves (K, D) in mm of the reading, around those that are wanted; multiples of a coarse step."""
        line = self.plan.line
        reach = _MOVES_REACH * (line.high_mm - line.low_mm)
        spacing = reach / _MOVES_EACH_SIDE
        if line.step_mm <= spacing:
            counts = np.arange(-_MOVES_EACH_SIDE, _MOVES_EACH_SIDE + 1)
            return wanted[:, None] + spacing * counts
        side = int(np.ceil(reach / line.step_mm))
        moves: Array = line.step_mm * (np.round(wanted / line.step_mm)[:, None] + np.arange(-side, side + 1))
        return moves


class _Grid:
    """Linear interpolation along the grid of each component, shape (C, N); flat beyond its ends."""

    def __init__(self, values: Array) -> None:
        self.values = values
        self.low, self.spacing = values[:, 0], values[:, 1] - values[:, 0]

    def between(self, rows: list[Array], z: Array) -> list[Array]:
        """Return each table of rows (C, N) at z of shape (..., C)."""
        C, N = self.values.shape
        at = np.clip((z - self.low) / self.spacing, 0.0, N - 1.000001)
        below = at.astype(np.intp)
        share = at - below
        place = below + N * np.arange(C)
        found = []
        for row in rows:
            flat = row.ravel()
            low = flat[place]
            found.append(low + share * (flat[place + 1] - low))
        return found

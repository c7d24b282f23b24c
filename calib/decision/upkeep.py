"""Keeping a setup in its bands while the edge wears: the moves that do it, and when a regrind is cheaper.

The moves are a forecast, made without measuring on the way: each is due when the chance of the next piece
falls to the confidence that was asked for, goes to the position that can be reached and that then holds
longest, and brings its own error along (errors that add pile up). Whoever measures on the way needs fewer.

Minutes: a move of the schedule costs a move and half a test cut, for the piece that is measured after it. A
regrind costs what the maker says, dialling in again included.

Not handled: what a dull edge does to the surface, and scorching.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.decision.ahead import HOLDS_AT, MOST_PIECES, Ahead, look_ahead
from calib.decision.reach import changes
from calib.decision.standins import heaviest
from calib.normal import cdf
from calib.regression.prospect import Prospect
from calib.shop import Setup

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

#: Moves that a schedule looks ahead.
MOST_MOVES = 8
#: Components below this share of the heaviest are left out.
_SMALL = 3e-3
#: Places along the pieces at which a position is looked at.
_LOOKS = 60
#: Places along a stretch at which the spoiled pieces are counted.
_NODES = 5
#: Where a move aims: so far from the target to the limit that wear moves away from.
_AIMS = np.linspace(0.0, 0.9, 7)
_MOST_AIMS = 24
_NO_SLOPE = 1e-3
#: Standard uncertainty of a slot's width as callipers give it (0.02 mm limit over sqrt 3), mm.
SLOT_U_MM = 0.012


@dataclass(frozen=True)
class PlannedMove:
    """One move of a schedule.

    Parameters
    ----------
    after_pieces : int
        From now.
    """

    after_pieces: int
    adjuster: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Schedule:
    """The moves that keep a block of readings in its bands.

    Parameters
    ----------
    holds_pieces : float
        How many pieces can be cut, moves included, before no position that can be reached holds; infinite
        when nothing ends it within the moves that were looked at, or within what is told at all.
    minutes_per_move : float
        A move, and measuring a piece after it.
    spoiled_min : float
        Minutes of the pieces that are still to be expected outside their bands, up to the number asked for.
    """

    moves: tuple[PlannedMove, ...]
    holds_pieces: float
    minutes_per_move: float
    spoiled_min: float = 0.0

    @property
    def minutes(self) -> float:
        """Minutes that the moves cost together."""
        return len(self.moves) * self.minutes_per_move

    def dearer_than(self, regrind_min: float) -> float | None:
        """Return after how many pieces the moves have cost more than a regrind; None while they do not."""
        for k, move in enumerate(self.moves, start=1):
            if k * self.minutes_per_move > regrind_min:
                return float(move.after_pieces)
        return None


def schedule(
    setup: Setup,
    future: Prospect,
    start: Array | None = None,
    *,
    pieces: float = MOST_PIECES,
    confidence: float = HOLDS_AT,
) -> Schedule:
    """Return the moves that keep every reading of a block in its band for so many pieces.

    Parameters
    ----------
    start : ndarray of shape (A,), mm, optional
        A move that is made first, as advised; none when it is left out.
    pieces : float
        No move is planned beyond it.
    """
    planner = _Planner(setup, heaviest(future, _SMALL), confidence)
    A = len(future.adjusters)
    at = np.zeros(A) if start is None else start
    place = _Place(at, np.abs(at) > 0.0, (np.abs(at) > 0.0).astype(np.float64))
    moves: list[PlannedMove] = []
    since, end = 0.0, planner.end(place, 0.0)
    spoiled = planner.spoiled_min(place, since, min(end, pieces))
    while end < pieces:
        better = planner.best_move(place, end) if len(moves) < MOST_MOVES else None
        if better is None:
            break
        a, place, later = better
        to = float(future.now_mm[a] + place.at[a])
        now = moves[-1].to_mm if moves and moves[-1].adjuster == future.adjusters[a] else None
        came = float(future.now_mm[a] + at[a]) if now is None else now
        moves.append(PlannedMove(int(end), future.adjusters[a], came, to))
        since, end = end, later
        spoiled += planner.spoiled_min(place, since, min(end, pieces))
    looked_at_all = len(moves) == MOST_MOVES
    holds = np.inf if end >= pieces or looked_at_all else end
    return Schedule(tuple(moves), holds, planner.minutes_per_move, spoiled)


@dataclass(frozen=True)
class _Place:
    """A position: changes from now (A,), which adjusters were moved, and how often each was."""

    at: Array
    moved: Mask
    made: Array

    def moved_to(self, a: int, to: float) -> _Place:
        at, moved, made = self.at.copy(), self.moved.copy(), self.made.copy()
        at[a], moved[a], made[a] = to, True, made[a] + 1.0
        return _Place(at, moved, made)


class _Planner:
    """Looks for the next move of a schedule."""

    def __init__(self, setup: Setup, future: Prospect, confidence: float) -> None:
        self.setup, self.future, self.confidence = setup, future, confidence
        self.bands = [setup.band(f) for f in future.readings]
        self.minutes_per_move = setup.stakes.move_min + 0.5 * setup.stakes.test_cut_min

    def views(self, place: _Place) -> list[Ahead]:
        """Return each reading at a position, with the errors of all moves made on the way there."""
        slopes = np.where(self.future.learned, 1.0, self.future.slopes)
        again = np.where(self.future.renews, 0.0, np.maximum(place.made - 1.0, 0.0))
        more = np.einsum("cfa,ca,a->cf", slopes**2, self.future.move_sd**2, again)
        views = [look_ahead(self.future, place.at, place.moved, f, band) for f, band in enumerate(self.bands)]
        return [replace(view, variance=view.variance + more[:, f]) for f, view in enumerate(views)]

    def end(self, place: _Place, since: float) -> float:
        """Return up to how many pieces every reading holds, from `since` on; `since` if one does not."""
        looks = np.append(since, since + np.geomspace(0.5, MOST_PIECES, _LOOKS))
        views = self.views(place)
        chance = np.min([view.inside(looks) for view in views], axis=0)
        failing = np.flatnonzero(chance < self.confidence)
        if not len(failing):
            return float(looks[-1])
        if failing[0] == 0:
            return since
        low, high = float(looks[failing[0] - 1]), float(looks[failing[0]])
        while high - low > max(0.05, 1e-3 * (high - since)):
            middle = 0.5 * (low + high)
            inside = min(view.inside(middle)[0] for view in views) >= self.confidence
            low, high = (middle, high) if inside else (low, middle)
        return low

    def spoiled_min(self, place: _Place, since: float, end: float) -> float:
        """Return the minutes of the pieces expected outside their bands between two numbers of pieces."""
        if end <= since:
            return 0.0
        looks = since + (np.arange(_NODES) + 0.5) / _NODES * (end - since)
        stakes = [self.setup.stakes.of(f) for f in self.future.readings]
        price = [max(own.too_high_min, own.too_low_min) for own in stakes]
        lost = sum(p * np.mean(1.0 - v.inside(looks)) for p, v in zip(price, self.views(place), strict=True))
        return float(lost) * (end - since)

    def best_move(self, place: _Place, since: float) -> tuple[int, _Place, float] | None:
        """Return the adjuster, the new position and how long it holds; None when nothing holds longer."""
        best: tuple[int, _Place, float] | None = None
        for a in range(len(self.future.adjusters)):
            for to in self._candidates(place, a, since):
                there = place.moved_to(a, float(to))
                end = self.end(there, since)
                if end >= since + 1.0 and (best is None or end > best[2] + 1e-9):
                    best = (a, there, end)
        return best

    def _candidates(self, place: _Place, a: int, since: float) -> Array:
        """Return changes worth looking at: from the target to the limit that wear moves away from."""
        slopes = self.future.weights @ self.future.slopes[:, :, a]
        wearing = self.future.worn_after(np.array([since, since + 1.0]))
        aims: list[float] = []
        for f, view in enumerate(self.views(place)):
            if abs(slopes[f]) < _NO_SLOPE:
                continue
            level = float(view.weights @ view.size(since)[0][:, 0])
            falls = float(view.weights @ (wearing[:, f, 1] - wearing[:, f, 0])) < 0.0
            far = view.band.high_mm if falls else view.band.low_mm
            target = view.band.target_mm
            wanted = target + _AIMS * (far - target) if np.isfinite(far) else np.array([target])
            aims += list((wanted - level) / slopes[f])
        if not aims:
            return np.zeros(0)
        adjuster = self.setup.adjuster(self.future.adjusters[a])
        found = changes(
            adjuster, float(self.future.now_mm[a] + place.at[a]), np.array(aims), adjuster.least_step_mm
        )
        return place.at[a] + found[:: max(len(found) // _MOST_AIMS, 1)]


def key_enters(setup: Setup, future: Prospect, pieces: float | Array = 0.0) -> Array | None:
    """Return the chance that a finger jig's key still enters the slot after so many pieces; None: not known.

    It is known where the cutter was measured when it was last sharp and the key's width was told: the slot
    has since become narrower by twice the recession.
    """
    width, key = setup.cutter.measured_mm, setup.joint.key_width_mm
    if setup.joint.kind != "finger" or width is None or key is None:
        return None
    edge = future.edge
    metres = edge.cut_m + np.atleast_1d(np.asarray(pieces, dtype=np.float64)) * edge.metres_per_piece_m
    slack = width - 2.0 * edge.recession.at(metres) - key
    chance: Array = future.weights @ cdf(slack / SLOT_U_MM)
    return chance


def key_enters_for(setup: Setup, future: Prospect, confidence: float = HOLDS_AT) -> float | None:
    """Return for how many pieces the key enters the slot with this confidence; None if not known."""
    looks = np.append(0.0, np.geomspace(0.5, MOST_PIECES, 600))
    chance = key_enters(setup, future, looks)
    if chance is None:
        return None
    failing = np.flatnonzero(chance < confidence)
    if not len(failing):
        return np.inf
    return float(looks[failing[0] - 1]) if failing[0] else 0.0


def first_end(schedules: Sequence[Schedule]) -> float:
    """Return the number of pieces after which some block holds no longer, whatever is moved."""
    return min((one.holds_pieces for one in schedules), default=np.inf)

"""Keeping a setup in its bands while the edge wears: the moves that do it, and when a regrind is cheaper.

The moves are a forecast. Each is due when the chance of the next piece falls to the confidence that was asked
for; it goes to the position that can be reached and that then holds longest. A piece is measured after it, as
the minutes count it: the level is then known again, to what the move's error and one reading leave of it, and
the courses of wear part anew from there.

    P -> (P + landing^2) noise / (P + landing^2 + noise)

Minutes: a move of the schedule costs a move and half a test cut, for the piece that is measured. A regrind
costs what the maker says, dialling in again included.

Not handled: what a dull edge does to the surface, and scorching; creep, which starts again at each move.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.decision.ahead import HOLDS_AT, MOST_PIECES, Ahead, look_ahead
from calib.decision.reach import changes
from calib.decision.sensing import AGAIN_SHARE
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
_AIMS = np.linspace(0.0, 0.95, 16)
_MOST_AIMS = 40
#: Places between two looks at which the end of a holding is searched.
_CLOSER = 33
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
    pieces_per_move : float
        How long the last position holds; infinite where nothing ends it.
    """

    moves: tuple[PlannedMove, ...]
    holds_pieces: float
    minutes_per_move: float
    spoiled_min: float = 0.0
    pieces_per_move: float = np.inf

    @property
    def minutes(self) -> float:
        """Minutes that the moves cost together."""
        return len(self.moves) * self.minutes_per_move

    def dearer_than(self, regrind_min: float) -> float | None:
        """Return after how many pieces the moves have cost more than a regrind; None if they never do.

        Beyond the moves that were looked at, each position is taken to hold as long as the last one.
        """
        needed = int(regrind_min // self.minutes_per_move) + 1 if self.minutes_per_move > 0.0 else None
        if needed is None or not self.moves:
            return None
        if needed <= len(self.moves):
            return float(self.moves[needed - 1].after_pieces)
        after = self.moves[-1].after_pieces + (needed - len(self.moves)) * self.pieces_per_move
        return float(after) if after < min(self.holds_pieces, MOST_PIECES) else None


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
    planner = _Planner(setup, future, confidence)
    stand = planner.first(np.zeros(len(future.adjusters)) if start is None else start)
    moves: list[PlannedMove] = []
    since, end = 0.0, planner.end(stand, 0.0)
    spoiled = planner.spoiled_min(stand, since, min(end, pieces))
    while end < pieces and len(moves) < MOST_MOVES:
        better = planner.best_move(stand, end)
        if better is None:
            break
        a, there = better
        came, to = (float(future.now_mm[a] + one.at[a]) for one in (stand, there))
        moves.append(PlannedMove(int(end), future.adjusters[a], came, to))
        stand, since, end = there, end, planner.end(there, end)
        spoiled += planner.spoiled_min(stand, since, min(end, pieces))
    holds = np.inf if end >= pieces or len(moves) == MOST_MOVES else end
    return Schedule(tuple(moves), holds, planner.minutes_per_move, spoiled, end - since)


@dataclass(frozen=True, eq=False)
class _Stand:
    """A position: changes from now, shape (A,), and each reading along the pieces to come."""

    at: Array
    views: tuple[Ahead, ...]


class _Planner:
    """Looks for the next move of a schedule."""

    def __init__(self, setup: Setup, future: Prospect, confidence: float) -> None:
        self.setup, self.confidence = setup, confidence
        self.now, self.future = future, heaviest(future, _SMALL)  # the latter is enough once it is measured
        future = self.future
        self.bands = [setup.band(f) for f in future.readings]
        self.minutes_per_move = setup.stakes.move_min + AGAIN_SHARE * setup.stakes.test_cut_min
        self.slopes = np.einsum("c,cfa->fa", future.weights, future.slopes)
        self.noise = future.weights @ (future.cut_sd**2 + future.reading_sd**2)
        self.landing = future.weights @ future.move_sd**2

    def first(self, at: Array) -> _Stand:
        """Return where it stands now, or after the move that was advised."""
        moved = np.abs(at) > 0.0
        views = (look_ahead(self.now, at, moved, f, band) for f, band in enumerate(self.bands))
        return _Stand(at, tuple(views))

    def moved(self, stand: _Stand, a: int, to: float, since: float) -> _Stand:
        """Return where it stands after a move of one adjuster, and a piece measured after it."""
        at = stand.at.copy()
        at[a] = to
        views = []
        for f, view in enumerate(stand.views):
            slope = self.slopes[f, a]
            level, variance = view.level_at(since)
            P = variance + slope**2 * self.landing[a]
            known = P * self.noise[f] / (P + self.noise[f]) if P > 0.0 else 0.0
            worn = self.future.worn_after(np.array([since]))[:, f, 0]
            none = np.zeros(len(worn))
            mean, spread = level + slope * (to - stand.at[a]) - worn, known + self.future.cut_sd[:, f] ** 2
            views.append(Ahead(self.future, f, view.band, self.future.weights, mean, spread, none, none))
        return _Stand(at, tuple(views))

    def end(self, stand: _Stand, since: float) -> float:
        """Return up to how many pieces every reading holds, from `since` on; `since` if one does not."""
        looks = np.append(since, since + np.geomspace(0.5, MOST_PIECES, _LOOKS))
        chance = self._chance(stand, looks)
        failing = np.flatnonzero(chance < self.confidence)
        if not len(failing):
            return float(looks[-1])
        if failing[0] == 0:
            return since
        first = int(failing[0])
        for _ in range(2):
            looks = np.linspace(looks[first - 1], looks[first], _CLOSER)
            first = int(np.argmax(self._chance(stand, looks) < self.confidence))
        return float(looks[first - 1])

    def _chance(self, stand: _Stand, looks: Array) -> Array:
        least: Array = np.min([view.inside(looks) for view in stand.views], axis=0)
        return least

    def spoiled_min(self, stand: _Stand, since: float, end: float) -> float:
        """Return the minutes of the pieces expected outside their bands between two numbers of pieces."""
        if end <= since:
            return 0.0
        looks = since + (np.arange(_NODES) + 0.5) / _NODES * (end - since)
        stakes = [self.setup.stakes.of(f) for f in self.future.readings]
        price = [max(own.too_high_min, own.too_low_min) for own in stakes]
        lost = sum(p * np.mean(1.0 - v.inside(looks)) for p, v in zip(price, stand.views, strict=True))
        return float(lost) * (end - since)

    def best_move(self, stand: _Stand, since: float) -> tuple[int, _Stand] | None:
        """Return the adjuster and the new position that holds longest; None when none holds a piece more."""
        best: tuple[int, _Stand] | None = None
        longest = since + 1.0
        for a in range(len(self.future.adjusters)):
            for to in self._candidates(stand, a, since):
                there = self.moved(stand, a, float(to), since)
                end = self.end(there, since)
                if end > longest:
                    best, longest = (a, there), end
        return best

    def _candidates(self, stand: _Stand, a: int, since: float) -> Array:
        """Return changes worth looking at: from the target to the limit that wear moves away from."""
        wearing = np.einsum("c,cfn->fn", self.future.weights, self.future.worn_after([since, since + 1.0]))
        aims: list[float] = []
        for f, view in enumerate(stand.views):
            slope = self.slopes[f, a]
            if abs(slope) < _NO_SLOPE:
                continue
            falls = wearing[f, 1] < wearing[f, 0]
            far, target = view.band.high_mm if falls else view.band.low_mm, view.band.target_mm
            wanted = target + _AIMS * (far - target) if np.isfinite(far) else np.array([target])
            aims += list((wanted - view.level_at(since)[0]) / slope)
        if not aims:
            return np.zeros(0)
        adjuster = self.setup.adjuster(self.future.adjusters[a])
        now = float(self.future.now_mm[a] + stand.at[a])
        found = changes(adjuster, now, np.array(aims), adjuster.least_step_mm)
        return stand.at[a] + found[:: max(len(found) // _MOST_AIMS, 1)]


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

"""Setups that share an edge: their logs, and what they say together of its wear.

All setups with a cut on the present sharpening of a cutter, or with the cutter in them, that use it at a like
height. Each row of each log counts once: what a setup is told of the wear leaves its own rows out.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.geometry.edge import alike, engaged_height
from calib.shop import Cut, Setup
from calib.store import setups as setup_rows
from calib.store import sharpenings
from calib.store.events import NOW
from calib.workflow.bench import Bench, stand

if TYPE_CHECKING:  # numpy comes with them, and only a wearing edge needs them
    from calib.regression.sharedwear import SharedWear

#: Other setups that an advice asks, those with the most metres on the edge first.
MOST_OTHERS = 3
#: Rows of one setup that are asked for the wear, whole mountings, the newest first; and those on which its
#: advice then rests. What older rows say of the wear still counts.
MOST_ROWS = 40
ADVISED_ROWS = 30
#: Wear is left out of an advice until the edge has cut so many metres here.
MATTERS_M = 10.0
#: How far ahead, at least, the courses of wear are told apart, m.
AHEAD_M = 25.0


@dataclass(frozen=True)
class Sharer:
    """One setup on the edge: its bench and the log that speaks of the wear."""

    bench: Bench
    setup: Setup
    cuts: tuple[Cut, ...]
    present: bool

    @property
    def use(self) -> tuple[str, float | None]:
        """Kind of joint and engaged height, mm."""
        return self.setup.joint.kind, engaged_height(self.setup, self.bench.positions_mm)


@dataclass(frozen=True)
class EdgeWear:
    """What an advice is told of the wear of the edge.

    Parameters
    ----------
    setup : Setup
        With the prior that goes with it.
    cuts : sequence of Cut
        The log; with the wear of the edge only the newest mountings of a long one.
    known : mapping
        More arguments of `advise`; empty until the cuts on the edge establish its wear.
    """

    setup: Setup
    cuts: Sequence[Cut]
    known: Mapping[str, Any]


def metres_by_setup(connection: sqlite3.Connection, sharpening_id: int, upto: int = NOW) -> dict[int, float]:
    """Return the metres that each setup, by its id, cut on a sharpening."""
    metres: dict[int, float] = defaultdict(float)
    for row in sharpenings.metres_cut(connection, sharpening_id, upto):
        metres[int(row["setup_id"])] += float(row["metres"])
    return metres


def sharers(
    connection: sqlite3.Connection,
    cutter_id: int,
    sharpening_id: int,
    upto: int = NOW,
    *,
    leave_out: int | None = None,
    most: int | None = None,
) -> list[Sharer]:
    """Return the setups that use a sharpening, those with the most metres on it first.

    Parameters
    ----------
    leave_out : int, optional
        Id of a setup that is not wanted.
    most : int, optional
        So many at most.
    """
    metres = metres_by_setup(connection, sharpening_id, upto)
    versions = [
        version
        for version in setup_rows.current(connection, upto)
        if int(version["setup_id"]) in metres or int(version["cutter_id"]) == cutter_id
        if int(version["setup_id"]) != leave_out
    ]
    versions.sort(key=lambda version: -metres.get(int(version["setup_id"]), 0.0))
    benches = (stand(connection, version, upto) for version in versions[:most])
    found = (sharer_of(bench, cutter_id, sharpening_id) for bench in benches)
    return [sharer for sharer in found if sharer is not None]


def sharer_of(bench: Bench, cutter_id: int, sharpening_id: int) -> Sharer | None:
    """Return a setup as one that uses a sharpening; None when it neither does nor did."""
    label, setup, rows = bench.edge.labels.get(sharpening_id), bench.setup, bench.log
    on_it = [i for i, cut in enumerate(rows) if cut.sharpening == label]
    present = bench.edge.cutter_id == cutter_id
    if not present:
        if not on_it:
            return None
        if on_it[0]:  # what the edge had cut before is then told by a row without pieces
            setup = replace(setup, cutter=replace(setup.cutter, metres_since_sharp_m=0.0))
        rows = rows[on_it[0] : on_it[-1] + 1]
    setup, rows = _newest(setup, rows, MOST_ROWS)
    return Sharer(bench, setup, tuple(rows), present)


def _newest(setup: Setup, rows: Sequence[Cut], most: int) -> tuple[Setup, list[Cut]]:
    """Leave out the oldest mountings of a long log; their metres stay on the edge."""
    if len(rows) <= most:
        return setup, list(rows)
    from calib.regression.track import walk

    starts = [i for i in range(1, len(rows)) if rows[i].mounting != rows[i - 1].mounting]
    start = next((i for i in starts if len(rows) - i <= most), len(rows) - most)
    now = walk(setup, rows[:start]).now
    same = now is not None and rows[start].sharpening in (None, rows[start - 1].sharpening)
    base = now.edge_m if now is not None and same else 0.0
    return replace(setup, cutter=replace(setup.cutter, metres_since_sharp_m=base)), list(rows[start:])


def with_prior(sharers: Sequence[Sharer]) -> tuple[list[Sharer], bool]:
    """Return the setups with one prior of wear, the largest that was given, and whether one was."""
    from calib.regression.recession import WEAR_SD_MM_PER_M

    given = max((s.setup.knowledge.wear_sd_mm_per_m for s in sharers), default=0.0)
    sd = given or WEAR_SD_MM_PER_M
    known = [replace(s.setup, knowledge=replace(s.setup.knowledge, wear_sd_mm_per_m=sd)) for s in sharers]
    return [replace(s, setup=setup) for s, setup in zip(sharers, known, strict=True)], given > 0.0


def wear_of(sharers: Sequence[Sharer]) -> SharedWear:
    """Return what some setups of a like engaged height say together of the wear of their edge."""
    from calib.regression.sharedwear import EdgeLog, shared_wear

    return shared_wear([EdgeLog(sharer.setup, sharer.cuts) for sharer in sharers])


def ahead_m(setup: Setup) -> float:
    """Return how far ahead the wear matters to a setup, m."""
    return max(setup.pieces_left * setup.metres_per_piece_m, AHEAD_M)


def edge_wear(connection: sqlite3.Connection, bench: Bench, upto: int = NOW) -> EdgeWear:
    """Return what an advice on a setup is told of the wear of its edge.

    Until the cuts on the edge, its own and those of other setups, establish the wear, the advice rests on the
    setup's own log and knowledge alone.
    """
    plain = EdgeWear(bench.setup, bench.log, {})
    if not _follows_wear(bench):
        return plain
    on = (bench.edge.cutter_id, bench.edge.sharpening_id)
    if sum(metres_by_setup(connection, on[1], upto).values()) < MATTERS_M:
        return plain
    mine = sharer_of(bench, *on)
    assert mine is not None, "its own cutter is in it"
    others = sharers(connection, *on, upto, leave_out=bench.setup_id, most=MOST_OTHERS)
    like = [other for other in others if alike(other.use, mine.use)]
    (mine, *like), _ = with_prior([mine, *like])
    shared = wear_of([mine, *like])
    return told_of(shared, mine) if shared.established else plain


def told_of(shared: SharedWear, sharer: Sharer) -> EdgeWear:
    """Return what one of the setups is told of a wear that is established."""
    from calib.regression.sharedwear import EdgeLog, belief

    setup, rows = _newest(sharer.setup, sharer.cuts, ADVISED_ROWS)
    return EdgeWear(setup, rows, {"wear": belief(shared, EdgeLog(setup, rows), ahead_m(setup))})


def _follows_wear(bench: Bench) -> bool:
    """Say whether a reading of a setup follows the recession of its edge and was measured."""
    if not any(cut.readings for cut in bench.log):
        return False
    from calib.regression.terms import follows_wear

    return follows_wear(bench.setup)

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
    from calib.regression.recession import EdgeBelief
    from calib.regression.sharedwear import SharedWear

#: Other setups that an advice asks, those with the most metres on the edge first.
MOST_OTHERS = 4
#: Rows of one setup that are looked at, whole mountings, the newest first.
MOST_ROWS = 60
#: Wear is left out of an advice until the logs on the edge make so many metres.
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


def sharers(
    connection: sqlite3.Connection,
    cutter_id: int,
    sharpening_id: int,
    upto: int = NOW,
    most: int | None = None,
) -> list[Sharer]:
    """Return the setups that use a sharpening, those with the most metres on it first."""
    metres: dict[int, float] = defaultdict(float)
    for row in sharpenings.metres_cut(connection, sharpening_id, upto):
        metres[int(row["setup_id"])] += float(row["metres"])
    versions = [
        version
        for version in setup_rows.current(connection, upto)
        if int(version["setup_id"]) in metres or int(version["cutter_id"]) == cutter_id
    ]
    versions.sort(key=lambda version: -metres[int(version["setup_id"])])
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
    setup, rows = _newest(setup, rows)
    return Sharer(bench, setup, tuple(rows), present)


def _newest(setup: Setup, rows: Sequence[Cut]) -> tuple[Setup, list[Cut]]:
    """Leave out the oldest mountings of a long log; their metres stay on the edge."""
    if len(rows) <= MOST_ROWS:
        return setup, list(rows)
    from calib.regression.track import walk

    starts = [i for i in range(1, len(rows)) if rows[i].mounting != rows[i - 1].mounting]
    start = next((i for i in starts if len(rows) - i <= MOST_ROWS), len(rows) - MOST_ROWS)
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
    edge = bench.edge
    others = sharers(connection, edge.cutter_id, edge.sharpening_id, upto, MOST_OTHERS + 1)
    mine = sharer_of(bench, edge.cutter_id, edge.sharpening_id)
    assert mine is not None, "its own cutter is in it"
    like = [s for s in others if s.bench.setup_id != bench.setup_id and alike(s.use, mine.use)]
    if _metres([mine, *like]) < MATTERS_M:
        return plain
    (mine, *like), _ = with_prior([mine, *like])
    shared = wear_of([mine, *like])
    told = told_of(shared, 0, mine.setup)
    return plain if told is None else EdgeWear(mine.setup, mine.cuts, {"wear": told})


def told_of(shared: SharedWear, which: int, setup: Setup) -> EdgeBelief | None:
    """Return what one of the setups is told of the wear; None while it is not established."""
    from calib.regression.sharedwear import belief

    return belief(shared, shared.logs[which], ahead_m(setup)) if shared.established else None


def _metres(found: Sequence[Sharer]) -> float:
    """Return the metres that the setups cut with the edge in their own logs."""
    total = 0.0
    for sharer in found:
        piece_m = sharer.setup.metres_per_piece_m
        total += sum(
            c.pieces * piece_m if c.metres_m is None else c.metres_m for c in sharer.cuts if c.pieces
        )
    return total


def _follows_wear(bench: Bench) -> bool:
    """Say whether a reading of a setup follows the recession of its edge and was measured."""
    if not any(cut.readings for cut in bench.log):
        return False
    from calib.regression.terms import follows_wear

    return follows_wear(bench.setup)

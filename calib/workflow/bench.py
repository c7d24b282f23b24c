"""The bench: where everything stands, found by going through what was logged in its order.

The log holds what was said: mountings, moves, cuts with the positions that were named, advice.
Going through it again gives the complete position at every cut, so that setting a move aside, or
correcting a cut, sets right all that followed from it.

A row without pieces is put in where the model has to know of something that no cut shows: a second
move of one adjuster between two cuts, metres that other setups cut on the same sharpening, and how
the machine stands after the last cut. An adjuster that was added to the setup later is taken to
have stood, until it was first named, where it then was.
"""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from calib.shop import Cut, Setup
from calib.store import advice as advice_rows
from calib.store import cuts as cut_rows
from calib.store import feelwords as word_rows
from calib.store import mountings as mounting_rows
from calib.store import moves as move_rows
from calib.store import setups as setup_rows
from calib.store.events import NOW
from calib.workflow.approach import Approaches
from calib.workflow.edge import Edge, edge_of
from calib.workflow.feelpairs import with_pairs_of_others
from calib.workflow.feelwords import Tongue, in_the_shops_words
from calib.workflow.records import Moved
from calib.workflow.stocks import thicknesses
from calib.workflow.worths import Worths

#: Two settings closer than this are one place: far below anything that can be set.
SAME_PLACE_MM = 1e-9
#: A position that is typed this close to the advised one is the advised one, as it was told in hundredths.
AS_TOLD_MM = 0.0051


@dataclass(frozen=True)
class Pending:
    """Positions that were advised (by advice, or at mounting) and not answered for yet, mm."""

    settings_mm: Mapping[str, float]
    at_mounting: bool = False


@dataclass(frozen=True)
class Placed:
    """A cut or a move with the row of its mounting (None: before any) and the event that told of it."""

    mounting: sqlite3.Row | None
    cut: Cut | None = None
    move: Moved | None = None
    root: int | None = None
    row: sqlite3.Row | None = None
    event: int | None = None


@dataclass(frozen=True)
class Bench:
    """A setup with everything that was logged on it.

    Parameters
    ----------
    setup : Setup
        With the cutter that is in it now, and the pieces that are left.
    placed : tuple of Placed
        Cuts, moves and rows without pieces, in order.
    positions_mm : mapping of adjuster name to mm
        As far as is known.
    """

    setup_id: int
    version: sqlite3.Row
    setup: Setup
    mounting: sqlite3.Row | None
    edge: Edge
    placed: tuple[Placed, ...]
    positions_mm: Mapping[str, float]
    pending: Pending | None

    @property
    def log(self) -> list[Cut]:
        """The rows as the model takes them."""
        return [item.cut for item in self.placed if item.cut is not None]

    @property
    def own(self) -> list[Placed]:
        """The cuts that were logged, without the rows that were put in."""
        return [item for item in self.placed if item.row is not None]

    def cut_of(self, root: int) -> Cut:
        """Return one cut by the id of its first row."""
        return next(item.cut for item in self.own if item.root == root and item.cut is not None)


def stand(connection: sqlite3.Connection, version: sqlite3.Row, upto: int = NOW) -> Bench:
    """Go through the log of a setup (named by a row of its versions) up to an event."""
    setup_id = int(version["setup_id"])
    cuts = cut_rows.of_setup(connection, setup_id, upto)
    mountings = mounting_rows.of_setup(connection, setup_id, upto)
    current = mountings[-1] if mountings else None
    edge = edge_of(connection, version, current, cuts, upto)
    good = setup_rows.good_pieces_since(connection, setup_id, int(version["event_id"]), upto)
    setup = replace(
        edge.setup,
        pieces_left=max(int(version["pieces_left"]) - good, 0),
        name=version["name"],
        stock=(current["stock"] if current is not None else None) or edge.setup.stock,
        thicknesses_mm=_thicknesses(connection, edge.setup, upto),
    )
    setup = in_the_shops_words(connection, setup, int(version["event_id"]), upto)
    setup = with_pairs_of_others(connection, setup, setup_id, upto)
    measured = cut_rows.measurements_of(connection, setup_id, upto)
    worths = Worths(connection, setup_id, setup, measured, upto)
    setup = replace(setup, worth=worths.of_next())
    walk = _Walk(setup, edge, {int(row["id"]): row for row in mountings})
    items = _items(connection, setup, setup_id, cuts, mountings, worths, upto)
    for _, item in sorted(items, key=lambda pair: pair[0]):
        walk.take(item)
    walk.finish()
    placed = _backfilled(setup, walk.placed, walk.positions)
    return Bench(setup_id, version, setup, current, edge, placed, walk.positions, walk.pending)


def _thicknesses(connection: sqlite3.Connection, setup: Setup, upto: int) -> Mapping[str, float]:
    """Return the thickness of the shop's stocks, for a joint that it matters to."""
    if setup.joint.thickness_mm is None:
        return setup.thicknesses_mm
    return {**setup.thicknesses_mm, **thicknesses(connection, upto)}


@dataclass(frozen=True)
class _Item:
    """One thing that was said, in the order it was said."""

    kind: str
    row: sqlite3.Row
    settings: Mapping[str, tuple[float, bool]] = field(default_factory=dict)
    target: Mapping[str, float] = field(default_factory=dict)
    cut: Cut | None = None


def _items(
    connection: sqlite3.Connection,
    setup: Setup,
    setup_id: int,
    cuts: list[sqlite3.Row],
    mountings: list[sqlite3.Row],
    worths: Worths,
    upto: int,
) -> Iterable[tuple[tuple[int, int, int], _Item]]:
    """Give every thing said with its place in the order: event, then mounting, move, cut, advice."""
    for row in mountings:
        starts = mounting_rows.starts(connection, int(row["id"]))
        yield (row["event_id"], 0, row["id"]), _Item("mounting", row, target=starts)
    for row in move_rows.of_setup(connection, setup_id, upto):
        yield (row["event_id"], 1, row["id"]), _Item("move", row)
    settings = cut_rows.settings_of(connection, setup_id)
    for row, cut in zip(cuts, _bare_cuts(connection, setup, setup_id, cuts, worths, upto), strict=True):
        item = _Item("cut", row, settings=settings.get(row["id"], {}), cut=cut)
        yield (row["root_event"], 2, row["root"]), item
    here = {int(row["root"]) for row in cuts}
    used = advice_rows.cuts_by_advice(connection, setup_id)
    moves = advice_rows.moves_by_advice(connection, setup_id)
    for row in advice_rows.of_setup(connection, setup_id, upto):
        if here.issuperset(used.get(row["id"], ())):  # else it rests on a cut that was undone
            yield (row["seen_event_id"], 3, row["id"]), _Item("advice", row, target=moves.get(row["id"], {}))


def _bare_cuts(
    connection: sqlite3.Connection,
    setup: Setup,
    setup_id: int,
    rows: list[sqlite3.Row],
    worths: Worths,
    upto: int,
) -> Iterable[Cut]:
    """Give the cuts without their positions, mounting and sharpening."""
    measured = worths.measured
    feels = cut_rows.feels_of(connection, setup_id, upto)
    by = word_rows.felt_by(connection, setup_id, upto) if feels else {}
    tongue = Tongue(connection, setup.joint.kind, upto)
    for row in rows:
        readings = {
            name: tuple(cut_rows.reading_of(one) for one in repeats)
            for name, repeats in measured.get(row["root"], {}).items()
        }
        yield Cut(
            number=row["number"],
            kind=row["kind"],
            settings_mm={},
            readings=readings,
            worths=worths.of_cut(int(row["root"])),
            pieces=row["pieces"],
            metres_m=row["metres_m"],
            feel=tongue(feels.get(row["root"])),
            by=by.get(row["root"]),
            stock=row["stock"],
            note=row["note"],
            when=row["cut_when"],
        )


class _Walk:
    """The running state while the log is gone through."""

    def __init__(self, setup: Setup, edge: Edge, mountings: Mapping[int, sqlite3.Row]) -> None:
        self.setup, self.edge, self.mountings = setup, edge, mountings
        self.positions = {a.name: 0.0 for a in setup.adjusters if not a.has_scale}
        self.mounting: sqlite3.Row | None = None
        self.last: Cut | None = None
        self.moved_since: set[str] = set()
        self.pending: Pending | None = None
        self.placed: list[Placed] = []
        self.approaches = Approaches(setup)

    def take(self, item: _Item) -> None:
        {"mounting": self._mount, "move": self._move, "cut": self._cut, "advice": self._advice}[item.kind](
            item
        )

    def finish(self) -> None:
        """Put in a row for how the machine stands now, when the last one does not show it."""
        label = self.edge.label_now
        changed = (
            self.last is None or self._mounting_label() != self.last.mounting or label != self.last.sharpening
        )
        extra = self.edge.metres_after
        if (self.moved_since or changed or extra) and self._complete():
            self._stand(label, extra)

    def _mount(self, item: _Item) -> None:
        self.mounting = item.row
        self.moved_since = set()
        self.pending = self._asking(item.target, at_mounting=True)

    def _advice(self, item: _Item) -> None:
        self.pending = self._asking(item.target)

    def _move(self, item: _Item) -> None:
        row, name = item.row, item.row["adjuster"]
        if name in self.moved_since and self._complete():
            self._stand(self.last.sharpening if self.last else self.edge.label_now)
        start = self.positions.get(name)
        to = (start or 0.0) + row["change_mm"] if row["kind"] == "by" else row["to_mm"]
        self.positions[name] = to
        self.moved_since.add(name)
        self.approaches.moved(name, start, to, as_advised=row["kind"] in ("advised", "mounting"))
        self.pending = None
        move = Moved(self.setup.name, name, start, to, row["kind"])
        self.placed.append(Placed(self.mounting, move=move, event=int(row["event_id"])))

    def _cut(self, item: _Item) -> None:
        assert item.cut is not None
        self.mounting = self.mountings.get(item.row["mounting_id"], self.mounting)
        for name, (mm, _) in item.settings.items():
            self._said(name, mm, int(item.row["root_event"]))
        resets = {name for name, (_, moved) in item.settings.items() if moved} | self._resets()
        cut = replace(
            item.cut,
            settings_mm=dict(self.positions),
            mounting=self._mounting_label(),
            sharpening=self.edge.labels[item.row["sharpening_id"]],
            moved=frozenset(resets),
            at_hand=self._is_present_mounting(),
            approach=self.approaches.now(),
        )
        extra = self.edge.metres_before.get(item.row["root"], 0.0)
        if extra:
            self._stand(cut.sharpening, extra)
            cut = replace(cut, moved=frozenset())
        self._place(cut, item.row)
        self.pending = None

    def _said(self, name: str, mm: float, event: int) -> None:
        """Take a position that was named with a cut; when it is another one, that was a move."""
        start = self.positions.get(name)
        self.positions[name] = mm
        target = math.inf if self.pending is None else self.pending.settings_mm.get(name, math.inf)
        advised = abs(mm - target) <= AS_TOLD_MM
        self.approaches.moved(name, start, mm, as_advised=advised)
        if start is not None and abs(mm - start) > SAME_PLACE_MM:
            move = Moved(self.setup.name, name, start, mm, "cut")
            self.placed.append(Placed(self.mounting, move=move, event=event))

    def _resets(self) -> set[str]:
        """Return what was moved since the last row and stands where it stood."""
        if self.last is None or self.last.mounting != self._mounting_label():
            return set()
        before = self.last.settings_mm
        return {
            name
            for name in self.moved_since
            if name in before and abs(before[name] - self.positions[name]) <= SAME_PLACE_MM
        }

    def _stand(self, sharpening: str | None, metres: float | None = None) -> None:
        """Put in a row without pieces."""
        row = Cut(
            number=0,
            kind="test",
            settings_mm=dict(self.positions),
            pieces=0,
            metres_m=metres or None,
            mounting=self._mounting_label(),
            sharpening=sharpening,
            moved=frozenset(self._resets()),
            at_hand=False,
            approach=self.approaches.now(),
        )
        self._place(row, None)

    def _place(self, cut: Cut, row: sqlite3.Row | None) -> None:
        root = None if row is None else int(row["root"])
        event = None if row is None else int(row["root_event"])
        self.placed.append(Placed(self.mounting, cut=cut, root=root, row=row, event=event))
        self.last, self.moved_since = cut, set()

    def _asking(self, target: Mapping[str, float], *, at_mounting: bool = False) -> Pending | None:
        """Return what is to be answered for: positions where an adjuster does not stand already."""
        names = {adjuster.name for adjuster in self.setup.adjusters}
        differing = {
            name: mm
            for name, mm in target.items()
            if name in names and not abs(mm - self.positions.get(name, math.inf)) <= SAME_PLACE_MM
        }
        return Pending(differing, at_mounting) if differing else None

    def _complete(self) -> bool:
        return all(a.name in self.positions for a in self.setup.adjusters)

    def _mounting_label(self) -> str | None:
        return None if self.mounting is None else str(self.mounting["label"])

    def _is_present_mounting(self) -> bool:
        return not self.mountings or self.mounting is None or self.mounting["id"] == max(self.mountings)


def _backfilled(setup: Setup, placed: list[Placed], positions: Mapping[str, float]) -> tuple[Placed, ...]:
    """Complete early rows with the first position of an adjuster that was named later; drop other names."""
    names = [adjuster.name for adjuster in setup.adjusters]
    bands = {band.name for band in setup.bands}
    first = {name: positions.get(name, 0.0) for name in names}
    for item in reversed(placed):
        if item.cut is not None:
            first.update({n: mm for n, mm in item.cut.settings_mm.items() if n in first})
    return tuple(
        item if item.cut is None else replace(item, cut=_fitted(item.cut, names, bands, first))
        for item in placed
    )


def _fitted(cut: Cut, names: list[str], bands: set[str], first: Mapping[str, float]) -> Cut:
    """Return a cut with exactly the adjusters and readings that the setup has now."""
    settings = {name: cut.settings_mm.get(name, first[name]) for name in names}
    readings = {name: repeats for name, repeats in cut.readings.items() if name in bands}
    moved = cut.moved.intersection(names)
    if (settings, len(readings), moved) == (cut.settings_mm, len(cut.readings), cut.moved):
        return cut  # nearly always so, and a long history has many
    return replace(cut, settings_mm=settings, readings=readings, moved=moved)

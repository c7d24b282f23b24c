"""Cuts: logging them, measuring them again, good pieces.

The moves between them are in `calib.workflow.moves`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field

from calib.errors import CalibError
from calib.shop import Cut, CutKind, Reading, Setup
from calib.store import cuts as rows
from calib.store import events
from calib.store import setups as setup_rows
from calib.workflow import boxwork, mountings
from calib.workflow.bench import Bench, stand
from calib.workflow.boxwork import BoxCount
from calib.workflow.derived import (
    Plan,
    RawEntry,
    RawSaid,
    WorkedOut,
    carried_over,
    gauge_remarks,
    last_gauges,
    planned,
    usual_gauges,
    worked_out,
)
from calib.workflow.doubt import LooksLikeSlip, corrected, remarks, slips_in
from calib.workflow.entries import (
    check_amounts,
    check_feel,
    check_name,
    check_readings,
    check_settings,
    echoes,
    unit_questions,
)
from calib.workflow.moves import moved_as_advised, moved_by, moved_to
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

__all__ = [
    "CutEntry",
    "LoggedCut",
    "LooksLikeSlip",
    "NeedsAnswer",
    "corrected",
    "log_cut",
    "measure_again",
    "moved_as_advised",
    "moved_by",
    "moved_to",
    "work",
]


class NeedsAnswer(CalibError):
    """Only the maker knows: ``question`` is for a terminal, the message for everywhere else.

    Parameters
    ----------
    question : str
        "Moved as advised (key to 6.00 mm), or not moved?"
    settings_mm : mapping of adjuster name to mm
        Where the scales stand when the answer is "moved as advised"; empty when a position has
        never been given, which only the maker can tell.
    """

    def __init__(self, message: str, question: str, settings_mm: Mapping[str, float]) -> None:
        super().__init__(message)
        self.question = question
        self.settings_mm = dict(settings_mm)


@dataclass(frozen=True)
class CutEntry:
    """What the maker says of a cut; lengths already mm.

    Parameters
    ----------
    settings_mm : mapping of adjuster name to mm
        Where the scales stood; those left out are where they were.
    readings : mapping of reading name to tuple of Reading
    feel : str or None
        A word of the setup's feel scale.
    stock : str or None
        None = that of the mounting (or of the cut before).
    texts : mapping of name to str
        As typed, by adjuster, reading, "feel" or "metres".
    metres_m : float or None, m
        None = pieces times the setup's metres per piece.
    not_moved : bool
        The answer "not moved" to advice with a move.
    moved : frozenset of str
        Adjusters re-set to the same place.
    gauge : str or None
        What the readings were taken with; None = what the setup says.
    gauges : mapping of reading name to gauge
        Where another one was used.
    raws : tuple of RawEntry
        What readings are to be worked out from.
    pitches : int or None
        How many pitches `over` or `across` reach over.
    box : str or None
        The box that good pieces are for; None = the one open box that uses the setup, if there is one.
    by : str or None
        Whose hand felt it.
    ask : bool
        A reading that looks like a slip is not logged but raised as `LooksLikeSlip`.
    """

    settings_mm: Mapping[str, float] = field(default_factory=dict)
    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    feel: str | None = None
    stock: str | None = None
    note: str | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
    metres_m: float | None = None
    not_moved: bool = False
    pieces: int = 1
    moved: frozenset[str] = frozenset()
    gauge: str | None = None
    box: str | None = None
    gauges: Mapping[str, str] = field(default_factory=dict)
    raws: tuple[RawEntry, ...] = ()
    pitches: int | None = None
    by: str | None = None
    ask: bool = False


@dataclass(frozen=True)
class LoggedCut:
    """A stored cut.

    Parameters
    ----------
    cut : Cut
        As the model sees it; ``cut.number`` is written on the piece.
    echo : tuple of str
        What was understood, one line a value ("clearance -3 thou = -0.0762 mm"), of values with text.
    questions : tuple of str
        Values that look wrong (about 25.4 times off) but are stored as typed.
    box : BoxCount or None
        The box that good pieces were counted for.
    worked_out : tuple of WorkedOut
    """

    setup: str
    cut: Cut
    echo: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    box: BoxCount | None = None
    worked_out: tuple[WorkedOut, ...] = ()

    @property
    def number(self) -> int:
        """The number to write on the piece."""
        return self.cut.number


def log_cut(shop: Shop, setup_name: str, entry: CutEntry) -> LoggedCut:
    """Log a test cut; it gets a number, unique in the database, to write on the piece.

    Raises `NeedsAnswer` when the last advice was to move and neither positions nor ``not_moved``
    are given and no move was logged since; also when a position has never been given.
    """
    return _log(shop, setup_name, entry, "test")


def work(
    shop: Shop,
    setup_name: str,
    pieces: int,
    readings: Mapping[str, tuple[Reading, ...]] | None = None,
    metres_m: float | None = None,
    *,
    feel: str | None = None,
    stock: str | None = None,
    note: str | None = None,
    texts: Mapping[str, str] | None = None,
    settings_mm: Mapping[str, float] | None = None,
    not_moved: bool = False,
    gauge: str | None = None,
    box: str | None = None,
    gauges: Mapping[str, str] | None = None,
    raws: tuple[RawEntry, ...] = (),
    pitches: int | None = None,
    by: str | None = None,
    ask: bool = False,
) -> LoggedCut:
    """Log good pieces on the present setting; the readings are of the last one.

    Their metres go on the sharpening, ``pieces_left`` goes down, and they count for ``box``: None is the
    one open box that uses the setup, "none" no box.
    """
    entry = CutEntry(
        settings_mm=settings_mm or {},
        readings=readings or {},
        feel=feel,
        stock=stock,
        note=note,
        texts=texts or {},
        metres_m=metres_m,
        not_moved=not_moved,
        pieces=pieces,
        gauge=gauge,
        box=box,
        gauges=gauges or {},
        raws=raws,
        pitches=pitches,
        by=by,
        ask=ask,
    )
    return _log(shop, setup_name, entry, "good")


def measure_again(
    shop: Shop,
    number: int,
    readings: Mapping[str, tuple[Reading, ...]],
    feel: str | None = None,
    *,
    texts: Mapping[str, str] | None = None,
    gauge: str | None = None,
    instead: bool = False,
    gauges: Mapping[str, str] | None = None,
    raws: tuple[RawEntry, ...] = (),
    pitches: int | None = None,
    by: str | None = None,
) -> LoggedCut:
    """Measure a cut again: the new readings stand beside the old ones as repeats.

    With ``instead`` they take the place of the old ones (a slip of the pen); those stay in the
    database, superseded. A new feel always takes the place of the old one. Raw readings that make a
    whole set (slot and finger) make a repeat of the reading; a part of a set joins those that are there.
    """
    texts = texts or {}
    with shop.writing() as connection:
        row, bench = find(connection, number)
        setup = bench.setup
        check_readings(setup, readings)
        check_feel(setup, feel)
        if not any(readings.values()) and feel is None and not raws:
            raise CalibError(
                f"cut {number}: nothing was read. Give a reading, as in {setup.bands[0].name}=0.07."
            )
        words = f"the new measurement of cut {number} on {setup.name}"
        event_id = events.record(connection, shop.now(), "again", words, bench.setup_id)
        root = int(row["root"])
        old = rows.measurements_of(connection, bench.setup_id).get(root, {})
        replaces = {name: int(old[name][-1]["id"]) for name in readings if old.get(name)} if instead else None
        last = last_gauges(connection, bench.setup_id, readings, raws)
        said = RawSaid(raws, pitches, gauge, last)
        taken = usual_gauges(setup, readings, gauge, gauges or {}, said.last)
        rows.add_measurements(connection, event_id, root, readings, texts, gauges=taken, replaces=replaces)
        made = said.store_again(connection, event_id, root, setup, old, instead=instead) if raws else {}
        if feel is not None:
            rows.add_feel(connection, event_id, root, feel, texts.get("feel"), by)
        cut = stand(connection, bench.version).cut_of(root)
    every = {**readings, **{name: (mm,) for name, (mm, _) in made.items()}}
    remarks = carried_over(setup, said, readings.keys() - (gauges or {}).keys())
    questions = (*remarks, *unit_questions(setup, {}, every, {}))
    return LoggedCut(
        setup.name, cut, echoes(setup, readings, texts), questions, worked_out=worked_out(cut, made)
    )


def find(connection: sqlite3.Connection, number: int) -> tuple[sqlite3.Row, Bench]:
    """Return the live row of a cut and its setup's bench; `CalibError` when there is none."""
    row = rows.by_number(connection, number)
    version = None if row is None else setup_rows.version(connection, row["setup_id"])
    if row is None or version is None:
        raise CalibError(f"there is no cut {number}. See the numbers with: calib history")
    return row, stand(connection, version)


def _log(shop: Shop, setup_name: str, entry: CutEntry, kind: CutKind) -> LoggedCut:
    """Check and store one cut, in one transaction."""
    with shop.writing() as connection:
        bench = bench_of(connection, setup_name)
        made = _check(bench.setup, entry)
        settings = _named(bench, entry)
        _ask(bench, entry, settings)
        slips = slips_in(bench, settings, entry.readings)
        if slips and entry.ask:
            raise LooksLikeSlip(slips, bench.setup.units)
        number = rows.next_number(connection)
        what = f"cut {number}" if kind == "test" else f"good pieces, number {number},"
        event_id = events.record(connection, shop.now(), "cut", f"{what} on {setup_name}", bench.setup_id)
        mounting = mountings.ensure(connection, bench, event_id)
        stock = _stock(bench, mounting, entry, kind)
        root = rows.add(
            connection,
            {
                "event_id": event_id,
                "number": number,
                "setup_id": bench.setup_id,
                "setup_version_id": bench.version["id"],
                "mounting_id": mounting["id"],
                "sharpening_id": bench.edge.sharpening_id,
                "kind": kind,
                "pieces": int(entry.pieces),
                "metres_m": None if entry.metres_m is None else float(entry.metres_m),
                "metres_text": entry.texts.get("metres"),
                "stock": stock,
                "note": entry.note,
            },
        )
        rows.add_settings(connection, root, settings, entry.moved, entry.texts)
        last = last_gauges(connection, bench.setup_id, entry.readings, entry.raws)
        said = RawSaid(entry.raws, entry.pitches, entry.gauge, last)
        by = usual_gauges(bench.setup, entry.readings, entry.gauge, entry.gauges, said.last)
        rows.add_measurements(connection, event_id, root, entry.readings, entry.texts, gauges=by)
        done = said.store(connection, event_id, root, bench.setup, made)
        if entry.feel is not None:
            rows.add_feel(connection, event_id, root, entry.feel, entry.texts.get("feel"), entry.by)
        box = _count(connection, event_id, bench, root, entry.box) if kind == "good" else None
        cut = stand(connection, bench.version).cut_of(root)
        asked = {slip.reading for slip in slips}
        questions = remarks(slips, number, bench.setup.units)
        worked = {name: (mm,) for name, (mm, _) in done.items()}
        questions += _questions(connection, bench, entry, worked, asked)
        carried = carried_over(bench.setup, said, entry.readings.keys() - entry.gauges.keys())
    values = {**{name: (mm,) for name, mm in entry.settings_mm.items()}, **entry.readings}
    echo = echoes(bench.setup, values, entry.texts)
    return LoggedCut(setup_name, cut, echo, (*carried, *questions), box, worked_out(cut, done))


def _count(
    connection: sqlite3.Connection, event_id: int, bench: Bench, root: int, named: str | None
) -> BoxCount | None:
    """Count good pieces for their box; None when there is none to count them for."""
    box, remark = boxwork.box_for(connection, bench.setup_id, bench.setup.name, named)
    if box is not None:
        return boxwork.count(connection, event_id, box, bench.setup_id, root)
    return None if remark is None else BoxCount(None, 0, remark)


def _check(setup: Setup, entry: CutEntry) -> Plan:
    """Raise `CalibError` for anything that this setup cannot have; return what raw readings give."""
    check_settings(setup, entry.settings_mm)
    check_readings(setup, entry.readings)
    check_feel(setup, entry.feel)
    check_amounts(setup.name, entry.pieces, entry.metres_m)
    for name in entry.moved:
        check_name(setup.name, "adjuster", name, [a.name for a in setup.adjusters])
    return planned(setup, entry.raws, entry.pitches)


def _named(bench: Bench, entry: CutEntry) -> dict[str, float]:
    """Return the positions that the entry tells: those given, and those of adjusters that were re-set."""
    told = {name: bench.positions_mm[name] for name in entry.moved if name in bench.positions_mm}
    return {**told, **{name: float(mm) for name, mm in entry.settings_mm.items()}}


def _ask(bench: Bench, entry: CutEntry, settings: Mapping[str, float]) -> None:
    """Raise `NeedsAnswer` when it is open where an adjuster stood."""
    setup = bench.setup
    unknown = [a.name for a in setup.adjusters if a.name not in settings and a.name not in bench.positions_mm]
    target = bench.pending.settings_mm if bench.pending is not None else {}
    open_moves = {name: mm for name, mm in target.items() if name not in settings}
    if open_moves and not entry.not_moved:
        told = " and ".join(f"{name} to {mm:.6g} mm" for name, mm in open_moves.items())
        raise NeedsAnswer(
            f"{setup.name}: the advice was to move the {told}. Was it moved? Say calib moved {setup.name} "
            "first, or give the position, or --not-moved.",
            f"Moved as advised ({told}), or not moved?",
            open_moves,
        )
    if unknown:
        example = " ".join(f"{name}=..." for name in unknown)
        raise NeedsAnswer(
            f"{setup.name}: it is not known where the {' and the '.join(unknown)} stood. Add {example}",
            f"Where did the {' and the '.join(unknown)} stand?",
            {},
        )


def _stock(bench: Bench, mounting: sqlite3.Row, entry: CutEntry, kind: CutKind) -> str | None:
    """Return the stock to store; None means as in the cut before."""
    if entry.stock is not None:
        return entry.stock
    if kind == "good":
        chosen = mounting["stock"] or bench.setup.stock
        return None if chosen is None else str(chosen)
    first = not any(item.row is not None and item.row["mounting_id"] == mounting["id"] for item in bench.own)
    return mounting["stock"] if first else None


def _questions(
    connection: sqlite3.Connection,
    bench: Bench,
    entry: CutEntry,
    made: Mapping[str, tuple[Reading, ...]],
    asked: set[str],
) -> tuple[str, ...]:
    """Return what looks wrong, though it is stored as typed; readings that were asked about are left out."""
    scales = {a.name for a in bench.setup.adjusters if a.has_scale}
    before = {name: mm for name, mm in bench.positions_mm.items() if name in scales}
    readings = {name: values for name, values in entry.readings.items() if name not in asked}
    values = unit_questions(bench.setup, entry.settings_mm, {**readings, **made}, before)
    named = {entry.gauge, *entry.gauges.values(), *(raw.gauge for raw in entry.raws)}
    strangers = gauge_remarks(connection, named)
    return (*values, *strangers, *mountings.stock_remark(connection, entry.stock))

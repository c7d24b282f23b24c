"""Cuts: logging them, and good pieces.

What is said of them is in `calib.workflow.cutentry`, measuring one again in `calib.workflow.again`, the moves
between them in `calib.workflow.moves`; what a caller needs of these is named here too.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from calib.shop import CutKind, Reading, Setup
from calib.store import cuts as rows
from calib.store import events
from calib.workflow import boxwork, mountings
from calib.workflow.again import measure_again
from calib.workflow.bench import Bench, stand
from calib.workflow.boxwork import BoxCount
from calib.workflow.cutentry import CutEntry, LoggedCut, NeedsAnswer
from calib.workflow.derived import (
    Joined,
    Plan,
    RawSaid,
    carried_over,
    gauge_remarks,
    last_gauges,
    planned,
    usual_gauges,
    worked_out,
)
from calib.workflow.doubt import LooksLikeSlip, corrected, remarks, slips_in, usual_sizes
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
    "log_good",
    "measure_again",
    "moved_as_advised",
    "moved_by",
    "moved_to",
    "work",
]


def log_cut(shop: Shop, setup_name: str, entry: CutEntry) -> LoggedCut:
    """Log a test cut; it gets a number, unique in the database, to write on the piece.

    Raises `NeedsAnswer` when the last advice was to move and neither positions nor ``not_moved``
    are given and no move was logged since; also when a position has never been given.
    """
    return _log(shop, setup_name, entry, "test")


def log_good(shop: Shop, setup_name: str, entry: CutEntry) -> LoggedCut:
    """Log good pieces on the present setting; the readings are of the last one.

    Their metres go on the sharpening, ``pieces_left`` goes down, and they count for ``entry.box``: None is
    the one open box that uses the setup, "none" no box.
    """
    return _log(shop, setup_name, entry, "good")


def work(
    shop: Shop,
    setup_name: str,
    pieces: int,
    readings: Mapping[str, tuple[Reading, ...]] | None = None,
    metres_m: float | None = None,
    *,
    settings_mm: Mapping[str, float] | None = None,
    not_moved: bool = False,
    box: str | None = None,
) -> LoggedCut:
    """Log good pieces of which little is said; as `log_good`."""
    entry = CutEntry(
        settings_mm or {},
        readings or {},
        metres_m=metres_m,
        not_moved=not_moved,
        pieces=pieces,
        box=box,
    )
    return log_good(shop, setup_name, entry)


def _log(shop: Shop, setup_name: str, entry: CutEntry, kind: CutKind) -> LoggedCut:
    """Check and store one cut, in one transaction."""
    with shop.writing() as connection:
        bench = bench_of(connection, setup_name)
        made = _check(bench.setup, entry)
        settings = _named(bench, entry)
        _ask(bench, entry, settings)
        last = last_gauges(connection, bench.setup_id, entry.readings, entry.raws)
        said = RawSaid(entry.raws, entry.pitches, entry.gauge, last)
        joined = Joined(made, pitches=entry.pitches)
        sizes = said.sets(joined, usual_sizes(connection, bench))
        slips = slips_in(bench, settings, entry.readings, sizes)
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
        by = usual_gauges(bench.setup, entry.readings, entry.gauge, entry.gauges, said.last)
        rows.add_measurements(connection, event_id, root, entry.readings, entry.texts, gauges=by)
        done = said.store(connection, event_id, root, bench.setup, joined)
        if entry.feel is not None:
            rows.add_feel(connection, event_id, root, entry.feel, entry.texts.get("feel"), entry.by)
        box = _count(connection, event_id, bench, root, entry.box) if kind == "good" else None
        cut = stand(connection, bench.version).cut_of(root)
        asked = {slip.reading for slip in slips}
        questions = remarks(slips, number, bench.setup.units, entry.pitches)
        worked = {name: (mm,) for name, (mm, _) in done.items() if name not in asked}
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

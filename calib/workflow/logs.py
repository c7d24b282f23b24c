"""Logs: a pair of files in, a pair of files out."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from calib.errors import CalibError
from calib.logfile import load_log, write_log
from calib.measurement.worth import worth_as_knowledge
from calib.shop import Cut, Setup
from calib.store import abrasiveness, events, nouns, sharpenings
from calib.store import cuts as cut_rows
from calib.store import mountings as mounting_rows
from calib.store import setups as setup_rows
from calib.store.setup_json import to_json
from calib.workflow import cutters
from calib.workflow.edge import abrasive_stocks
from calib.workflow.entries import plain_name
from calib.workflow.history import log_of
from calib.workflow.setups import bench_of, check, ensure_cutter, version_values
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class Imported:
    """What an import did; ``already`` when the same log was there and nothing changed.

    ``remark`` says what the shop knows otherwise than the log.
    """

    name: str
    cuts: int
    already: bool
    remark: str | None = None


def import_log(shop: Shop, toml_path: Path) -> Imported:
    """Read a log into the shop, all of it or nothing; the same log twice changes nothing.

    The numbers of its cuts are kept when none of them is taken. Raises `CalibError` when the shop
    has a setup of that name with other cuts.
    """
    setup, cuts = load_log(toml_path)
    setup = replace(setup, name=plain_name("setup", setup.name))
    check(setup)
    digest = _digest(setup, cuts)
    with shop.writing() as connection:
        if _there(connection, setup, cuts, digest, toml_path):
            return Imported(setup.name, len(cuts), already=True)
        remark = _other_metres(shop, connection, setup)
        _store(shop, connection, setup, cuts, digest)
    return Imported(setup.name, len(cuts), False, remark)


def _other_metres(shop: Shop, connection: sqlite3.Connection, setup: Setup) -> str | None:
    """Say when the shop counts other metres on the cutter than the log does; the shop's count stands.

    A log may be of last month: it says nothing of the edge that is in the cutter today.
    """
    name, said = setup.cutter.name, setup.cutter.metres_since_sharp_m
    if nouns.named(connection, "cutters", name) is None:
        return None
    here = cutters.get(shop, name).metres_m
    if abs(here - said) <= 1e-9:
        return None
    return (
        f"{name}: the log says {said:g} m since it was sharp, this shop counts {here:g} m and keeps that. "
        f"A new edge since? Say: calib cutter sharpen {name}"
    )


def export_log(shop: Shop, setup_name: str, toml_path: Path) -> int:
    """Write a setup and its cuts as NAME.toml and NAME.csv; return how many cuts.

    A reading that was worked out is written as the reading it is; what its gauges are worth stands as
    ``reading_sd`` and ``zero_sd`` in the reading's own table. The raw readings stay in the database.
    """
    setup, rows = log_of(shop, setup_name)
    write_log(worth_as_knowledge(setup), _numbered(rows), toml_path)
    return sum(1 for row in rows if row.pieces > 0)


def _numbered(rows: Sequence[Cut]) -> list[Cut]:
    """Give the rows without pieces a number of their own, above all others."""
    free = max((row.number for row in rows), default=0) + 1
    numbered = []
    for row in rows:
        numbered.append(row if row.number else replace(row, number=free))
        free += 0 if row.number else 1
    return numbered


def _there(
    connection: sqlite3.Connection, setup: Setup, cuts: Sequence[Cut], digest: str, path: Path
) -> bool:
    """Return whether the shop has this log (and perhaps more cuts); `CalibError` when it has another."""
    version = next((row for row in setup_rows.current(connection) if row["name"] == setup.name), None)
    if version is None:
        return False
    if setup_rows.imported(connection, version["setup_id"], digest):
        return True
    bench = bench_of(connection, setup.name)
    here, there = _content(bench.log), _content(cuts)
    same = _bare(setup) in (_bare(bench.setup), _bare(worth_as_knowledge(bench.setup)))
    if same and here[: len(there)] == there:
        return True
    raise CalibError(
        f'{path}: there is a setup "{setup.name}" with other cuts already. Give the log another name, '
        "or use another database with --db."
    )


def _bare(setup: Setup) -> str:
    """Return a setup as text without what the shop counts on itself."""
    cutter = replace(setup.cutter, metres_since_sharp_m=0.0)
    return to_json(replace(setup, pieces_left=0, cutter=cutter))


def _content(cuts: Sequence[Cut]) -> list[tuple[Any, ...]]:
    """Return what the model sees of the rows: numbers, times and what labels are called do not matter."""
    content: list[tuple[Any, ...]] = []
    spans, last, stock = 0, ("", ""), ""
    for cut in cuts:
        label = (cut.mounting or last[0], cut.sharpening or last[1])
        spans += label != last and bool(content)
        last, stock = label, cut.stock or stock
        settings = tuple(sorted((name, round(mm, 9)) for name, mm in cut.settings_mm.items()))
        readings = tuple(sorted((name, str(repeats)) for name, repeats in cut.readings.items() if repeats))
        moved = tuple(sorted(cut.moved))
        content.append(
            (cut.kind, cut.pieces, cut.metres_m, settings, readings, cut.feel, stock, spans, moved, cut.note)
            + (() if cut.by is None else (cut.by,))
        )
    return content


def _digest(setup: Setup, cuts: Sequence[Cut]) -> str:
    text = "\n".join([to_json(setup), *(repr(row) for row in _content(cuts))])
    return hashlib.sha256(text.encode()).hexdigest()


def _store(
    shop: Shop, connection: sqlite3.Connection, setup: Setup, cuts: Sequence[Cut], digest: str
) -> None:
    """Write the setup, its mountings, sharpenings and cuts as one event."""
    cutter_id = ensure_cutter(shop, setup.cutter)
    setup_id = setup_rows.new_setup(connection, shop.now())
    words = f"the import of {setup.name}"
    event_id = events.record(connection, shop.now(), "import", words, setup_id)
    version_id = setup_rows.add_version(connection, event_id, version_values(setup, setup_id, cutter_id))
    setup_rows.add_import(connection, event_id, setup_id, digest)
    for stock, factor in setup.abrasive.items():
        if stock not in abrasive_stocks(connection):  # what the shop says of its own stocks stands
            abrasiveness.say(connection, event_id, stock, factor)
    writer = _Writer(shop, connection, event_id, setup, setup_id, cutter_id)
    writer.first_sharpening()
    taken = cut_rows.taken_numbers(connection)
    keep = taken.isdisjoint(cut.number for cut in cuts)
    start = max(taken, default=0) + 1
    for place, cut in enumerate(cuts):
        writer.cut(cut, cut.number if keep else start + place, version_id)


class _Writer:
    """Writes the rows of one log, each under its mounting and sharpening."""

    def __init__(
        self,
        shop: Shop,
        connection: sqlite3.Connection,
        event_id: int,
        setup: Setup,
        setup_id: int,
        cutter_id: int,
    ) -> None:
        self.shop, self.connection, self.event_id = shop, connection, event_id
        self.setup, self.setup_id, self.cutter_id = setup, setup_id, cutter_id
        self.mounting_id = self.sharpening_id = 0
        self.mounting: str | None = None
        self.sharpening: str | None = None

    def first_sharpening(self) -> None:
        """Go on with the cutter's present sharpening."""
        self.sharpening_id = int(sharpenings.of_cutter(self.connection, self.cutter_id)[-1]["id"])

    def cut(self, cut: Cut, number: int, version_id: int) -> None:
        """Write one row."""
        self._enter(cut)
        root = cut_rows.add(
            self.connection,
            {
                "event_id": self.event_id,
                "number": number,
                "setup_id": self.setup_id,
                "setup_version_id": version_id,
                "mounting_id": self.mounting_id,
                "sharpening_id": self.sharpening_id,
                "kind": cut.kind,
                "pieces": cut.pieces,
                "metres_m": cut.metres_m,
                "stock": cut.stock,
                "note": cut.note,
                "when_text": cut.when,
            },
        )
        cut_rows.add_settings(self.connection, root, cut.settings_mm, cut.moved, {})
        cut_rows.add_measurements(self.connection, self.event_id, root, cut.readings, {})
        if cut.feel is not None:
            cut_rows.add_feel(self.connection, self.event_id, root, cut.feel, None, cut.by)

    def _enter(self, cut: Cut) -> None:
        """Start a mounting or a sharpening where the labels change."""
        first = self.mounting_id == 0
        if first or (cut.mounting is not None and cut.mounting != self.mounting):
            self.mounting_id, _ = mounting_rows.add(
                self.connection, self.event_id, self.setup_id, self.cutter_id, label=cut.mounting
            )
        if not first and cut.sharpening is not None and cut.sharpening != self.sharpening:
            self._new_sharpening(0.0)
        self.mounting = cut.mounting or self.mounting
        self.sharpening = cut.sharpening or self.sharpening

    def _new_sharpening(self, metres: float) -> None:
        values = {
            "cutter_id": self.cutter_id,
            "label": cutters.next_label(self.connection, self.setup.cutter.name),
            "kind": "imported",
            "metres_start": metres,
            "sharpened_when": self.shop.now(),
        }
        self.sharpening_id = sharpenings.add(self.connection, self.event_id, values)

"""Cutters and their sharpenings."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Literal

from calib.errors import CalibError, unknown
from calib.store import events, nouns, sharpenings
from calib.workflow.entries import above_zero, check_amounts, plain_name
from calib.workflow.shopfloor import Shop

SharpeningKind = Literal["fitted", "reground", "replaced"]


@dataclass(frozen=True)
class CutterRecord:
    """A cutter with its present sharpening.

    Parameters
    ----------
    nominal_mm : float or None, mm
    nominal_text : str or None
        As typed ("1/4 in").
    sharpening : str
        Label of the present sharpening, "spiral-6 #2".
    sharpened_when : str
        ISO time, or as typed.
    metres_m : float, m
        Cut since that sharpening, in all setups, and what it had before.
    measured_mm : float or None, mm
        Width measured when it was last sharpened.
    sharpenings : int
        How many sharp lives are known.
    """

    name: str
    nominal_mm: float | None
    nominal_text: str | None
    sharpening: str
    sharpened_when: str
    metres_m: float
    measured_mm: float | None
    sharpenings: int
    note: str | None


def add(
    shop: Shop,
    name: str,
    nominal_mm: float | None,
    *,
    nominal_text: str | None = None,
    sharpened_when: str | None = None,
    metres: float = 0.0,
    measured_mm: float | None = None,
    note: str | None = None,
) -> CutterRecord:
    """Add a cutter; its first sharpening starts with the metres that it has already cut."""
    name = plain_name("cutter", name)
    above_zero(name, "width", nominal_mm)
    above_zero(name, "measured width", measured_mm)
    check_amounts(name, 1, metres)
    with shop.writing() as connection:
        if nouns.named(connection, "cutters", name) is not None:
            raise CalibError(f'there is a cutter "{name}" already. Choose another name, or change that one.')
        event_id = events.record(connection, shop.now(), "cutter", f"cutter {name}")
        values = {"name": name, "nominal_mm": nominal_mm, "nominal_text": nominal_text, "note": note}
        cutter_id = nouns.add(connection, "cutters", event_id, values)
        sharpenings.add(
            connection,
            event_id,
            {
                "cutter_id": cutter_id,
                "label": next_label(connection, name),
                "kind": "fitted",
                "metres_start": metres,
                "measured_mm": measured_mm,
                "sharpened_when": sharpened_when or shop.now(),
            },
        )
    return get(shop, name)


def all(shop: Shop) -> list[CutterRecord]:
    """Return every cutter, by name."""
    return [_record(shop.connection, row) for row in nouns.current(shop.connection, "cutters")]


def get(shop: Shop, name: str) -> CutterRecord:
    """Return one cutter; raise `CalibError` with a near name when there is none."""
    return _record(shop.connection, row_of(shop.connection, name))


def change(
    shop: Shop,
    name: str,
    *,
    nominal_mm: float | None = None,
    nominal_text: str | None = None,
    note: str | None = None,
) -> CutterRecord:
    """Change what is known of a cutter; None leaves a thing as it was."""
    above_zero(name, "width", nominal_mm)
    with shop.writing() as connection:
        old = row_of(connection, name)
        width = (old["nominal_mm"], old["nominal_text"]) if nominal_mm is None else (nominal_mm, nominal_text)
        values = {
            "name": name,
            "nominal_mm": width[0],
            "nominal_text": width[1],
            "note": old["note"] if note is None else note,
        }
        event_id = events.record(connection, shop.now(), "cutter", f"the change of cutter {name}")
        nouns.replace(connection, "cutters", event_id, old, values)
    return get(shop, name)


def sharpen(
    shop: Shop,
    name: str,
    kind: SharpeningKind = "reground",
    measured_mm: float | None = None,
    *,
    metres: float = 0.0,
    note: str | None = None,
) -> CutterRecord:
    """Start a new sharpening: the metres start again from 0 (or from ``metres``)."""
    above_zero(name, "measured width", measured_mm)
    check_amounts(name, 1, metres)
    with shop.writing() as connection:
        cutter = row_of(connection, name)
        event_id = events.record(connection, shop.now(), "sharpening", f"the sharpening of {name}")
        sharpenings.add(
            connection,
            event_id,
            {
                "cutter_id": cutter["root"],
                "label": next_label(connection, name),
                "kind": kind,
                "metres_start": metres,
                "measured_mm": measured_mm,
                "sharpened_when": shop.now(),
                "note": note,
            },
        )
    return get(shop, name)


def row_of(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    """Return the current row of a cutter; `CalibError` with a near name when there is none."""
    rows = nouns.current(connection, "cutters")
    for row in rows:
        if row["name"] == name:
            return row
    raise unknown("cutter", name, [row["name"] for row in rows])


def next_label(connection: sqlite3.Connection, name: str) -> str:
    """Return a label for the next sharpening of a cutter that no sharpening of the shop ever had."""
    taken = sharpenings.all_labels(connection)
    count = 1
    while f"{name} #{count}" in taken:
        count += 1
    return f"{name} #{count}"


def _record(connection: sqlite3.Connection, row: sqlite3.Row) -> CutterRecord:
    lives = sharpenings.of_cutter(connection, row["root"])
    present = lives[-1]
    cut = sum(one["metres"] for one in sharpenings.metres_cut(connection, present["id"]))
    return CutterRecord(
        name=row["name"],
        nominal_mm=row["nominal_mm"],
        nominal_text=row["nominal_text"],
        sharpening=present["label"],
        sharpened_when=present["sharpened_when"],
        metres_m=present["metres_start"] + cut,
        measured_mm=present["measured_mm"],
        sharpenings=len(lives),
        note=row["note"],
    )

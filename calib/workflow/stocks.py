"""Stocks: species, thickness, moisture, batch."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from calib.errors import CalibError, unknown
from calib.store import events, nouns
from calib.workflow.entries import above_zero, plain_name
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class StockRecord:
    """A stock; thickness in mm, moisture in per cent of the dry weight, None where not known."""

    name: str
    species: str | None
    thickness_mm: float | None
    moisture_percent: float | None
    note: str | None


def add(
    shop: Shop,
    name: str,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
) -> StockRecord:
    """Add a stock."""
    record = StockRecord(plain_name("stock", name), species, thickness_mm, moisture_percent, note)
    _check(record)
    with shop.writing() as connection:
        if nouns.named(connection, "stocks", record.name) is not None:
            raise CalibError(
                f'there is a stock "{record.name}" already. Choose another name, or change that one.'
            )
        event_id = events.record(connection, shop.now(), "stock", f"stock {record.name}")
        nouns.add(connection, "stocks", event_id, vars(record))
    return record


def all(shop: Shop) -> list[StockRecord]:
    """Return every stock, by name."""
    return [_record(row) for row in nouns.current(shop.connection, "stocks")]


def get(shop: Shop, name: str) -> StockRecord:
    """Return one stock; raise `CalibError` with a near name when there is none."""
    return _record(_row(shop.connection, name))


def change(
    shop: Shop,
    name: str,
    *,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
) -> StockRecord:
    """Change what is known of a stock; None leaves a thing as it was."""
    given: dict[str, Any] = {
        "species": species,
        "thickness_mm": thickness_mm,
        "moisture_percent": moisture_percent,
        "note": note,
    }
    with shop.writing() as connection:
        old = _row(connection, name)
        record = StockRecord(name, **{key: old[key] if new is None else new for key, new in given.items()})
        _check(record)
        event_id = events.record(connection, shop.now(), "stock", f"the change of stock {name}")
        nouns.replace(connection, "stocks", event_id, old, vars(record))
    return record


def _check(record: StockRecord) -> None:
    above_zero(record.name, "thickness", record.thickness_mm)
    moisture = record.moisture_percent
    if moisture is not None and not 0.0 <= moisture <= 100.0:
        raise CalibError(f"{record.name}: moisture {moisture:g} % will not do. Give per cent, 0 to 100.")


def _row(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    found = nouns.named(connection, "stocks", name)
    if found is None:
        raise unknown("stock", name, [row["name"] for row in nouns.current(connection, "stocks")])
    return found


def _record(row: sqlite3.Row) -> StockRecord:
    return StockRecord(*(row[key] for key in ("name", "species", "thickness_mm", "moisture_percent", "note")))

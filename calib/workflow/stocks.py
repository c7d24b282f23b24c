"""Stocks: species, thickness, moisture, batch."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.errors import CalibError, unknown
from calib.store import abrasiveness as abrasiveness_rows
from calib.store import events, nouns
from calib.workflow.edge import abrasive_stocks
from calib.workflow.entries import above_zero, plain_name
from calib.workflow.shopfloor import Shop

_COLUMNS = ("name", "species", "thickness_mm", "moisture_percent", "note")


@dataclass(frozen=True)
class StockRecord:
    """A stock; thickness in mm, moisture in per cent of the dry weight, None where not known.

    `abrasiveness` is how fast a metre of it wears an edge, against a hardwood like cherry.
    """

    name: str
    species: str | None
    thickness_mm: float | None
    moisture_percent: float | None
    note: str | None
    abrasiveness: float = 1.0


def add(
    shop: Shop,
    name: str,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
    *,
    abrasiveness: float | None = None,
) -> StockRecord:
    """Add a stock; without an abrasiveness it has that of its species, else 1."""
    record = StockRecord(plain_name("stock", name), species, thickness_mm, moisture_percent, note)
    _check(record)
    with shop.writing() as connection:
        if nouns.named(connection, "stocks", record.name) is not None:
            raise CalibError(
                f'there is a stock "{record.name}" already. Choose another name, or change that one.'
            )
        event_id = events.record(connection, shop.now(), "stock", f"stock {record.name}")
        nouns.add(connection, "stocks", event_id, _columns(record))
        _say(connection, event_id, record.name, abrasiveness)
    return get(shop, record.name)


def all(shop: Shop) -> list[StockRecord]:
    """Return every stock, by name."""
    abrasive = abrasive_stocks(shop.connection)
    return [_record(row, abrasive) for row in nouns.current(shop.connection, "stocks")]


def get(shop: Shop, name: str) -> StockRecord:
    """Return one stock; raise `CalibError` with a near name when there is none."""
    return _record(_row(shop.connection, name), abrasive_stocks(shop.connection))


def change(
    shop: Shop,
    name: str,
    *,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
    abrasiveness: float | None = None,
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
        nouns.replace(connection, "stocks", event_id, old, _columns(record))
        _say(connection, event_id, name, abrasiveness)
    return get(shop, name)


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


def _say(connection: sqlite3.Connection, event_id: int, stock: str, abrasiveness: float | None) -> None:
    if abrasiveness is None:
        return
    if not 0.0 < abrasiveness < math.inf:
        raise CalibError(
            f"{stock}: abrasiveness {abrasiveness:g} will not do. Give 1 for a wood like cherry, 3 for MDF."
        )
    abrasiveness_rows.say(connection, event_id, stock, abrasiveness)


def _columns(record: StockRecord) -> dict[str, Any]:
    return {key: getattr(record, key) for key in _COLUMNS}


def _record(row: sqlite3.Row, abrasive: Mapping[str, float]) -> StockRecord:
    known = {key: row[key] for key in _COLUMNS}
    return StockRecord(**known, abrasiveness=abrasive.get(row["name"], 1.0))

"""Gauges: what readings are taken with."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import Any

from calib.errors import CalibError, unknown
from calib.store import events, nouns
from calib.workflow.entries import above_zero, plain_name
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class GaugeRecord:
    """A gauge: kind (calliper, indicator, feeler, rule ...), resolution and limit of error, mm."""

    name: str
    kind: str
    resolution_mm: float
    limit_of_error_mm: float | None
    note: str | None


def add(
    shop: Shop,
    name: str,
    kind: str,
    resolution_mm: float,
    limit_of_error_mm: float | None = None,
    note: str | None = None,
) -> GaugeRecord:
    """Add a gauge."""
    record = GaugeRecord(plain_name("gauge", name), kind, resolution_mm, limit_of_error_mm, note)
    _check(record)
    with shop.writing() as connection:
        if nouns.named(connection, "gauges", record.name) is not None:
            raise CalibError(
                f'there is a gauge "{record.name}" already. Choose another name, or change that one.'
            )
        event_id = events.record(connection, shop.now(), "gauge", f"gauge {record.name}")
        nouns.add(connection, "gauges", event_id, vars(record))
    return record


def all(shop: Shop) -> list[GaugeRecord]:
    """Return every gauge, by name."""
    return [_record(row) for row in nouns.current(shop.connection, "gauges")]


def get(shop: Shop, name: str) -> GaugeRecord:
    """Return one gauge; raise `CalibError` with a near name when there is none."""
    return _record(_row(shop.connection, name))


def change(
    shop: Shop,
    name: str,
    *,
    kind: str | None = None,
    resolution_mm: float | None = None,
    limit_of_error_mm: float | None = None,
    note: str | None = None,
) -> GaugeRecord:
    """Change what is known of a gauge; None leaves a thing as it was."""
    given: dict[str, Any] = {
        "kind": kind,
        "resolution_mm": resolution_mm,
        "limit_of_error_mm": limit_of_error_mm,
        "note": note,
    }
    with shop.writing() as connection:
        old = _row(connection, name)
        record = GaugeRecord(name, **{key: old[key] if new is None else new for key, new in given.items()})
        _check(record)
        event_id = events.record(connection, shop.now(), "gauge", f"the change of gauge {name}")
        nouns.replace(connection, "gauges", event_id, old, vars(record))
    return record


def _check(record: GaugeRecord) -> None:
    above_zero(record.name, "resolution", record.resolution_mm)
    above_zero(record.name, "limit of error", record.limit_of_error_mm)


def _row(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    found = nouns.named(connection, "gauges", name)
    if found is None:
        raise unknown("gauge", name, [row["name"] for row in nouns.current(connection, "gauges")])
    return found


def _record(row: sqlite3.Row) -> GaugeRecord:
    return GaugeRecord(*(row[key] for key in ("name", "kind", "resolution_mm", "limit_of_error_mm", "note")))

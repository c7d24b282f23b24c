"""Stocks: species, thickness, moisture, batch."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from calib.errors import CalibError, unknown
from calib.store import abrasiveness as abrasiveness_rows
from calib.store import events, nouns, stock_details
from calib.wood import Movement, coefficients, equilibrium_moisture
from calib.workflow.edge import abrasive_stocks
from calib.workflow.entries import above_zero, plain_name
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class StockRecord:
    """A stock; None where a thing is not known.

    Parameters
    ----------
    thickness_mm : float or None, mm
    moisture_percent : float or None
        Of the dry weight, typed or reckoned from the room.
    temperature_c, humidity_percent : float or None
        The room that the moisture was reckoned from (Wood Handbook, eq. 4-5).
    radial, tangential : float or None
        The maker's own movement per 1 % of moisture across a quarter-sawn and a flat-sawn face.
    abrasiveness : float
        How fast a metre of it wears an edge, against a hardwood like cherry.
    """

    name: str
    species: str | None
    thickness_mm: float | None
    moisture_percent: float | None
    note: str | None
    temperature_c: float | None = None
    humidity_percent: float | None = None
    radial: float | None = None
    tangential: float | None = None
    abrasiveness: float = 1.0


_OF_THE_ROW = ("name", "species", "thickness_mm", "moisture_percent", "note")
_MORE = ("temperature_c", "humidity_percent", "radial", "tangential")


def add(
    shop: Shop,
    name: str,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
    *,
    room: tuple[float, float] | None = None,
    radial: float | None = None,
    tangential: float | None = None,
    abrasiveness: float | None = None,
) -> StockRecord:
    """Add a stock; without an abrasiveness it has that of its species, else 1.

    Parameters
    ----------
    room : (temperature in degrees C, relative humidity in per cent), optional
        Where the wood has come to rest: its moisture is reckoned from it.
    """
    record = StockRecord(
        plain_name("stock", name), species, thickness_mm, moisture_percent, note,
        radial=radial, tangential=tangential,
    )  # fmt: skip
    record = _settled(record, room)
    _check(record)
    with shop.writing() as connection:
        if nouns.named(connection, "stocks", record.name) is not None:
            raise CalibError(
                f'there is a stock "{record.name}" already. Choose another name, or change that one.'
            )
        event_id = events.record(connection, shop.now(), "stock", f"stock {record.name}")
        stock_id = nouns.add(connection, "stocks", event_id, _columns(record))
        stock_details.add(connection, stock_id, vars(record))
        _say(connection, event_id, record.name, abrasiveness)
    return get(shop, record.name)


def all(shop: Shop) -> list[StockRecord]:
    """Return every stock, by name."""
    abrasive = abrasive_stocks(shop.connection)
    return [_record(shop.connection, row, abrasive) for row in nouns.current(shop.connection, "stocks")]


def get(shop: Shop, name: str) -> StockRecord:
    """Return one stock; raise `CalibError` with a near name when there is none."""
    return _record(shop.connection, _row(shop.connection, name), abrasive_stocks(shop.connection))


def change(
    shop: Shop,
    name: str,
    *,
    room: tuple[float, float] | None = None,
    abrasiveness: float | None = None,
    **given: Any,
) -> StockRecord:
    """Change what is known of a stock (the fields of `StockRecord`); None leaves a thing as it was.

    A moisture that is typed sets the room aside that an earlier one was reckoned from.
    """
    with shop.writing() as connection:
        row = _row(connection, name)
        new = {key: value for key, value in given.items() if value is not None}
        if "moisture_percent" in new:
            new |= {"temperature_c": None, "humidity_percent": None}
        record = _settled(replace(_record(connection, row, {}), **new), room)
        _check(record)
        event_id = events.record(connection, shop.now(), "stock", f"the change of stock {name}")
        stock_id = nouns.replace(connection, "stocks", event_id, row, _columns(record))
        stock_details.add(connection, stock_id, vars(record))
        _say(connection, event_id, name, abrasiveness)
    return get(shop, name)


def table_of(record: StockRecord) -> Movement | None:
    """Return the movement coefficients of a stock's species, None when the table has no such species."""
    try:
        return None if record.species is None else coefficients(record.species)
    except CalibError:
        return None


def thicknesses(connection: sqlite3.Connection, upto: int = events.NOW) -> dict[str, float]:
    """Return the thickness of every stock that has one, mm by name, as known at an event."""
    return {
        row["name"]: float(row["thickness_mm"])
        for row in nouns.current(connection, "stocks", upto)
        if row["thickness_mm"] is not None
    }


def _settled(record: StockRecord, room: tuple[float, float] | None) -> StockRecord:
    """Reckon the moisture from the room, when one is given."""
    if room is None:
        return record
    temperature, humidity = room
    moisture = round(equilibrium_moisture(temperature, humidity), 2)
    return replace(
        record, moisture_percent=moisture, temperature_c=float(temperature), humidity_percent=float(humidity)
    )


def _columns(record: StockRecord) -> dict[str, Any]:
    return {key: getattr(record, key) for key in _OF_THE_ROW}


def _check(record: StockRecord) -> None:
    above_zero(record.name, "thickness", record.thickness_mm)
    moisture = record.moisture_percent
    if moisture is not None and not 0.0 <= moisture <= 100.0:
        raise CalibError(f"{record.name}: moisture {moisture:g} % will not do. Give per cent, 0 to 100.")
    for face, coefficient in (("flat", record.tangential), ("quarter", record.radial)):
        if coefficient is not None and not 0.0 < coefficient <= 0.02:
            raise CalibError(
                f"{record.name}: {face} {coefficient:g} will not do. Give the change of size per size and "
                "per 1 % of moisture, such as 0.0025."
            )


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


def _record(connection: sqlite3.Connection, row: sqlite3.Row, abrasive: Mapping[str, float]) -> StockRecord:
    more = stock_details.of(connection, int(row["id"]))
    known: dict[str, Any] = {key: row[key] for key in _OF_THE_ROW} | {key: more[key] for key in _MORE}
    return StockRecord(**known, abrasiveness=abrasive.get(row["name"], 1.0))

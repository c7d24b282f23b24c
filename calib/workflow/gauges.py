"""Gauges: what readings are taken with."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, field
from typing import Any

from calib.errors import CalibError, UsageError, unknown
from calib.measurement.kinds import kind_of, repeat_sd_mm, shared_sds_mm
from calib.shop import Setup
from calib.store import events, nouns, studies
from calib.workflow.derived import gauge_remarks
from calib.workflow.entries import above_zero, plain_name
from calib.workflow.shopfloor import Shop
from calib.workflow.worths import gauges_of

_LENGTHS = ("resolution_mm", "limit_of_error_mm", *studies.DETAILS)


@dataclass(frozen=True)
class ReadingError:
    """The error of one reading by one use of a gauge, its parts apart, mm.

    Parameters
    ----------
    held : str
        outside, inside, depth or travel.
    repeat_sd_mm : float, mm
        Another draw every time.
    shared_mm : mapping of error name to sd
        In every reading alike.
    studied : bool
        The repeat part comes from a study.
    """

    held: str
    repeat_sd_mm: float
    shared_mm: dict[str, float]
    studied: bool


@dataclass(frozen=True)
class GaugeRecord:
    """A gauge: kind (calliper, indicator, feeler, ruler ...), resolution and limits of error, mm."""

    name: str
    kind: str
    resolution_mm: float
    limit_of_error_mm: float | None
    note: str | None
    inside_limit_mm: float | None = None
    zero_limit_mm: float | None = None
    errors: tuple[ReadingError, ...] = field(default=(), compare=False)


def add(
    shop: Shop,
    name: str,
    kind: str,
    resolution_mm: float | None,
    limit_of_error_mm: float | None = None,
    note: str | None = None,
    *,
    inside_limit_mm: float | None = None,
    zero_limit_mm: float | None = None,
) -> GaugeRecord:
    """Add a gauge.

    Parameters
    ----------
    kind : str
        One of the kinds of `calib.measurement.kinds`, or another word for it.
    resolution_mm : float or None, mm
        Its smallest step; None is taken for what shows no number (a pin, a sample joint).
    limit_of_error_mm, inside_limit_mm, zero_limit_mm : float or None, mm
        Stated limits: outside; inside and by the depth rod; of its zero. None = what the kind says.

    Raises
    ------
    CalibError
        When the kind is not known, a length is missing or not above 0, or the name is taken.
    """
    meant = kind_of(kind)
    if resolution_mm is None and not meant.says_yes_or_no:
        raise UsageError(
            f"gauge add: --resolution is missing (the smallest step of the {meant.name}, for example "
            f"--resolution {meant.resolution_mm:g})."
        )
    values = {
        "kind": meant.name,
        "resolution_mm": meant.resolution_mm if resolution_mm is None else resolution_mm,
        "limit_of_error_mm": limit_of_error_mm,
        "note": note,
    }
    details = {"inside_limit_mm": inside_limit_mm, "zero_limit_mm": zero_limit_mm}
    name = plain_name("gauge", name)
    _check(name, {**values, **details})
    with shop.writing() as connection:
        if nouns.named(connection, "gauges", name) is not None:
            raise CalibError(f'there is a gauge "{name}" already. Choose another name, or change that one.')
        event_id = events.record(connection, shop.now(), "gauge", f"gauge {name}")
        gauge_id = nouns.add(connection, "gauges", event_id, {"name": name, **values})
        if any(mm is not None for mm in details.values()):
            studies.add_details(connection, event_id, gauge_id, details)
    return get(shop, name)


def all(shop: Shop) -> list[GaugeRecord]:
    """Return every gauge, by name."""
    details = studies.details(shop.connection)
    return [
        _record(shop.connection, row, details.get(row["root"]))
        for row in nouns.current(shop.connection, "gauges")
    ]


def get(shop: Shop, name: str) -> GaugeRecord:
    """Return one gauge; raise `CalibError` with a near name when there is none."""
    row = row_of(shop.connection, name)
    return _record(shop.connection, row, studies.details(shop.connection).get(row["root"]))


def change(
    shop: Shop,
    name: str,
    *,
    kind: str | None = None,
    resolution_mm: float | None = None,
    limit_of_error_mm: float | None = None,
    note: str | None = None,
    inside_limit_mm: float | None = None,
    zero_limit_mm: float | None = None,
) -> GaugeRecord:
    """Change what is known of a gauge; None leaves a thing as it was."""
    with shop.writing() as connection:
        old = row_of(connection, name)
        given: dict[str, Any] = {
            "kind": None if kind is None else kind_of(kind).name,
            "resolution_mm": resolution_mm,
            "limit_of_error_mm": limit_of_error_mm,
            "note": note,
        }
        more = {"inside_limit_mm": inside_limit_mm, "zero_limit_mm": zero_limit_mm}
        _check(name, {**given, **more})
        event_id = events.record(connection, shop.now(), "gauge", f"the change of gauge {name}")
        values = {key: old[key] if new is None else new for key, new in given.items()}
        if any(new is not None for new in given.values()):
            nouns.replace(connection, "gauges", event_id, old, {"name": name, **values})
        if any(new is not None for new in more.values()):
            before = studies.details(connection).get(old["root"])
            kept = {key: None if before is None else before[key] for key in studies.DETAILS}
            fresh = {key: kept[key] if new is None else new for key, new in more.items()}
            studies.add_details(connection, event_id, int(old["root"]), fresh)
    return get(shop, name)


def strangers(shop: Shop, setup: Setup) -> tuple[str, ...]:
    """Return a remark for each gauge that a setup names and the shop does not have."""
    return gauge_remarks(shop.connection, {band.gauge for band in setup.bands})


def row_of(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    """Return the current row of a gauge; raise `CalibError` with a near name when there is none."""
    found = nouns.named(connection, "gauges", name)
    if found is None:
        raise unknown("gauge", name, [row["name"] for row in nouns.current(connection, "gauges")])
    return found


def _check(name: str, values: dict[str, Any]) -> None:
    for key in _LENGTHS:
        above_zero(name, key.removesuffix("_mm").replace("_", " "), values[key])


def _record(connection: sqlite3.Connection, row: sqlite3.Row, more: sqlite3.Row | None) -> GaugeRecord:
    keys = ("name", "kind", "resolution_mm", "limit_of_error_mm", "note")
    known: dict[str, Any] = {key: row[key] for key in keys}
    known |= {key: None if more is None else more[key] for key in studies.DETAILS}
    return GaugeRecord(**known, errors=_errors(connection, row))


def _errors(connection: sqlite3.Connection, row: sqlite3.Row) -> tuple[ReadingError, ...]:
    """Return the error of each use; empty for a kind that nothing is assumed of."""
    try:
        uses = kind_of(row["kind"]).uses
    except CalibError:
        return ()
    gauge = gauges_of(connection)[row["name"]]
    return tuple(
        ReadingError(
            use, repeat_sd_mm(gauge, use), shared_sds_mm(gauge, use, "one thing"), use in gauge.studied
        )
        for use in uses
    )

"""Raw readings, and which measurements were worked out from them."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Iterable, Mapping

from calib.reading import Reading
from calib.store.cuts import columns_of
from calib.store.events import LIVE, NOW


def add(
    connection: sqlite3.Connection,
    event_id: int,
    root: int,
    name: str,
    reading: Reading,
    *,
    pitches: int | None = None,
    text: str | None = None,
    gauge: str | None = None,
) -> int:
    """Write one raw reading of a cut and return its id."""
    cursor = connection.execute(
        "INSERT INTO raw_readings (event_id, cut_id, name, value_mm, low_mm, high_mm, pitches, text, gauge) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        (event_id, root, name, *columns_of(reading), pitches, text, gauge),
    )
    return int(cursor.lastrowid or 0)


def link(connection: sqlite3.Connection, measurement_id: int, factors: Mapping[int, float]) -> None:
    """Write by which factor each raw reading (its id) went into a measurement."""
    rows = [(measurement_id, raw_id, float(factor)) for raw_id, factor in factors.items()]
    connection.executemany("INSERT INTO derived_from (measurement_id, raw_id, factor) VALUES (?, ?, ?)", rows)


def of_setup(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> dict[int, list[sqlite3.Row]]:
    """Return by measurement id the raw readings that it was worked out from, with their ``factor``."""
    return _by_measurement(
        connection.execute(
            f"{_USED} JOIN cuts ON cuts.id = raw.cut_id WHERE cuts.setup_id = :setup ORDER BY raw.id",
            {"setup": setup_id, "upto": upto},
        )
    )


def of_cut(connection: sqlite3.Connection, root: int) -> dict[int, list[sqlite3.Row]]:
    """Return the same for one cut."""
    return _by_measurement(
        connection.execute(f"{_USED} WHERE raw.cut_id = :root ORDER BY raw.id", {"root": root, "upto": NOW})
    )


def last_gauges(connection: sqlite3.Connection, setup_id: int) -> dict[str, str]:
    """Return by reading, and by raw reading, the gauge that took the last number on a setup, if named."""
    rows = connection.execute(
        f"""SELECT name, gauge FROM (
                SELECT raw.name AS name, raw.gauge AS gauge, raw.event_id AS at, raw.cut_id AS cut
                FROM (SELECT * FROM raw_readings WHERE value_mm IS NOT NULL AND {LIVE}) AS raw
                UNION ALL
                SELECT m.reading, m.gauge, m.event_id, m.cut_id
                FROM (SELECT * FROM measurements WHERE value_mm IS NOT NULL AND {LIVE}) AS m
                WHERE m.id NOT IN (SELECT measurement_id FROM derived_from))
            JOIN cuts ON cuts.id = cut WHERE cuts.setup_id = :setup ORDER BY at""",
        {"setup": setup_id, "upto": NOW},
    )
    last = {row["name"]: row["gauge"] for row in rows}
    return {name: gauge for name, gauge in last.items() if gauge is not None}


_USED = f"""SELECT raw.*, used.measurement_id, used.factor
    FROM (SELECT * FROM raw_readings WHERE {LIVE}) AS raw
    JOIN derived_from AS used ON used.raw_id = raw.id"""


def _by_measurement(rows: Iterable[sqlite3.Row]) -> dict[int, list[sqlite3.Row]]:
    found: dict[int, list[sqlite3.Row]] = defaultdict(list)
    for row in rows:
        found[row["measurement_id"]].append(row)
    return found

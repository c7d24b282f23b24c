"""Cuts with their settings, measurements and feels; all append-only."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from calib.shop import Interval, Reading
from calib.store.events import LIVE, NOW

_COLUMNS = (
    "event_id", "root_id", "replaces", "number", "setup_id", "setup_version_id", "mounting_id",
    "sharpening_id", "kind", "pieces", "metres_m", "metres_text", "stock", "note", "when_text",
)  # fmt: skip


def add(connection: sqlite3.Connection, values: Mapping[str, Any]) -> int:
    """Insert one cut and return its id; columns that are left out are NULL."""
    marks = ", ".join("?" * len(_COLUMNS))
    cursor = connection.execute(
        f"INSERT INTO cuts ({', '.join(_COLUMNS)}) VALUES ({marks})",
        [values.get(column) for column in _COLUMNS],
    )
    return int(cursor.lastrowid or 0)


def next_number(connection: sqlite3.Connection) -> int:
    """Return the next number to write on a piece: one above every cut ever logged, undone ones too."""
    return int(connection.execute("SELECT COALESCE(MAX(number), 0) + 1 FROM cuts").fetchone()[0])


def add_settings(
    connection: sqlite3.Connection,
    cut_id: int,
    settings_mm: Mapping[str, float],
    moved: frozenset[str],
    texts: Mapping[str, str],
) -> None:
    """Write where the scales stood, as said with this cut; those not said are not written."""
    connection.executemany(
        "INSERT INTO cut_settings (cut_id, adjuster, setting_mm, moved, text) VALUES (?, ?, ?, ?, ?)",
        [(cut_id, name, float(mm), int(name in moved), texts.get(name)) for name, mm in settings_mm.items()],
    )


def add_measurements(
    connection: sqlite3.Connection,
    event_id: int,
    root: int,
    readings: Mapping[str, Sequence[Reading]],
    texts: Mapping[str, str],
    *,
    gauge: str | None = None,
    gauges: Mapping[str, str] | None = None,
    replaces: Mapping[str, int] | None = None,
) -> list[int]:
    """Write measurements of a cut and return their ids.

    ``gauges`` names by reading what another gauge than ``gauge`` took; ``replaces`` names, by reading,
    the last one that no longer counts.
    """
    ids = []
    for name, repeats in readings.items():
        for reading in repeats:
            value, low, high = columns_of(reading)
            by = (gauges or {}).get(name, gauge)
            cursor = connection.execute(
                "INSERT INTO measurements (event_id, cut_id, reading, value_mm, low_mm, high_mm, text, "
                "gauge, replaces) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (event_id, root, name, value, low, high, texts.get(name), by, (replaces or {}).get(name)),
            )
            ids.append(int(cursor.lastrowid or 0))
    return ids


def add_feel(
    connection: sqlite3.Connection,
    event_id: int,
    root: int,
    word: str,
    text: str | None,
    by: str | None = None,
) -> None:
    """Write the feel of a cut, and whose hand it was; the last one counts."""
    cursor = connection.execute(
        "INSERT INTO feels (event_id, cut_id, word, text) VALUES (?, ?, ?, ?)", (event_id, root, word, text)
    )
    if by is not None:
        connection.execute(
            "INSERT INTO felt_by (feel_id, event_id, person) VALUES (?, ?, ?)",
            (cursor.lastrowid, event_id, by),
        )


def of_setup(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the live cuts of a setup, corrections applied, in the order they were cut.

    ``root`` is the id of a cut's first row, ``root_event`` the event that logged it, ``cut_when``
    what the log said of the time, or when it was said at the bench.
    """
    return connection.execute(
        f"""SELECT cut.*, first.event_id AS root_event,
                   COALESCE(cut.when_text, CASE WHEN e.kind = 'cut' THEN e.at END) AS cut_when FROM (
                SELECT *, COALESCE(root_id, id) AS root, MAX(id) FROM cuts
                WHERE setup_id = :setup AND {LIVE} GROUP BY COALESCE(root_id, id)) AS cut
            JOIN cuts AS first ON first.id = cut.root JOIN events AS e ON e.id = first.event_id
            ORDER BY root""",
        {"setup": setup_id, "upto": upto},
    ).fetchall()


def settings_of(connection: sqlite3.Connection, setup_id: int) -> dict[int, dict[str, tuple[float, bool]]]:
    """Return by cut id what was said of the scales: (mm, re-set) by adjuster."""
    found: dict[int, dict[str, tuple[float, bool]]] = defaultdict(dict)
    rows = connection.execute(
        "SELECT s.* FROM cut_settings AS s JOIN cuts ON cuts.id = s.cut_id WHERE cuts.setup_id = ?",
        (setup_id,),
    )
    for row in rows:
        found[row["cut_id"]][row["adjuster"]] = (row["setting_mm"], bool(row["moved"]))
    return found


def measurements_of(
    connection: sqlite3.Connection, setup_id: int, upto: int = NOW
) -> dict[int, dict[str, list[sqlite3.Row]]]:
    """Return by root id and reading the live measurements that still count, in order."""
    found: dict[int, dict[str, list[sqlite3.Row]]] = defaultdict(lambda: defaultdict(list))
    rows = connection.execute(
        f"""SELECT m.* FROM (SELECT * FROM measurements WHERE {LIVE}) AS m
            JOIN cuts ON cuts.id = m.cut_id WHERE cuts.setup_id = :setup ORDER BY m.id""",
        {"setup": setup_id, "upto": upto},
    )
    for row in rows:
        repeats = found[row["cut_id"]][row["reading"]]
        if row["replaces"] is not None:
            repeats[:] = [old for old in repeats if old["id"] > row["replaces"]]
        repeats.append(row)
    return found


def feels_of(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> dict[int, str]:
    """Return by root id the last live feel."""
    rows = connection.execute(
        f"""SELECT f.cut_id, f.word FROM (SELECT * FROM feels WHERE {LIVE}) AS f
            JOIN cuts ON cuts.id = f.cut_id WHERE cuts.setup_id = :setup ORDER BY f.id""",
        {"setup": setup_id, "upto": upto},
    )
    return {row["cut_id"]: row["word"] for row in rows}


def by_number(connection: sqlite3.Connection, number: int) -> sqlite3.Row | None:
    """Return the live cut with a number, corrections applied, or None."""
    row: sqlite3.Row | None = connection.execute(
        f"""SELECT *, COALESCE(root_id, id) AS root FROM cuts
            WHERE number = :number AND {LIVE} ORDER BY id DESC LIMIT 1""",
        {"number": number, "upto": NOW},
    ).fetchone()
    return row


def reading_of(row: sqlite3.Row) -> Reading:
    """Return a stored measurement as the model takes it."""
    if row["value_mm"] is not None:
        return float(row["value_mm"])
    return Interval(float(row["low_mm"]), float(row["high_mm"]))


def columns_of(reading: Reading) -> tuple[float | None, float | None, float | None]:
    """Return a reading as value, low and high; the ones that it has not are None."""
    if isinstance(reading, Interval):
        return None, float(reading.low_mm), float(reading.high_mm)
    return float(reading), None, None


def numbers(connection: sqlite3.Connection, setup_id: int) -> dict[int, int]:
    """Return the number on the piece by cut id, undone cuts too."""
    rows = connection.execute("SELECT id, number FROM cuts WHERE setup_id = ?", (setup_id,))
    return {row["id"]: row["number"] for row in rows}


def taken_numbers(connection: sqlite3.Connection) -> set[int]:
    """Return every number ever given."""
    return {row["number"] for row in connection.execute("SELECT number FROM cuts")}


def count_live(connection: sqlite3.Connection) -> int:
    """Return how many live cuts the shop has."""
    row = connection.execute(
        f"SELECT COUNT(DISTINCT COALESCE(root_id, id)) FROM cuts WHERE {LIVE}", {"upto": NOW}
    ).fetchone()
    return int(row[0])

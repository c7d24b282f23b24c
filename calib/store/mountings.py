"""Mountings and where they were to start."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from calib.store.events import LIVE, NOW


def of_setup(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the live mountings of a setup, oldest first."""
    return connection.execute(
        f"SELECT * FROM mountings WHERE setup_id = :setup AND {LIVE} ORDER BY id",
        {"setup": setup_id, "upto": upto},
    ).fetchall()


def add(
    connection: sqlite3.Connection,
    event_id: int,
    setup_id: int,
    cutter_id: int,
    *,
    label: str | None = None,
    stock: str | None = None,
    note: str | None = None,
) -> tuple[int, int]:
    """Insert the next mounting of a setup and return its id and its number (never used twice)."""
    row = connection.execute(
        "SELECT COALESCE(MAX(number), 0) + 1 FROM mountings WHERE setup_id = ?", (setup_id,)
    ).fetchone()
    number = int(row[0])
    cursor = connection.execute(
        "INSERT INTO mountings (event_id, setup_id, number, label, cutter_id, stock, note) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (event_id, setup_id, number, label or str(number), cutter_id, stock, note),
    )
    return int(cursor.lastrowid or 0), number


def add_starts(connection: sqlite3.Connection, mounting_id: int, settings_mm: Mapping[str, float]) -> None:
    """Write where the scales of a new mounting should be set first."""
    connection.executemany(
        "INSERT INTO mounting_starts (mounting_id, adjuster, setting_mm) VALUES (?, ?, ?)",
        [(mounting_id, name, float(mm)) for name, mm in settings_mm.items()],
    )


def starts(connection: sqlite3.Connection, mounting_id: int) -> dict[str, float]:
    """Return where the scales of a mounting should have been set first."""
    rows = connection.execute(
        "SELECT adjuster, setting_mm FROM mounting_starts WHERE mounting_id = ? ORDER BY rowid",
        (mounting_id,),
    )
    return {row["adjuster"]: row["setting_mm"] for row in rows}

"""Moves: who moved what, from where, to where."""

from __future__ import annotations

import sqlite3

from calib.store.events import LIVE, NOW


def add(
    connection: sqlite3.Connection,
    event_id: int,
    setup_id: int,
    adjuster: str,
    kind: str,
    from_mm: float | None,
    to_mm: float,
    *,
    change_mm: float | None = None,
    text: str | None = None,
) -> int:
    """Insert one move and return its id."""
    cursor = connection.execute(
        "INSERT INTO moves (event_id, setup_id, adjuster, kind, from_mm, to_mm, change_mm, text) "
        "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (event_id, setup_id, adjuster, kind, from_mm, float(to_mm), change_mm, text),
    )
    return int(cursor.lastrowid or 0)


def of_setup(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the live moves of a setup in order."""
    return connection.execute(
        f"SELECT * FROM moves WHERE setup_id = :setup AND {LIVE} ORDER BY id",
        {"setup": setup_id, "upto": upto},
    ).fetchall()

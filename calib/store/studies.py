"""What a gauge is held to beside its noun, and its repeat studies."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from calib.store.events import LIVE, NOW
from calib.store.loading import insert

DETAILS = ("inside_limit_mm", "zero_limit_mm")


def add_details(connection: sqlite3.Connection, event_id: int, gauge_id: int, values: dict[str, Any]) -> None:
    """Write the details of a gauge (its chain's first id); the latest row counts."""
    insert(connection, "gauge_details", {"event_id": event_id, "gauge_id": gauge_id, **values})


def details(connection: sqlite3.Connection, upto: int = NOW) -> dict[int, sqlite3.Row]:
    """Return by gauge the latest live details."""
    rows = connection.execute(f"SELECT * FROM gauge_details WHERE {LIVE} ORDER BY id", {"upto": upto})
    return {int(row["gauge_id"]): row for row in rows}


def add_study(
    connection: sqlite3.Connection,
    event_id: int,
    gauge_id: int,
    values: dict[str, Any],
    rows: Sequence[tuple[str, str, float, str | None]],
) -> int:
    """Write a study with its values, each (part, operator, mm, as typed); return its id."""
    study_id = insert(connection, "gauge_studies", {"event_id": event_id, "gauge_id": gauge_id, **values})
    connection.executemany(
        "INSERT INTO gauge_study_values (study_id, place, part, operator, value_mm, text) "
        "VALUES (?, ?, ?, ?, ?, ?)",
        [(study_id, place, part, who, float(mm), text) for place, (part, who, mm, text) in enumerate(rows)],
    )
    return study_id


def studies(connection: sqlite3.Connection, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the live studies of all gauges with their time ``at``, oldest first."""
    return connection.execute(
        f"""SELECT study.*, events.at FROM (SELECT * FROM gauge_studies WHERE {LIVE}) AS study
            JOIN events ON events.id = study.event_id ORDER BY study.id""",
        {"upto": upto},
    ).fetchall()

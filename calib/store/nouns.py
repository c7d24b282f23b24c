"""Cutters, stocks and gauges: rows with a name, of which the latest of a chain counts."""

from __future__ import annotations

import sqlite3
from typing import Any, Literal, get_args

from calib.store.events import LIVE, NOW
from calib.store.loading import insert

Table = Literal["cutters", "stocks", "gauges"]
TABLES: tuple[Table, ...] = get_args(Table)


def current(connection: sqlite3.Connection, table: Table, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the latest live row of every chain, by name; ``root`` is the chain's first id."""
    return connection.execute(
        f"""SELECT *, COALESCE(root_id, id) AS root, MAX(id) FROM {table} WHERE {LIVE}
            GROUP BY COALESCE(root_id, id) ORDER BY name""",
        {"upto": upto},
    ).fetchall()


def named(connection: sqlite3.Connection, table: Table, name: str) -> sqlite3.Row | None:
    """Return the current row of one name, or None."""
    return next((row for row in current(connection, table) if row["name"] == name), None)


def by_root(connection: sqlite3.Connection, table: Table, root: int, upto: int = NOW) -> sqlite3.Row | None:
    """Return the current row of one chain, or None when it was undone."""
    return next((row for row in current(connection, table, upto) if row["root"] == root), None)


def add(connection: sqlite3.Connection, table: Table, event_id: int, values: dict[str, Any]) -> int:
    """Insert the first row of a chain."""
    return insert(connection, table, {"event_id": event_id, **values})


def replace(
    connection: sqlite3.Connection, table: Table, event_id: int, old: sqlite3.Row, values: dict[str, Any]
) -> int:
    """Insert a row that replaces an older one."""
    chain = {"event_id": event_id, "root_id": old["root"], "replaces": old["id"]}
    return insert(connection, table, {**chain, **values})

"""How fast each stock wears an edge."""

from __future__ import annotations

import sqlite3

from calib.store.events import LIVE, NOW
from calib.store.loading import insert


def say(connection: sqlite3.Connection, event_id: int, stock: str, factor: float) -> None:
    """Write what was said of one stock."""
    insert(connection, "stock_abrasiveness", {"event_id": event_id, "stock": stock, "factor": float(factor)})


def said(connection: sqlite3.Connection, upto: int = NOW) -> dict[str, float]:
    """Return by stock what was said last."""
    rows = connection.execute(
        f"SELECT stock, factor FROM stock_abrasiveness WHERE {LIVE} ORDER BY id", {"upto": upto}
    )
    return {row["stock"]: row["factor"] for row in rows}


def species(connection: sqlite3.Connection, upto: int = NOW) -> dict[str, str]:
    """Return by stock its species, where one was said."""
    rows = connection.execute(
        f"SELECT name, species, MAX(id) FROM stocks WHERE {LIVE} GROUP BY COALESCE(root_id, id)",
        {"upto": upto},
    )
    return {row["name"]: row["species"] for row in rows if row["species"]}

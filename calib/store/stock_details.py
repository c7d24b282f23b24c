"""What more is known of a stock, beside its row: the room it lay in, coefficients of its movement."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

_COLUMNS = ("temperature_c", "humidity_percent", "radial", "tangential")


def add(connection: sqlite3.Connection, stock_id: int, values: Mapping[str, Any]) -> None:
    """Write the details of one row of ``stocks``; nothing when there are none."""
    row = [values.get(column) for column in _COLUMNS]
    if any(value is not None for value in row):
        connection.execute(
            f"INSERT INTO stock_details (stock_id, {', '.join(_COLUMNS)}) VALUES (?, ?, ?, ?, ?)",
            [stock_id, *(None if value is None else float(value) for value in row)],
        )


def of(connection: sqlite3.Connection, stock_id: int) -> dict[str, float | None]:
    """Return the details of one row of ``stocks``; all None when there are none."""
    row = connection.execute(
        f"SELECT {', '.join(_COLUMNS)} FROM stock_details WHERE stock_id = ?", (stock_id,)
    ).fetchone()
    return dict.fromkeys(_COLUMNS) if row is None else dict(row)

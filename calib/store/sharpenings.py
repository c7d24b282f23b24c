"""Sharpenings and the metres that were cut on them."""

from __future__ import annotations

import sqlite3
from typing import Any

from calib.store.events import LIVE, NOW
from calib.store.loading import insert


def add(connection: sqlite3.Connection, event_id: int, values: dict[str, Any]) -> int:
    """Insert a sharpening and return its id."""
    return insert(connection, "sharpenings", {"event_id": event_id, **values})


def of_cutter(connection: sqlite3.Connection, cutter_id: int, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the live sharpenings of a cutter (its chain's first id), oldest first."""
    return connection.execute(
        f"SELECT * FROM sharpenings WHERE cutter_id = :cutter AND {LIVE} ORDER BY id",
        {"cutter": cutter_id, "upto": upto},
    ).fetchall()


def labels(connection: sqlite3.Connection, upto: int = NOW) -> dict[int, str]:
    """Return the label of every live sharpening by id."""
    rows = connection.execute(f"SELECT id, label FROM sharpenings WHERE {LIVE}", {"upto": upto})
    return {row["id"]: row["label"] for row in rows}


def metres_cut(connection: sqlite3.Connection, sharpening_id: int, upto: int = NOW) -> list[sqlite3.Row]:
    """Return ``root``, ``setup_id``, ``stock`` and ``metres`` of every live cut on a sharpening, in order.

    Where a cut has no metres of its own they are its pieces times its setup's metres per piece.
    """
    return connection.execute(
        f"""SELECT cut.root, cut.setup_id, cut.stock,
                   COALESCE(cut.metres_m, cut.pieces * version.metres_per_piece_m) AS metres
            FROM (SELECT *, COALESCE(root_id, id) AS root, MAX(id) FROM cuts
                  WHERE COALESCE(root_id, id) IN (
                      SELECT COALESCE(root_id, id) FROM cuts WHERE sharpening_id = :sharpening)
                    AND {LIVE} GROUP BY COALESCE(root_id, id)) AS cut
            JOIN setup_versions AS version ON version.id = cut.setup_version_id
            WHERE cut.sharpening_id = :sharpening ORDER BY cut.root""",
        {"sharpening": sharpening_id, "upto": upto},
    ).fetchall()


def starts(connection: sqlite3.Connection, ids: list[int]) -> dict[int, float]:
    """Return the metres that sharpenings had when they were added, by id."""
    marks = ", ".join("?" * len(ids))
    rows = connection.execute(f"SELECT id, metres_start FROM sharpenings WHERE id IN ({marks})", ids)
    return {row["id"]: row["metres_start"] for row in rows}


def all_labels(connection: sqlite3.Connection) -> set[str]:
    """Return every label ever given, undone ones too."""
    return {row["label"] for row in connection.execute("SELECT label FROM sharpenings")}

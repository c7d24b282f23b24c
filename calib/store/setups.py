"""Setups and their versions."""

from __future__ import annotations

import sqlite3
from typing import Any

from calib.store.events import LIVE, NOW
from calib.store.loading import insert


def new_setup(connection: sqlite3.Connection, at: str) -> int:
    """Make the identity that all versions of a setup share."""
    return insert(connection, "setups", {"created": at})


def add_version(connection: sqlite3.Connection, event_id: int, values: dict[str, Any]) -> int:
    """Insert a version; the newest live one counts."""
    return insert(connection, "setup_versions", {"event_id": event_id, **values})


def current(connection: sqlite3.Connection, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the newest live version of every setup, by name."""
    return connection.execute(
        f"SELECT *, MAX(id) FROM setup_versions WHERE {LIVE} GROUP BY setup_id ORDER BY name",
        {"upto": upto},
    ).fetchall()


def named(connection: sqlite3.Connection, name: str, upto: int = NOW) -> sqlite3.Row | None:
    """Return the newest live version of the setup that has a name now, or None."""
    rows = connection.execute(
        f"""SELECT *, MAX(id) FROM setup_versions
            WHERE setup_id IN (SELECT setup_id FROM setup_versions WHERE name = :name) AND {LIVE}
            GROUP BY setup_id""",
        {"name": name, "upto": upto},
    )
    return next((row for row in rows if row["name"] == name), None)


def version(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> sqlite3.Row | None:
    """Return the newest live version of one setup, or None."""
    row: sqlite3.Row | None = connection.execute(
        f"SELECT * FROM setup_versions WHERE setup_id = :setup AND {LIVE} ORDER BY id DESC LIMIT 1",
        {"setup": setup_id, "upto": upto},
    ).fetchone()
    return row


def count_versions(connection: sqlite3.Connection, setup_id: int) -> int:
    """Return how many live versions of a setup are kept."""
    row = connection.execute(
        f"SELECT COUNT(*) FROM setup_versions WHERE setup_id = :setup AND {LIVE}",
        {"setup": setup_id, "upto": NOW},
    ).fetchone()
    return int(row[0])


def good_pieces_since(connection: sqlite3.Connection, setup_id: int, event_id: int, upto: int = NOW) -> int:
    """Return how many good pieces were logged after an event."""
    row = connection.execute(
        f"""SELECT COALESCE(SUM(pieces), 0) FROM (
                SELECT *, COALESCE(root_id, id) AS root, MAX(id) FROM cuts
                WHERE setup_id = :setup AND {LIVE} GROUP BY COALESCE(root_id, id)) AS cut
            WHERE kind = 'good'
              AND (SELECT event_id FROM cuts AS first WHERE first.id = cut.root) > :event""",
        {"setup": setup_id, "event": event_id, "upto": upto},
    ).fetchone()
    return int(row[0])


def add_import(connection: sqlite3.Connection, event_id: int, setup_id: int, digest: str) -> None:
    """Remember what was imported, so that the same log is not imported twice."""
    insert(connection, "imports", {"event_id": event_id, "setup_id": setup_id, "digest": digest})


def imported(connection: sqlite3.Connection, setup_id: int, digest: str) -> bool:
    """Return whether a live import of a setup had the same content."""
    row = connection.execute(
        f"SELECT 1 FROM imports WHERE setup_id = :setup AND digest = :digest AND {LIVE}",
        {"setup": setup_id, "digest": digest, "upto": NOW},
    ).fetchone()
    return row is not None


def every(connection: sqlite3.Connection) -> list[sqlite3.Row]:
    """Return every version of every setup, undone ones too, oldest first."""
    return connection.execute("SELECT * FROM setup_versions ORDER BY id").fetchall()

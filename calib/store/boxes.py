"""Boxes that are kept, the setups they use, and the good pieces that were cut for them."""

from __future__ import annotations

import sqlite3
from typing import Any

from calib.store.events import LIVE, NOW
from calib.store.loading import insert


def add(
    connection: sqlite3.Connection, event_id: int, values: dict[str, Any], old: sqlite3.Row | None = None
) -> int:
    """Insert a box, or the row that replaces an older one of its chain; return its id."""
    chain = {} if old is None else {"root_id": old["root"], "replaces": old["id"]}
    return insert(connection, "boxes", {"event_id": event_id, **chain, **values})


def add_part(
    connection: sqlite3.Connection, event_id: int, box_id: int, part: str, version_id: int, pieces: int
) -> None:
    """Write which version of a setup cuts one part of a box, and how many pieces it takes."""
    values = {"box_id": box_id, "part": part, "setup_version_id": version_id, "pieces": int(pieces)}
    insert(connection, "box_parts", {"event_id": event_id, **values})


def add_work(connection: sqlite3.Connection, event_id: int, root: int, cut_root: int) -> None:
    """Write that the good pieces of a cut were for a box (both by the first id of their chains)."""
    connection.execute(
        "INSERT INTO box_work (event_id, box_id, cut_id) VALUES (?, ?, ?)", (event_id, root, cut_root)
    )


def current(connection: sqlite3.Connection, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the newest live row of every box, by name; ``root`` is the chain's first id."""
    return connection.execute(
        f"""SELECT *, COALESCE(root_id, id) AS root, MAX(id) FROM boxes WHERE {LIVE}
            GROUP BY COALESCE(root_id, id) ORDER BY name""",
        {"upto": upto},
    ).fetchall()


def named(connection: sqlite3.Connection, name: str) -> sqlite3.Row | None:
    """Return the current row of one name, or None."""
    return next((row for row in current(connection) if row["name"] == name), None)


def parts(connection: sqlite3.Connection, box_id: int) -> list[sqlite3.Row]:
    """Return the parts of one row of a box: ``part``, ``setup_id``, ``setup_version_id``, ``pieces``."""
    return connection.execute(
        """SELECT box_parts.*, setup_versions.setup_id FROM box_parts
           JOIN setup_versions ON setup_versions.id = box_parts.setup_version_id
           WHERE box_id = ? ORDER BY box_parts.id""",
        (box_id,),
    ).fetchall()


def box_of(connection: sqlite3.Connection, cut_root: int) -> sqlite3.Row | None:
    """Return the box that the good pieces of a cut are counted for, or None."""
    row = connection.execute(
        f"SELECT box_id FROM box_work WHERE cut_id = :cut AND {LIVE} ORDER BY id DESC LIMIT 1",
        {"cut": cut_root, "upto": NOW},
    ).fetchone()
    return None if row is None else next((b for b in current(connection) if b["root"] == row["box_id"]), None)


def pieces_cut(connection: sqlite3.Connection, root: int, upto: int = NOW) -> dict[int, int]:
    """Return how many good pieces were cut for a box, by setup id; corrected cuts count as corrected."""
    rows = connection.execute(
        f"""SELECT cut.setup_id, SUM(cut.pieces) AS pieces FROM (
                SELECT *, COALESCE(root_id, id) AS root, MAX(id) FROM cuts
                WHERE {LIVE} GROUP BY COALESCE(root_id, id)) AS cut
            WHERE cut.root IN (SELECT cut_id FROM box_work WHERE box_id = :box AND {LIVE})
            GROUP BY cut.setup_id""",
        {"box": root, "upto": upto},
    )
    return {int(row["setup_id"]): int(row["pieces"]) for row in rows}

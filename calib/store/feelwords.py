"""What the shop calls the words for a fit and where their limits are; append-only, by kind of joint."""

from __future__ import annotations

import sqlite3

from calib.store.events import LIVE, NOW

#: So many feels of the shop, the latest, say which other setups a hand is known from.
LATEST_FEELS = 200


def add(
    connection: sqlite3.Connection,
    event_id: int,
    joint_kind: str,
    word: str,
    name: str,
    limits_mm: tuple[float, float] | None = None,
) -> None:
    """Write what a word is called from now on, and its limits when they are said."""
    low, high = (None, None) if limits_mm is None else (float(limits_mm[0]), float(limits_mm[1]))
    connection.execute(
        "INSERT INTO feel_words (event_id, joint_kind, word, name, low_mm, high_mm) "
        "VALUES (?, ?, ?, ?, ?, ?)",
        (event_id, joint_kind, word, name, low, high),
    )


def said(connection: sqlite3.Connection, joint_kind: str, upto: int = NOW) -> list[sqlite3.Row]:
    """Return what was said of the words of a kind and still holds, oldest first."""
    return connection.execute(
        f"SELECT * FROM feel_words WHERE joint_kind = :kind AND {LIVE} ORDER BY id",
        {"kind": joint_kind, "upto": upto},
    ).fetchall()


def names_ever(connection: sqlite3.Connection, joint_kind: str) -> dict[str, str]:
    """Return the word that every name ever stood for; what was undone too, for cuts may have used it."""
    rows = connection.execute(
        "SELECT name, word FROM feel_words WHERE joint_kind = ? ORDER BY id", (joint_kind,)
    )
    return {row["name"]: row["word"] for row in rows}


def felt_by(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> dict[int, str]:
    """Return by root id whose hand the last live feel of a cut is, where that was said."""
    rows = connection.execute(
        f"""SELECT f.cut_id, felt_by.person FROM (SELECT * FROM feels WHERE {LIVE}) AS f
            JOIN cuts ON cuts.id = f.cut_id LEFT JOIN felt_by ON felt_by.feel_id = f.id
            WHERE cuts.setup_id = :setup ORDER BY f.id""",
        {"setup": setup_id, "upto": upto},
    )
    found = {row["cut_id"]: row["person"] for row in rows}
    return {root: person for root, person in found.items() if person is not None}


def people(connection: sqlite3.Connection) -> list[str]:
    """Return everybody who ever felt a cut by name."""
    rows = connection.execute("SELECT DISTINCT person FROM felt_by ORDER BY person")
    return [row["person"] for row in rows]


def setups_with_feels(connection: sqlite3.Connection, joint_kind: str, upto: int = NOW) -> list[int]:
    """Return the setups of a kind that have a live feel among the latest of the shop."""
    rows = connection.execute(
        f"""SELECT DISTINCT cuts.setup_id
            FROM (SELECT * FROM feels WHERE {LIVE} ORDER BY id DESC LIMIT {LATEST_FEELS}) AS f
            CROSS JOIN cuts ON cuts.id = f.cut_id
            JOIN setup_versions AS v ON v.id = cuts.setup_version_id
            WHERE v.joint_kind = :kind ORDER BY cuts.setup_id""",
        {"kind": joint_kind, "upto": upto},
    )
    return [int(row["setup_id"]) for row in rows]

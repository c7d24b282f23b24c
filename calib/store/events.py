"""Events: what the maker said in one breath; and undos, which set one aside.

An event is *dead* when an undo points at it that is not itself undone. Everything that reads the
log leaves out the rows of dead events, and may stop at an event to see the log as it was then.
"""

from __future__ import annotations

import sqlite3

#: An SQL condition on a table with ``event_id``: the row counts, as seen at event ``:upto``.
LIVE = """event_id <= :upto AND event_id NOT IN (
    SELECT undo.target FROM undos AS undo WHERE undo.event_id <= :upto AND NOT EXISTS (
        SELECT 1 FROM undos AS redo WHERE redo.target = undo.event_id AND redo.event_id <= :upto))"""

#: Later than every event.
NOW = 2**62


def record(
    connection: sqlite3.Connection,
    at: str,
    kind: str,
    words: str,
    setup_id: int | None = None,
    *,
    undoable: bool = True,
) -> int:
    """Write one event and return its id; ``words`` say what it was ("cut 7 on chest-corners")."""
    cursor = connection.execute(
        "INSERT INTO events (at, kind, setup_id, words, undoable) VALUES (?, ?, ?, ?, ?)",
        (at, kind, setup_id, words, int(undoable)),
    )
    return int(cursor.lastrowid or 0)


def last_live(connection: sqlite3.Connection, setup_id: int | None = None) -> sqlite3.Row | None:
    """Return the last event that can be undone and is not (of one setup, when given)."""
    row: sqlite3.Row | None = connection.execute(
        f"""SELECT * FROM (SELECT *, id AS event_id FROM events) WHERE undoable AND {LIVE}
            AND (:setup_id IS NULL OR setup_id = :setup_id) ORDER BY id DESC LIMIT 1""",
        {"upto": NOW, "setup_id": setup_id},
    ).fetchone()
    return row


def last_undo(connection: sqlite3.Connection, setup_id: int | None = None) -> sqlite3.Row | None:
    """Return the last undo that still holds, as ``event_id`` and the target's ``words`` and ``setup_id``."""
    row: sqlite3.Row | None = connection.execute(
        """SELECT undos.event_id, target.id AS target, target.words, target.setup_id FROM undos
           JOIN events AS target ON target.id = undos.target
           WHERE target.kind <> 'undo'
             AND NOT EXISTS (SELECT 1 FROM undos AS redo WHERE redo.target = undos.event_id)
             AND (:setup_id IS NULL OR target.setup_id = :setup_id)
           ORDER BY undos.event_id DESC LIMIT 1""",
        {"setup_id": setup_id},
    ).fetchone()
    return row


def set_aside(connection: sqlite3.Connection, event_id: int, target: int) -> None:
    """Write that one event undoes another."""
    connection.execute("INSERT INTO undos (event_id, target) VALUES (?, ?)", (event_id, target))


def last_setup_used(connection: sqlite3.Connection) -> int | None:
    """Return the id of the setup that the last thing said was about, undone things left out."""
    row = connection.execute(
        f"""SELECT setup_id FROM (SELECT *, id AS event_id FROM events)
            WHERE setup_id IS NOT NULL AND kind <> 'undo' AND {LIVE} ORDER BY id DESC LIMIT 1""",
        {"upto": NOW},
    ).fetchone()
    return None if row is None else int(row["setup_id"])


def when(connection: sqlite3.Connection, event_id: int) -> str:
    """Return the time of an event."""
    return str(connection.execute("SELECT at FROM events WHERE id = ?", (event_id,)).fetchone()["at"])


def last_said(connection: sqlite3.Connection) -> int:
    """Return the id of the last event that is neither advice nor a printed card; 0 for a new shop."""
    row = connection.execute(
        "SELECT COALESCE(MAX(id), 0) FROM events WHERE kind NOT IN ('advice', 'card')"
    ).fetchone()
    return int(row[0])


def last_card(connection: sqlite3.Connection, words: str, setup_id: int | None) -> sqlite3.Row | None:
    """Return the event of the last card that was printed of a setup, or of a box (by its words)."""
    row: sqlite3.Row | None = connection.execute(
        """SELECT id, at FROM events WHERE kind = 'card' AND (setup_id = :setup_id
           OR (:setup_id IS NULL AND setup_id IS NULL AND words = :words)) ORDER BY id DESC LIMIT 1""",
        {"words": words, "setup_id": setup_id},
    ).fetchone()
    return row


#: What a live row rests on: its table, the column, and the table that the column points to.
_RESTS_ON = (
    ("sharpenings", "cutter_id", "cutters"),
    ("setup_versions", "cutter_id", "cutters"),
    ("mountings", "cutter_id", "cutters"),
    ("cuts", "mounting_id", "mountings"),
    ("cuts", "sharpening_id", "sharpenings"),
    ("cuts", "setup_version_id", "setup_versions"),
    ("measurements", "cut_id", "cuts"),
    ("feels", "cut_id", "cuts"),
    ("box_parts", "setup_version_id", "setup_versions"),
    ("box_work", "box_id", "boxes"),
    ("box_work", "cut_id", "cuts"),
    ("raw_readings", "cut_id", "cuts"),
    ("gauge_details", "gauge_id", "gauges"),
    ("gauge_studies", "gauge_id", "gauges"),
)


def first_gap(connection: sqlite3.Connection) -> sqlite3.Row | None:
    """Return an event (as ``words``) of a live row that rests on a row that is not, or None."""
    for table, column, other in _RESTS_ON:
        row: sqlite3.Row | None = connection.execute(
            f"""SELECT events.words FROM (SELECT * FROM {table} WHERE {LIVE}) AS upper
                JOIN events ON events.id = upper.event_id
                WHERE upper.{column} NOT IN (SELECT id FROM {other} WHERE {LIVE}) LIMIT 1""",
            {"upto": NOW},
        ).fetchone()
        if row is not None:
            return row
    return None

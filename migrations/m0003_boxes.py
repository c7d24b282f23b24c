"""Step 3: boxes are kept with the setups that they use, and good pieces are counted against them.

A box is a chain of rows like a cutter's; the newest live one counts. ``question`` is what the maker said,
``numbers`` what the plan was made from, at full precision, so that it can be made again just as it was, and
``said`` what was known and what assumed then; all are JSON. ``box_work`` says for which box the good pieces
of a cut were.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "boxes": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        root_id INTEGER REFERENCES boxes(id),
        replaces INTEGER REFERENCES boxes(id),
        name TEXT NOT NULL,
        copies INTEGER NOT NULL CHECK (copies > 0),
        closed INTEGER NOT NULL CHECK (closed IN (0, 1)),
        question TEXT NOT NULL CHECK (json_valid(question)),
        numbers TEXT NOT NULL CHECK (json_valid(numbers)),
        said TEXT NOT NULL CHECK (json_valid(said)),
        closes REAL NOT NULL CHECK (closes BETWEEN 0 AND 1),
        CHECK ((root_id IS NULL) = (replaces IS NULL))""",
    "box_parts": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        box_id INTEGER NOT NULL REFERENCES boxes(id),
        part TEXT NOT NULL CHECK (part IN ('corners', 'corners of A', 'corners of B', 'grooves', 'inlays')),
        setup_version_id INTEGER NOT NULL REFERENCES setup_versions(id),
        pieces INTEGER NOT NULL CHECK (pieces > 0)""",
    "box_work": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        box_id INTEGER NOT NULL REFERENCES boxes(id),
        cut_id INTEGER NOT NULL REFERENCES cuts(id)""",
}

INDEXES = (
    "CREATE INDEX parts_of_box ON box_parts(box_id)",
    "CREATE INDEX work_of_box ON box_work(box_id)",
)


def apply(db: Any) -> None:
    """Make the tables of the boxes, append-only like the log."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
    for index in INDEXES:
        db.execute(index)

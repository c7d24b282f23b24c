"""Step 5: whose hand felt a cut, and what the shop calls the words for a fit.

``word`` of a feel word is the name that it began with; ``name`` what it is called from then on. The last
row of a word says its name, the last one with limits where it begins and ends.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "felt_by": """
        feel_id INTEGER PRIMARY KEY REFERENCES feels(id),
        event_id INTEGER NOT NULL REFERENCES events(id),
        person TEXT NOT NULL CHECK (person <> '')""",
    "feel_words": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        joint_kind TEXT NOT NULL,
        word TEXT NOT NULL CHECK (word <> ''),
        name TEXT NOT NULL CHECK (name <> ''),
        low_mm REAL,
        high_mm REAL,
        CHECK ((low_mm IS NULL) = (high_mm IS NULL)),
        CHECK (low_mm IS NULL OR low_mm < high_mm)""",
}


def apply(db: Any) -> None:
    """Make the tables, append-only like the log."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )

"""Step 8: what the mountings of a setup taught, and which were put back with a kept joint.

``learned`` is a cache: ``digest`` names all that a state rests on (the rows of the mountings, what the
setup believed, the versions of model and grid), so that a row is either right or never found again. It
belongs to no event; undoing, correcting or importing simply leads to another digest.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "learned": """
        id INTEGER PRIMARY KEY,
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        mounting_id INTEGER NOT NULL REFERENCES mountings(id),
        digest TEXT NOT NULL UNIQUE,
        model_version TEXT NOT NULL,
        grid_version TEXT NOT NULL,
        made TEXT NOT NULL,
        state BLOB NOT NULL""",
    "kept_joints": """
        mounting_id INTEGER PRIMARY KEY REFERENCES mountings(id),
        joint TEXT NOT NULL""",
}


def apply(db: Any) -> None:
    """Make the two tables, append-only like the log."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
    db.execute("CREATE INDEX learned_of_setup ON learned(setup_id)")

"""Step 7: how fast a stock wears an edge, as the maker said it; the latest that was said counts.

``factor`` is against a hardwood like cherry, which is 1. It goes with the name that cuts carry, so it can
be said of a stock before it is added.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "stock_abrasiveness": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        stock TEXT NOT NULL,
        factor REAL NOT NULL CHECK (factor > 0)""",
}


def apply(db: Any) -> None:
    """Make the table, append-only like the log."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )

"""Step 6: what advice is scored by, and what more is known of a stock.

``advice_measured`` keeps with each advice the probability that the next *measured* reading lies in its
band: readings are what the log holds, so that is what can come true or not. ``stock_details`` stands
beside a row of ``stocks``: the room that its moisture was reckoned from, and movement coefficients that
the maker measured (per 1 % of moisture). The indexes keep a big shop quick.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "advice_measured": """
        advice_id INTEGER NOT NULL REFERENCES advice(id),
        reading TEXT NOT NULL,
        probability REAL NOT NULL CHECK (probability BETWEEN 0 AND 1),
        PRIMARY KEY (advice_id, reading)""",
    "stock_details": """
        stock_id INTEGER PRIMARY KEY REFERENCES stocks(id),
        temperature_c REAL,
        humidity_percent REAL CHECK (humidity_percent BETWEEN 0 AND 100),
        radial REAL CHECK (radial > 0),
        tangential REAL CHECK (tangential > 0),
        CHECK ((temperature_c IS NULL) = (humidity_percent IS NULL))""",
}

#: So that what one setup asks for does not grow with the shop.
INDEXES = (
    "CREATE INDEX cuts_of_root ON cuts(COALESCE(root_id, id))",
    "CREATE INDEX versions_of_name ON setup_versions(name)",
)


def apply(db: Any) -> None:
    """Make the tables, append-only like the log, and the indexes."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
    for index in INDEXES:
        db.execute(index)

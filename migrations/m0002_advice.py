"""Step 2: advice is kept, so that it can be recomputed and scored.

Numbers are kept at full precision beside the form that was printed. ``overrides`` holds what was
asked for that call only (stakes, knowledge, pieces left) as JSON; ``seen_event_id`` is the last
event that the advice knew of, so that the log can be seen again as it was then.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "advice": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL UNIQUE REFERENCES events(id),
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        setup_version_id INTEGER NOT NULL REFERENCES setup_versions(id),
        mounting_id INTEGER REFERENCES mountings(id),
        seen_event_id INTEGER NOT NULL REFERENCES events(id),
        model_version TEXT NOT NULL,
        step TEXT NOT NULL,
        pieces_left INTEGER NOT NULL CHECK (pieces_left >= 0),
        probability_next REAL NOT NULL CHECK (probability_next BETWEEN 0 AND 1),
        probability_all REAL NOT NULL CHECK (probability_all BETWEEN 0 AND 1),
        cut_now_min REAL NOT NULL,
        best_min REAL NOT NULL,
        tests_expected REAL NOT NULL,
        overrides TEXT NOT NULL CHECK (json_valid(overrides)),
        published TEXT NOT NULL CHECK (json_valid(published))""",
    "advice_readings": """
        advice_id INTEGER NOT NULL REFERENCES advice(id),
        reading TEXT NOT NULL,
        target_mm REAL NOT NULL,
        low_mm REAL NOT NULL,
        high_mm REAL NOT NULL,
        expected_mm REAL NOT NULL,
        u_mm REAL NOT NULL,
        interval_low_mm REAL NOT NULL,
        interval_high_mm REAL NOT NULL,
        probability_next REAL NOT NULL,
        probability_all REAL NOT NULL,
        PRIMARY KEY (advice_id, reading)""",
    "advice_moves": """
        advice_id INTEGER NOT NULL REFERENCES advice(id),
        adjuster TEXT NOT NULL,
        from_mm REAL NOT NULL,
        to_mm REAL NOT NULL,
        how TEXT NOT NULL,
        PRIMARY KEY (advice_id, adjuster)""",
    "advice_cuts": """
        advice_id INTEGER NOT NULL REFERENCES advice(id),
        cut_id INTEGER NOT NULL REFERENCES cuts(id),
        PRIMARY KEY (advice_id, cut_id)""",
}


def apply(db: Any) -> None:
    """Make the tables of the advice, append-only like the log."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
    db.execute("CREATE INDEX advice_of_setup ON advice(setup_id)")

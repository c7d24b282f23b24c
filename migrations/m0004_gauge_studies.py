"""Step 4: what a gauge is held to, its repeat studies, and what a worked-out reading was worked out from.

``gauge_id`` is the first id of a gauge's chain. Of its details the latest row counts; of its studies the
latest one of each use. ``derived_from`` says by which factor each raw reading went into a measurement.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "gauge_details": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        gauge_id INTEGER NOT NULL REFERENCES gauges(id),
        inside_limit_mm REAL CHECK (inside_limit_mm > 0),
        zero_limit_mm REAL CHECK (zero_limit_mm > 0)""",
    "gauge_studies": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        gauge_id INTEGER NOT NULL REFERENCES gauges(id),
        held TEXT NOT NULL CHECK (held IN ('outside', 'inside', 'depth', 'travel')),
        repeat_sd_mm REAL NOT NULL CHECK (repeat_sd_mm >= 0),
        hand_sd_mm REAL CHECK (hand_sd_mm >= 0),
        dof INTEGER NOT NULL CHECK (dof > 0),
        source TEXT NOT NULL""",
    "gauge_study_values": """
        study_id INTEGER NOT NULL REFERENCES gauge_studies(id),
        place INTEGER NOT NULL,
        part TEXT NOT NULL,
        operator TEXT NOT NULL,
        value_mm REAL NOT NULL,
        text TEXT,
        PRIMARY KEY (study_id, place)""",
    "raw_readings": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        cut_id INTEGER NOT NULL REFERENCES cuts(id),
        name TEXT NOT NULL,
        value_mm REAL,
        low_mm REAL,
        high_mm REAL,
        pitches INTEGER CHECK (pitches > 0),
        text TEXT,
        gauge TEXT,
        CHECK ((value_mm IS NULL) = (low_mm IS NOT NULL)),
        CHECK ((low_mm IS NULL) = (high_mm IS NULL)),
        CHECK (low_mm IS NULL OR low_mm < high_mm)""",
    "derived_from": """
        measurement_id INTEGER NOT NULL REFERENCES measurements(id),
        raw_id INTEGER NOT NULL REFERENCES raw_readings(id),
        factor REAL NOT NULL,
        PRIMARY KEY (measurement_id, raw_id)""",
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
    db.execute("CREATE INDEX details_of_gauge ON gauge_details(gauge_id)")
    db.execute("CREATE INDEX studies_of_gauge ON gauge_studies(gauge_id)")
    db.execute("CREATE INDEX raws_of_cut ON raw_readings(cut_id)")
    db.execute("CREATE INDEX derived_of_raw ON derived_from(raw_id)")

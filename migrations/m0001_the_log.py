"""Step 1: what the shop has, what was set, moved and cut.

Every table is append-only, held so by triggers: a correction is a new row that names the one it
``replaces`` (``root_id`` is the first of such a chain), and an undo is a row too. Every row but
an undo's belongs to one event, the thing that the maker said in one breath.
"""

from __future__ import annotations

from typing import Any

TABLES = {
    "setups": """
        id INTEGER PRIMARY KEY,
        created TEXT NOT NULL""",
    "events": """
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at TEXT NOT NULL,
        kind TEXT NOT NULL,
        setup_id INTEGER REFERENCES setups(id),
        words TEXT NOT NULL,
        undoable INTEGER NOT NULL CHECK (undoable IN (0, 1))""",
    "undos": """
        event_id INTEGER PRIMARY KEY REFERENCES events(id),
        target INTEGER NOT NULL REFERENCES events(id),
        CHECK (target < event_id)""",
    "cutters": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        root_id INTEGER REFERENCES cutters(id),
        replaces INTEGER REFERENCES cutters(id),
        name TEXT NOT NULL,
        nominal_mm REAL CHECK (nominal_mm > 0),
        nominal_text TEXT,
        note TEXT""",
    "sharpenings": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        cutter_id INTEGER NOT NULL REFERENCES cutters(id),
        label TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('fitted', 'reground', 'replaced', 'imported')),
        metres_start REAL NOT NULL CHECK (metres_start >= 0),
        measured_mm REAL CHECK (measured_mm > 0),
        sharpened_when TEXT NOT NULL,
        note TEXT""",
    "stocks": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        root_id INTEGER REFERENCES stocks(id),
        replaces INTEGER REFERENCES stocks(id),
        name TEXT NOT NULL,
        species TEXT,
        thickness_mm REAL CHECK (thickness_mm > 0),
        moisture_percent REAL CHECK (moisture_percent >= 0),
        note TEXT""",
    "gauges": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        root_id INTEGER REFERENCES gauges(id),
        replaces INTEGER REFERENCES gauges(id),
        name TEXT NOT NULL,
        kind TEXT NOT NULL,
        resolution_mm REAL NOT NULL CHECK (resolution_mm > 0),
        limit_of_error_mm REAL CHECK (limit_of_error_mm >= 0),
        note TEXT""",
    "setup_versions": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        replaces INTEGER REFERENCES setup_versions(id),
        name TEXT NOT NULL,
        units TEXT NOT NULL CHECK (units IN ('mm', 'in')),
        joint_kind TEXT NOT NULL,
        cutter_id INTEGER NOT NULL REFERENCES cutters(id),
        pieces_left INTEGER NOT NULL CHECK (pieces_left >= 0),
        metres_per_piece_m REAL NOT NULL CHECK (metres_per_piece_m >= 0),
        content TEXT NOT NULL CHECK (json_valid(content))""",
    "mountings": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        number INTEGER NOT NULL CHECK (number > 0),
        label TEXT NOT NULL,
        cutter_id INTEGER NOT NULL REFERENCES cutters(id),
        stock TEXT,
        note TEXT""",
    "mounting_starts": """
        mounting_id INTEGER NOT NULL REFERENCES mountings(id),
        adjuster TEXT NOT NULL,
        setting_mm REAL NOT NULL,
        PRIMARY KEY (mounting_id, adjuster)""",
    "moves": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        adjuster TEXT NOT NULL,
        kind TEXT NOT NULL CHECK (kind IN ('advised', 'to', 'by', 'mounting')),
        from_mm REAL,
        to_mm REAL NOT NULL,
        change_mm REAL CHECK ((kind = 'by') = (change_mm IS NOT NULL)),
        text TEXT""",
    "cuts": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        root_id INTEGER REFERENCES cuts(id),
        replaces INTEGER REFERENCES cuts(id),
        number INTEGER NOT NULL CHECK (number > 0),
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        setup_version_id INTEGER NOT NULL REFERENCES setup_versions(id),
        mounting_id INTEGER NOT NULL REFERENCES mountings(id),
        sharpening_id INTEGER NOT NULL REFERENCES sharpenings(id),
        kind TEXT NOT NULL CHECK (kind IN ('test', 'good')),
        pieces INTEGER NOT NULL CHECK (pieces >= 0),
        metres_m REAL CHECK (metres_m >= 0),
        metres_text TEXT,
        stock TEXT,
        note TEXT,
        when_text TEXT,
        CHECK ((root_id IS NULL) = (replaces IS NULL))""",
    "cut_settings": """
        cut_id INTEGER NOT NULL REFERENCES cuts(id),
        adjuster TEXT NOT NULL,
        setting_mm REAL NOT NULL,
        moved INTEGER NOT NULL CHECK (moved IN (0, 1)),
        text TEXT,
        PRIMARY KEY (cut_id, adjuster)""",
    "measurements": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        cut_id INTEGER NOT NULL REFERENCES cuts(id),
        reading TEXT NOT NULL,
        value_mm REAL,
        low_mm REAL,
        high_mm REAL,
        text TEXT,
        gauge TEXT,
        replaces INTEGER REFERENCES measurements(id),
        CHECK ((value_mm IS NULL) = (low_mm IS NOT NULL)),
        CHECK ((low_mm IS NULL) = (high_mm IS NULL)),
        CHECK (low_mm IS NULL OR low_mm < high_mm)""",
    "feels": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        cut_id INTEGER NOT NULL REFERENCES cuts(id),
        word TEXT NOT NULL,
        text TEXT""",
    "imports": """
        id INTEGER PRIMARY KEY,
        event_id INTEGER NOT NULL REFERENCES events(id),
        setup_id INTEGER NOT NULL REFERENCES setups(id),
        digest TEXT NOT NULL""",
}

INDEXES = (
    "CREATE INDEX events_of_setup ON events(setup_id)",
    "CREATE INDEX undos_of_event ON undos(target)",
    "CREATE INDEX sharpenings_of_cutter ON sharpenings(cutter_id)",
    "CREATE INDEX versions_of_setup ON setup_versions(setup_id)",
    "CREATE INDEX mountings_of_setup ON mountings(setup_id)",
    "CREATE INDEX moves_of_setup ON moves(setup_id)",
    "CREATE INDEX cuts_of_setup ON cuts(setup_id)",
    "CREATE INDEX cuts_of_sharpening ON cuts(sharpening_id)",
    "CREATE UNIQUE INDEX number_on_the_piece ON cuts(number) WHERE replaces IS NULL",
    "CREATE INDEX measurements_of_cut ON measurements(cut_id)",
    "CREATE INDEX feels_of_cut ON feels(cut_id)",
)


def apply(db: Any) -> None:
    """Make the tables, their indexes and the triggers that keep them append-only."""
    for name, columns in TABLES.items():
        db.execute(f"CREATE TABLE {name} ({columns}\n    ) STRICT")
        for deed in ("UPDATE", "DELETE"):
            db.execute(
                f"CREATE TRIGGER {name}_no_{deed.lower()} BEFORE {deed} ON {name} BEGIN "
                f"SELECT RAISE(ABORT, '{name} is append-only'); END"
            )
    for index in INDEXES:
        db.execute(index)

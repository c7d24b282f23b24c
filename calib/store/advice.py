"""Advice as it was given, with what it used, at full precision."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable

from calib.decision.advice import Advice
from calib.store.events import NOW


def add(
    connection: sqlite3.Connection,
    event_id: int,
    setup_id: int,
    setup_version_id: int,
    mounting_id: int | None,
    seen_event_id: int,
    model_version: str,
    overrides: str,
    advice: Advice,
    cut_ids: Iterable[int],
) -> int:
    """Insert advice with its readings, its moves and the rows it used; return its id."""
    row = {
        "event_id": event_id,
        "setup_id": setup_id,
        "setup_version_id": setup_version_id,
        "mounting_id": mounting_id,
        "seen_event_id": seen_event_id,
        "model_version": model_version,
        "step": advice.step,
        "pieces_left": int(advice.pieces_left),
        "probability_next": _probability(advice.probability_next),
        "probability_all": _probability(advice.probability_all),
        "cut_now_min": float(advice.cut_now_min),
        "best_min": float(advice.best_min),
        "tests_expected": float(advice.tests_expected),
        "overrides": overrides,
        "published": json.dumps(advice.as_dict(), allow_nan=False),
    }
    cursor = connection.execute(
        f"INSERT INTO advice ({', '.join(row)}) VALUES ({', '.join('?' * len(row))})", list(row.values())
    )
    advice_id = int(cursor.lastrowid or 0)
    _add_parts(connection, advice_id, advice, cut_ids)
    return advice_id


def _add_parts(
    connection: sqlite3.Connection, advice_id: int, advice: Advice, cut_ids: Iterable[int]
) -> None:
    readings = [
        (advice_id, r.name, *map(float, (r.target_mm, r.low_mm, r.high_mm, r.expected_mm, r.u_mm)),
         *map(float, r.interval90_mm), _probability(r.probability_next), _probability(r.probability_all))
        for r in advice.readings
    ]  # fmt: skip
    connection.executemany(f"INSERT INTO advice_readings VALUES ({', '.join('?' * 11)})", readings)
    measured = [
        (advice_id, r.name, _probability(r.probability_measured))
        for r in advice.readings
        if r.probability_measured is not None
    ]
    connection.executemany("INSERT INTO advice_measured VALUES (?, ?, ?)", measured)
    moves = [(advice_id, m.adjuster, float(m.from_mm), float(m.to_mm), m.how) for m in advice.moves]
    connection.executemany("INSERT INTO advice_moves VALUES (?, ?, ?, ?, ?)", moves)
    used = [(advice_id, int(cut_id)) for cut_id in cut_ids]
    connection.executemany("INSERT INTO advice_cuts VALUES (?, ?)", used)


def of_setup(connection: sqlite3.Connection, setup_id: int, upto: int = NOW) -> list[sqlite3.Row]:
    """Return the advice given on a setup, oldest first, with its time ``at``."""
    return connection.execute(
        """SELECT advice.*, events.at FROM advice JOIN events ON events.id = advice.event_id
           WHERE advice.setup_id = ? AND advice.event_id <= ? ORDER BY advice.id""",
        (setup_id, upto),
    ).fetchall()


def moves_by_advice(connection: sqlite3.Connection, setup_id: int) -> dict[int, dict[str, float]]:
    """Return by advice id where its moves go: mm by adjuster."""
    found: dict[int, dict[str, float]] = {}
    rows = connection.execute(
        "SELECT m.* FROM advice_moves AS m JOIN advice ON advice.id = m.advice_id WHERE advice.setup_id = ? "
        "ORDER BY m.rowid",
        (setup_id,),
    )
    for row in rows:
        found.setdefault(row["advice_id"], {})[row["adjuster"]] = row["to_mm"]
    return found


def cuts_by_advice(connection: sqlite3.Connection, setup_id: int) -> dict[int, list[int]]:
    """Return by advice id the first ids of the cuts that it used, in order."""
    found: dict[int, list[int]] = {}
    rows = connection.execute(
        "SELECT used.advice_id, COALESCE(cuts.root_id, cuts.id) AS root FROM advice_cuts AS used "
        "JOIN advice ON advice.id = used.advice_id JOIN cuts ON cuts.id = used.cut_id "
        "WHERE advice.setup_id = ? ORDER BY root",
        (setup_id,),
    )
    for row in rows:
        found.setdefault(row["advice_id"], []).append(row["root"])
    return found


def readings_of(connection: sqlite3.Connection, advice_id: int) -> dict[str, sqlite3.Row]:
    """Return the stored expectation of each reading, at full precision."""
    rows = connection.execute("SELECT * FROM advice_readings WHERE advice_id = ?", (advice_id,))
    return {row["reading"]: row for row in rows}


def told_readings(connection: sqlite3.Connection, setup_id: int) -> dict[int, list[sqlite3.Row]]:
    """Return by advice id what was told of each reading; ``probability_measured`` may be NULL."""
    found: dict[int, list[sqlite3.Row]] = {}
    rows = connection.execute(
        """SELECT r.*, m.probability AS probability_measured FROM advice
           JOIN advice_readings AS r ON r.advice_id = advice.id
           LEFT JOIN advice_measured AS m ON m.advice_id = r.advice_id AND m.reading = r.reading
           WHERE advice.setup_id = ?""",
        (setup_id,),
    )
    for row in rows:
        found.setdefault(row["advice_id"], []).append(row)
    return found


def latest(connection: sqlite3.Connection, setup_id: int) -> sqlite3.Row | None:
    """Return the last advice given on a setup, or None."""
    row: sqlite3.Row | None = connection.execute(
        "SELECT * FROM advice WHERE setup_id = ? ORDER BY id DESC LIMIT 1", (setup_id,)
    ).fetchone()
    return row


def _probability(value: float) -> float:
    """Take off what rounding may have put beyond 0 or 1."""
    return min(max(float(value), 0.0), 1.0)

"""What mountings taught, kept so that it need not be worked out again; and kept joints."""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Mapping, Sequence
from typing import Any


def state_of(connection: sqlite3.Connection, digests: Sequence[str]) -> tuple[str, dict[str, Any]] | None:
    """Return the first of these digests that is kept, with its state, or None."""
    for digest in digests:
        row = connection.execute("SELECT state FROM learned WHERE digest = ?", (digest,)).fetchone()
        if row is not None:
            return digest, json.loads(zlib.decompress(row["state"]))
    return None


def add(
    connection: sqlite3.Connection,
    setup_id: int,
    mounting_id: int,
    digest: str,
    versions: tuple[str, str],
    made: str,
    state: Mapping[str, Any],
) -> None:
    """Keep a state; one that is kept already is left alone. `versions` are those of model and grid."""
    packed = zlib.compress(json.dumps(state, allow_nan=False).encode(), 1)
    connection.execute(
        "INSERT OR IGNORE INTO learned "
        "(setup_id, mounting_id, digest, model_version, grid_version, made, state) "
        "VALUES (?, ?, ?, ?, ?, ?, ?)",
        (setup_id, mounting_id, digest, *versions, made, packed),
    )


def add_kept_joint(connection: sqlite3.Connection, mounting_id: int, joint: str) -> None:
    """Write which kept joint served as the gauge for putting a mounting back."""
    connection.execute("INSERT INTO kept_joints (mounting_id, joint) VALUES (?, ?)", (mounting_id, joint))


def kept_joints(connection: sqlite3.Connection, setup_id: int) -> dict[int, str]:
    """Return by mounting id the kept joint that it was put back with."""
    rows = connection.execute(
        "SELECT k.mounting_id, k.joint FROM kept_joints AS k JOIN mountings AS m ON m.id = k.mounting_id "
        "WHERE m.setup_id = ?",
        (setup_id,),
    )
    return {row["mounting_id"]: row["joint"] for row in rows}

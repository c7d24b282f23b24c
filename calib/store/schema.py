"""Bringing a database to this program's schema; a copy is kept first."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from calib.errors import CalibError
from calib.migrations import SET, STEPS
from calib.store.database import transaction
from calib.store.loading import database_of, looking_absent


def applied_steps(connection: sqlite3.Connection) -> list[str]:
    """Return the names of the steps that a database has had, in order; empty for a new one."""
    if not _has_table(connection, "_sqlite_migrations"):
        return []
    rows = connection.execute(
        "SELECT name FROM _sqlite_migrations WHERE migration_set = ? ORDER BY rowid", (SET,)
    )
    return [row[0] for row in rows]


def pending_steps(connection: sqlite3.Connection, path: Path) -> list[str]:
    """Return the steps that are still to run; `CalibError` for a newer or a foreign database."""
    applied = applied_steps(connection)
    newer = [name for name in applied if name not in STEPS]
    if newer:
        raise CalibError(
            f"{path}: written by a newer calib (it has step {newer[0]}). "
            "Update calib, or name another file with --db."
        )
    if not applied and connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone():
        raise CalibError(f"{path}: this is not a calib database. Name another file with --db.")
    return [name for name in STEPS if name not in applied]


def migrate(connection: sqlite3.Connection, path: Path, *, stop_before: str | None = None) -> list[str]:
    """Run the steps that are missing, all in one transaction, and return their names.

    A database that already holds a schema is copied beside itself first
    (``shop.before-0002.db``). Two programs that open at once take turns: the second finds
    nothing left to do.
    """
    if not pending_steps(connection, path):
        return []
    with transaction(connection):
        pending = pending_steps(connection, path)
        if pending and applied_steps(connection):
            copy_beside(path, pending[0])
        with looking_absent("pandas"):
            from calib.migrations.steps import registered
        registered().apply(database_of(connection), stop_before=stop_before)
        return [name for name in pending if name in applied_steps(connection)]


def copy_beside(path: Path, step: str) -> Path:
    """Copy the database as it was last committed, and never over an earlier copy."""
    number = step[1:5]
    target = path.with_name(f"{path.stem}.before-{number}.db")
    count = 2
    while target.exists():
        target = path.with_name(f"{path.stem}.before-{number}-{count}.db")
        count += 1
    copy_to(path, target)
    return target


def copy_to(path: Path, target: Path) -> None:
    """Copy a whole database, also while another program writes to it; an unfinished copy is not left."""
    source = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
    copy = sqlite3.connect(target)
    try:
        source.backup(copy)
        copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
    except BaseException:
        copy.close()
        target.unlink(missing_ok=True)
        raise
    finally:
        copy.close()
        source.close()


def _has_table(connection: sqlite3.Connection, name: str) -> bool:
    found = connection.execute("SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?", (name,))
    return found.fetchone() is not None


def is_shop(path: Path) -> bool:
    """Return whether a file is a calib database, of whatever age."""
    try:
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)
        try:
            return bool(applied_steps(connection))
        finally:
            connection.close()
    except sqlite3.DatabaseError:
        return False


def faults(connection: sqlite3.Connection) -> list[str]:
    """Return what is wrong with the file itself: damage, broken references, missing triggers."""
    found = [f"the file is damaged: {row[0]}." for row in connection.execute("PRAGMA integrity_check")]
    found = [line for line in found if line != "the file is damaged: ok."]
    for row in connection.execute("PRAGMA foreign_key_check"):
        found.append(f"row {row[1]} of {row[0]} refers to a row of {row[2]} that is not there.")
    names = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")}
    for table in own_tables(connection):
        for deed in ("update", "delete"):
            if f"{table}_no_{deed}" not in names:
                found.append(f"{table} is not kept from {deed}: its trigger is missing.")
    return found


def own_tables(connection: sqlite3.Connection) -> list[str]:
    """Return the names of the tables that hold the shop's rows."""
    rows = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' "
        "AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' AND name <> '_sqlite_migrations' ORDER BY name"
    )
    return [row[0] for row in rows]

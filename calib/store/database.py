"""Opening the file, one transaction a command, and what can go wrong in one line.

Every command is one ``BEGIN IMMEDIATE`` ... ``COMMIT`` with ``synchronous=FULL``: what was
acknowledged is on the disk, what was not has never happened.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from calib.errors import CalibError

#: How long to wait for another program that writes, in ms.
BUSY_MS = 5000


def connect(path: Path, *, read_only: bool = False) -> sqlite3.Connection:
    """Open a database file (made when missing, unless read only) with the shop's settings on."""
    if read_only and not path.exists():
        raise CalibError(f"{path}: there is no database here. Name one with --db, or log something first.")
    mode = "ro" if read_only else "rwc"
    uri = f"{path.resolve().as_uri()}?mode={mode}"
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, timeout=BUSY_MS / 1000)
    try:
        prepare(connection, read_only=read_only)
    except BaseException:
        connection.close()
        raise
    return connection


def prepare(connection: sqlite3.Connection, *, read_only: bool) -> None:
    """Set what SQLite does not remember in the file, and WAL, which it does."""
    connection.row_factory = sqlite3.Row
    connection.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA recursive_triggers = ON")  # else INSERT OR REPLACE deletes past a trigger
    if not read_only:
        _write_ahead(connection)
        connection.execute("PRAGMA synchronous = FULL")


def _write_ahead(connection: sqlite3.Connection) -> None:
    """Switch to WAL; two programs that make the file at once get in each other's way, so try again."""
    deadline = time.monotonic() + BUSY_MS / 1000
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


@contextmanager
def transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Run one command: all of it or nothing; inside another transaction it is part of that one."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


@contextmanager
def snapshot(connection: sqlite3.Connection) -> Iterator[None]:
    """Read several tables as they were at one moment."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        if connection.in_transaction:
            connection.execute("ROLLBACK")


#: A piece of SQLite's own text, and what the maker is told.
_PLAIN_WORDS = (
    ("not a database", "this is not a calib database. Name another file with --db."),
    ("unable to open database file", "the file cannot be opened. Check that the folder exists and is yours."),
    ("readonly database", "the file or its folder cannot be written. Name another file with --db."),
    ("disk is full", "the disk is full; nothing was stored. Make room and say it again."),
    ("disk I/O error", "the disk does not answer; nothing was stored. Check it, and keep your backup."),
    (
        "database is locked",
        "another program holds the database; nothing was stored. Close it, say it again.",
    ),
    ("malformed", "the file is damaged. Go back to your last backup (calib backup makes them)."),
)


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn what SQLite says of the file, the disk or the lock into one plain line."""
    try:
        yield
    except (sqlite3.OperationalError, sqlite3.DatabaseError) as error:
        for found, told in _PLAIN_WORDS:
            if found in str(error):
                raise CalibError(f"{path}: {told}") from error
        raise

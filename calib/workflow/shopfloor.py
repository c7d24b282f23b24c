"""The open shop: one database, one clock.

>>> from tempfile import TemporaryDirectory
>>> with TemporaryDirectory() as folder, open_shop(Path(folder) / "shop.db") as shop:
...     shop.read_only
False
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from calib.errors import CalibError
from calib.store.database import connect, explained, transaction
from calib.store.schema import migrate, pending_steps


def wall_clock() -> str:
    """Return the time of the shop's clock, ISO 8601 with seconds and zone."""
    return datetime.now().astimezone().isoformat(timespec="seconds")


@dataclass(frozen=True)
class Shop:
    """An open database and the clock that dates what is written to it."""

    connection: sqlite3.Connection
    path: Path
    now: Callable[[], str] = wall_clock
    read_only: bool = False

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """Run one command in one transaction; `CalibError` when the shop was opened read only."""
        if self.read_only:
            raise CalibError(f"{self.path}: opened to read only; nothing was stored.")
        with transaction(self.connection):
            yield self.connection


def database_path(path: Path | None = None) -> Path:
    """Return where the shop's database is: the path given, else CALIB_DB, else the user's data folder."""
    if path is not None:
        return Path(path).expanduser()
    named = os.environ.get("CALIB_DB")
    if named:
        return Path(named).expanduser()
    import platformdirs  # not needed when the file is named

    return Path(platformdirs.user_data_dir("calib", appauthor=False)) / "calib.db"


@contextmanager
def open_shop(
    path: Path | None = None, *, now: Callable[[], str] = wall_clock, read_only: bool = False
) -> Iterator[Shop]:
    """Open (and create or migrate, unless read only) the shop's database, and close it afterwards.

    Raises `CalibError` in one line for a folder that cannot be written, a file that is no database,
    a database that a newer program wrote, one that another program holds, or a full disk; with
    ``read_only`` also when there is no database yet or it needs a migration.
    """
    where = database_path(path)
    if not read_only:
        _make_folder(where)
    with explained(where):
        connection = connect(where, read_only=read_only)
        try:
            _bring_up_to_date(connection, where, read_only)
            yield Shop(connection, where, now, read_only)
        finally:
            connection.close()


def _make_folder(where: Path) -> None:
    """Make the folder, and say plainly when it or the file cannot be written."""
    try:
        where.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CalibError(
            f"{where.parent}: the folder cannot be made ({error.strerror}). Name another file with --db."
        ) from None
    if where.is_dir():
        raise CalibError(f"{where}: this is a folder. Name a file in it with --db.")
    if not os.access(where.parent, os.W_OK):
        raise CalibError(f"{where.parent}: the folder cannot be written. Name another file with --db.")


def _bring_up_to_date(connection: sqlite3.Connection, where: Path, read_only: bool) -> None:
    if not read_only:
        migrate(connection, where)
    elif pending_steps(connection, where):
        raise CalibError(f"{where}: written by an older calib. Any command that logs something updates it.")

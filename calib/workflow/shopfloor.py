"""The open shop: one database, one clock.

>>> from pathlib import Path
>>> from tempfile import TemporaryDirectory
>>> with TemporaryDirectory() as folder, open_shop(Path(folder) / "shop.db") as shop:
...     shop.read_only
False
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path


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


def database_path(path: Path | None = None) -> Path:
    """Return where the shop's database is: the path given, else CALIB_DB, else the user's data folder."""
    raise NotImplementedError


@contextmanager
def open_shop(
    path: Path | None = None, *, now: Callable[[], str] = wall_clock, read_only: bool = False
) -> Iterator[Shop]:
    """Open (and create or migrate, unless read only) the shop's database, and close it afterwards.

    Raises `CalibError` in one line for a folder that cannot be written, a file that is no database,
    a database that a newer program wrote, one that another program holds, or a full disk; with
    ``read_only`` also when there is no database yet or it needs a migration.
    """
    raise NotImplementedError
    yield

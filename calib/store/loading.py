"""sqlite-utils, loaded late and without the heavy package that it would pull in.

It imports pandas when that happens to be installed, only to recognise its column types. Nothing
here has such columns, so pandas is made to look absent for the length of that one import.
"""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def looking_absent(name: str) -> Iterator[None]:
    """Make a package that is not loaded yet look as if it were not installed."""
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[name]


def database_of(connection: sqlite3.Connection) -> Any:
    """Return a sqlite-utils database on an open connection; it takes part in its transactions."""
    with looking_absent("pandas"):
        import sqlite_utils
    return sqlite_utils.Database(connection, execute_plugins=False)


def insert(connection: sqlite3.Connection, table: str, row: dict[str, Any]) -> int:
    """Insert one row with sqlite-utils and return its id (for what is written seldom)."""
    return int(database_of(connection)[table].insert(row).last_pk)

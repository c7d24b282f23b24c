"""Nothing acknowledged is lost, nothing is overwritten, and what goes wrong is said in one line."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from shopkit import CORNERS, cut

from calib.errors import CalibError
from calib.store.database import explained, transaction
from calib.store.schema import own_tables
from calib.workflow import history, setups
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop, database_path, open_shop

HEAVY = ("statsmodels", "scipy", "pandas")


def python(code: str, *words: str) -> subprocess.CompletedProcess[str]:
    """Run a piece of Python in a process of its own."""
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *words],
        capture_output=True, text=True, check=False, cwd=Path(__file__).parent,
    )  # fmt: skip


# --- append-only ---------------------------------------------------------------------------------


def test_no_row_of_any_table_can_be_changed_or_deleted(corners: Shop, thumb: None) -> None:
    """Triggers hold it, whoever writes; INSERT OR REPLACE does not slip past them."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07, feel="mallet")
    next_step(corners, "chest-corners")
    filled = 0
    for table in own_tables(corners.connection):
        found = corners.connection.execute(f"SELECT rowid, * FROM {table} LIMIT 1").fetchone()
        if found is None:
            continue
        filled += 1
        column = found.keys()[1]
        for statement in (
            f"UPDATE {table} SET {column} = {column}",
            f"DELETE FROM {table}",
            f"INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
        ):
            with pytest.raises(sqlite3.IntegrityError, match=f"{table} is append-only"):
                corners.connection.execute(statement)
    assert filled >= 12


def test_a_missing_row_cannot_be_referred_to(corners: Shop) -> None:
    """Foreign keys are on."""
    with pytest.raises(sqlite3.IntegrityError, match="FOREIGN KEY"):
        corners.connection.execute("INSERT INTO feels (event_id, cut_id, word) VALUES (1, 999, 'mallet')")


def test_a_value_that_is_no_number_is_refused_by_the_table(corners: Shop) -> None:
    """NaN would be kept as NULL, and a numpy integer as bytes; neither gets in."""
    logged = cut(corners, key=6.14, height=8.1, clearance=-0.07)
    for value in (float("nan"), b"\x01\x00\x00\x00\x00\x00\x00\x00"):
        with pytest.raises(sqlite3.IntegrityError):
            corners.connection.execute(
                "INSERT INTO cut_settings (cut_id, adjuster, setting_mm, moved) VALUES (?, 'x', ?, 0)",
                (logged.number, value),
            )


def test_numpy_numbers_are_stored_as_plain_ones(corners: Shop) -> None:
    """What the core hands over goes in as numbers."""
    import numpy as np

    logged = cut(corners, key=np.float64(6.14), height=np.float32(8.5), clearance=np.float64(-0.07))
    kinds = corners.connection.execute("SELECT DISTINCT typeof(setting_mm) FROM cut_settings").fetchall()
    assert [row[0] for row in kinds] == ["real"]
    assert logged.cut.settings_mm == {"key": 6.14, "height": 8.5}


# --- killed, and two at once ---------------------------------------------------------------------

LOG_FOREVER = """
    import os, sys
    from pathlib import Path
    from shopkit import cut
    from calib.workflow.shopfloor import open_shop
    with open_shop(Path(sys.argv[1])) as shop:
        while True:
            print(cut(shop, key=6.14, height=8.1, clearance=-0.07).number, flush=True)
"""


def test_a_kill_loses_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """Killed with SIGKILL while it logs one cut after the other: every printed number is there, whole."""
    path = _shop_with_corners(tmp_path)
    logger = subprocess.Popen(
        [sys.executable, "-c", textwrap.dedent(LOG_FOREVER), str(path)],
        stdout=subprocess.PIPE, text=True, cwd=Path(__file__).parent,
    )  # fmt: skip
    assert logger.stdout is not None
    acknowledged = [int(logger.stdout.readline()) for _ in range(5)]
    logger.kill()
    acknowledged += [int(line) for line in logger.stdout.read().split()]
    logger.wait()
    logger.stdout.close()
    with open_shop(path) as shop:
        _, cuts = history.log_of(shop, "chest-corners")
        assert {c.number for c in cuts} >= set(acknowledged)
        assert all(c.readings == {"clearance": (-0.07,)} for c in cuts)
        assert cut(shop, clearance=0.01).number == len(cuts) + 1


def test_a_kill_in_the_middle_of_a_command_leaves_nothing_of_it(tmp_path: Path) -> None:
    """The cut's row was written, its readings were not yet: after the kill there is no cut."""
    path = _shop_with_corners(tmp_path)
    died = python(
        """
        import os, signal, sys
        from pathlib import Path
        from shopkit import cut
        from calib.store import cuts
        from calib.workflow.shopfloor import open_shop
        cuts.add_measurements = lambda *a, **k: os.kill(os.getpid(), signal.SIGKILL)
        with open_shop(Path(sys.argv[1])) as shop:
            cut(shop, key=6.14, height=8.1, clearance=-0.07)
        """,
        str(path),
    )
    assert died.returncode == -9, died.stderr
    with open_shop(path) as shop:
        assert history.log_of(shop, "chest-corners")[1] == []
        assert cut(shop, key=6.14, height=8.1, clearance=-0.07).number == 1


def test_two_programs_that_write_at_once_both_succeed(tmp_path: Path) -> None:
    """Every cut is there and no number was given twice."""
    path = _shop_with_corners(tmp_path)
    code = textwrap.dedent(LOG_FOREVER).replace("while True", "for _ in range(25)")
    loggers = [
        subprocess.Popen(
            [sys.executable, "-c", code, str(path)],
            stdout=subprocess.PIPE,
            text=True,
            cwd=Path(__file__).parent,
        )
        for _ in range(2)
    ]
    numbers = [int(line) for logger in loggers for line in logger.communicate()[0].split()]
    assert [logger.returncode for logger in loggers] == [0, 0]
    assert sorted(numbers) == list(range(1, 51))


def test_two_programs_that_make_the_database_at_once_both_succeed(tmp_path: Path) -> None:
    """The second finds nothing left to migrate."""
    code = "import sys; from pathlib import Path; from calib.workflow.shopfloor import open_shop\n"
    code += "with open_shop(Path(sys.argv[1])): print('open')"
    path = str(tmp_path / "new" / "shop.db")
    openers = [
        subprocess.Popen([sys.executable, "-c", code, path], stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    assert [opener.communicate()[0].strip() for opener in openers] == ["open"] * 3


def _shop_with_corners(tmp_path: Path) -> Path:
    path = tmp_path / "shop.db"
    with open_shop(path) as shop:
        setups.add(shop, CORNERS)
    return path


# --- what goes wrong, in one line ----------------------------------------------------------------


def _refused(path: Path, message: str, *, read_only: bool = False) -> None:
    with pytest.raises(CalibError, match=message) as error, open_shop(path, read_only=read_only):
        pass
    assert "\n" not in str(error.value)


def test_a_file_that_is_no_database_is_refused(tmp_path: Path) -> None:
    """And left as it was."""
    path = tmp_path / "letter.db"
    path.write_text("Dear customer, " * 100)
    _refused(path, "letter.db: this is not a calib database")
    assert path.read_text().startswith("Dear customer")


def test_another_programs_database_is_refused(tmp_path: Path) -> None:
    """SQLite, but not ours: nothing is added to it."""
    path = tmp_path / "music.db"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE songs (name TEXT)")
    connection.close()
    _refused(path, "music.db: this is not a calib database")
    connection = sqlite3.connect(path)
    assert own_tables(connection) == ["songs"]
    connection.close()


def test_a_folder_in_place_of_the_file_is_refused(tmp_path: Path) -> None:
    """A slip on the command line."""
    _refused(tmp_path, "this is a folder")


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may write anywhere")
def test_a_folder_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    """Before anything is tried."""
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(0o500)
    _refused(folder / "shop.db", "locked: the folder cannot be written")
    _refused(folder / "deeper" / "shop.db", "the folder cannot be made")


def test_no_write_access_is_said_of_the_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same as above, for whoever runs the tests as superuser."""
    monkeypatch.setattr("os.access", lambda path, mode: False)
    _refused(tmp_path / "shop.db", "the folder cannot be written")


def test_a_file_in_the_way_of_the_folder_is_refused(tmp_path: Path) -> None:
    """The folder of the database cannot be made."""
    (tmp_path / "shop").write_text("a file")
    _refused(tmp_path / "shop" / "shop.db", "the folder cannot be made")


def test_reading_only_needs_a_database(tmp_path: Path) -> None:
    """And makes none."""
    _refused(tmp_path / "shop.db", "there is no database here", read_only=True)
    assert list(tmp_path.iterdir()) == []


def test_reading_only_writes_nothing(tmp_path: Path) -> None:
    """Completion looks names up while somebody types."""
    path = _shop_with_corners(tmp_path)
    with open_shop(path, read_only=True) as shop:
        assert [setup.name for setup in setups.all(shop)] == ["chest-corners"]
        with pytest.raises(CalibError, match="opened to read only"):
            cut(shop, key=6.14, height=8.1, clearance=-0.07)


def test_a_full_disk_is_one_line_and_stores_nothing(corners: Shop) -> None:
    """The database may not grow any more: the cut is refused whole."""
    pages = corners.connection.execute("PRAGMA page_count").fetchone()[0]
    corners.connection.execute(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(CalibError, match="the disk is full; nothing was stored"), explained(corners.path):
        _cut_200_times(corners)
    _, cuts = history.log_of(corners, "chest-corners")
    assert all(c.readings == {"clearance": (-0.07,)} for c in cuts)
    assert corners.connection.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def _cut_200_times(shop: Shop) -> None:
    for _ in range(200):
        cut(shop, key=6.14, height=8.1, clearance=-0.07, note="x" * 500)


def test_a_database_that_another_program_holds_is_said_so(
    corners: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After waiting; here the wait is cut short."""
    monkeypatch.setattr("calib.store.database.BUSY_MS", 10)
    with (
        transaction(corners.connection),
        pytest.raises(CalibError, match="another program holds the database; nothing was stored"),
        open_shop(corners.path) as second,
    ):
        cut(second, key=6.14, height=8.1, clearance=-0.07)


def test_a_programming_mistake_stays_a_traceback(corners: Shop) -> None:
    """Only what the maker can mend becomes a line."""
    with pytest.raises(sqlite3.OperationalError, match="no such table"), explained(corners.path):
        corners.connection.execute("SELECT * FROM nowhere")


# --- where it is, and what it loads --------------------------------------------------------------


def test_the_database_is_the_one_named_else_that_of_the_environment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """--db, CALIB_DB, else the user's data folder."""
    monkeypatch.setenv("CALIB_DB", str(tmp_path / "env.db"))
    assert database_path(tmp_path / "named.db") == tmp_path / "named.db"
    assert database_path() == tmp_path / "env.db"
    monkeypatch.delenv("CALIB_DB")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("HOME", str(tmp_path))
    assert database_path().name == "calib.db"
    assert database_path().parent.name == "calib"


def test_the_settings_of_the_file_are_on(corners: Shop) -> None:
    """WAL, full synchronisation, foreign keys, a wait for others."""
    found = {
        name: corners.connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "synchronous", "foreign_keys", "recursive_triggers", "busy_timeout")
    }
    assert found == {
        "journal_mode": "wal",
        "synchronous": 2,
        "foreign_keys": 1,
        "recursive_triggers": 1,
        "busy_timeout": 5000,
    }


def test_a_cut_and_the_history_load_nothing_heavy(tmp_path: Path) -> None:
    """A new database (its migration too), a setup, a cut, the log: no statsmodels, scipy or pandas."""
    code = f"""
        import sys
        from pathlib import Path
        from shopkit import CORNERS, cut
        from calib.workflow import history, setups
        from calib.workflow.shopfloor import open_shop
        with open_shop(Path(sys.argv[1])) as shop:
            if not setups.all(shop):
                setups.add(shop, CORNERS)
                sys.exit(bool([m for m in {HEAVY} if m in sys.modules]))
            cut(shop, key=6.14, height=8.1, clearance=-0.07)
            history.history(shop, "chest-corners")
        print([m for m in {(*HEAVY, "sqlite_utils")} if m in sys.modules])
        import pandas  # it was only made to look absent
    """
    path = str(tmp_path / "shop.db")
    first = python(code, path)
    assert first.returncode == 0, first.stderr
    second = python(code, path)
    assert second.stdout.strip() == "[]", second.stderr
    assert second.returncode == 0, second.stderr


def test_a_heavy_package_is_only_made_to_look_absent_for_one_import(tmp_path: Path) -> None:
    """Afterwards it can be imported as ever."""
    code = """
        import sqlite3, sys
        from calib.store.loading import database_of
        database_of(sqlite3.connect(":memory:"))
        assert "pandas" not in sys.modules and "sqlite_utils" in sys.modules
        import pandas
        print(pandas.DataFrame({"a": [1]}).shape)
    """
    ran = python(code)
    assert ran.stdout.strip() == "(1, 1)", ran.stderr

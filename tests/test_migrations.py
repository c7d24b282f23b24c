"""Every earlier schema, with and without rows, comes to this one; a copy is kept; a newer one is refused."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from calib.migrations import STEPS
from shopkit import ticking

from calib.errors import CalibError
from calib.store.database import connect
from calib.store.loading import database_of
from calib.store.schema import applied_steps, faults, migrate, own_tables
from calib.workflow import history, setups
from calib.workflow.shopfloor import open_shop


def _rows_of_step_1(connection: sqlite3.Connection) -> None:
    """Fill every table of step 1 as that step's program would have."""
    setup = (
        '{"name": "old", "joint": {"kind": "plain"}, '
        '"adjusters": [{"name": "stop", "moves": {"width": 1.0}}], '
        '"bands": [{"name": "width", "target_mm": 10.0, "low_mm": 9.9, "high_mm": 10.1}]}'
    )
    for statement, values in (
        ("INSERT INTO setups VALUES (1, '2024-01-01')", ()),
        ("INSERT INTO events VALUES (1, '2024-01-01', 'setup', 1, 'setup old', 1)", ()),
        ("INSERT INTO events VALUES (2, '2024-01-02', 'cut', 1, 'cut 1 on old', 1)", ()),
        ("INSERT INTO events VALUES (3, '2024-01-03', 'move', 1, 'the move of the stop on old', 1)", ()),
        ("INSERT INTO events VALUES (4, '2024-01-04', 'undo', 1, 'the move of the stop on old', 0)", ()),
        ("INSERT INTO undos VALUES (4, 3)", ()),
        ("INSERT INTO cutters VALUES (1, 1, NULL, NULL, 'blade', 3.0, '3', NULL)", ()),
        ("INSERT INTO sharpenings VALUES (1, 1, 1, 'blade #1', 'fitted', 0.0, NULL, '2024-01-01', NULL)", ()),
        ("INSERT INTO stocks VALUES (1, 1, NULL, NULL, 'cherry', NULL, NULL, NULL, NULL)", ()),
        ("INSERT INTO gauges VALUES (1, 1, NULL, NULL, 'callipers', 'calliper', 0.01, NULL, NULL)", ()),
        ("INSERT INTO setup_versions VALUES (1, 1, 1, NULL, 'old', 'mm', 'plain', 1, 4, 0.1, ?)", (setup,)),
        ("INSERT INTO mountings VALUES (1, 2, 1, 1, '1', 1, 'cherry', NULL)", ()),
        ("INSERT INTO mounting_starts VALUES (1, 'stop', 12.0)", ()),
        ("INSERT INTO moves VALUES (1, 3, 1, 'stop', 'to', 12.0, 12.5, NULL, '12.5')", ()),
        (
            "INSERT INTO cuts VALUES "
            "(1, 2, NULL, NULL, 1, 1, 1, 1, 1, 'test', 1, NULL, NULL, 'cherry', 'first', NULL)",
            (),
        ),
        ("INSERT INTO cut_settings VALUES (1, 'stop', 12.0, 0, '12')", ()),
        (
            "INSERT INTO measurements VALUES (1, 2, 1, 'width', 10.2, NULL, NULL, '10.2', 'callipers', NULL)",
            (),
        ),
        ("INSERT INTO feels VALUES (1, 2, 1, 'tight', NULL)", ()),
        ("INSERT INTO imports VALUES (1, 1, 1, 'abc')", ()),
    ):
        connection.execute(statement, values)


def _rows_of_step_2(connection: sqlite3.Connection) -> None:
    """Fill the tables of the advice as step 2's program would have."""
    for statement in (
        "INSERT INTO events VALUES (5, '2024-01-05', 'advice', 1, 'advice on old', 0)",
        "INSERT INTO advice VALUES "
        "(1, 5, 1, 1, 1, 2, '0', 'cut_good', 4, 0.9, 0.7, 9.0, 8.0, 0.0, '{}', '{}')",
        "INSERT INTO advice_readings VALUES (1, 'width', 10.0, 9.9, 10.1, 10.0, 0.02, 9.97, 10.03, 0.9, 0.7)",
        "INSERT INTO advice_moves VALUES (1, 'stop', 12.0, 11.8, 'by hand')",
        "INSERT INTO advice_cuts VALUES (1, 1)",
    ):
        connection.execute(statement)


def _rows_of_step_3(connection: sqlite3.Connection) -> None:
    """Fill the tables of the boxes as step 3's program would have."""
    for statement in (
        "INSERT INTO events VALUES (6, '2024-01-06', 'box', NULL, 'box chest', 1)",
        "INSERT INTO boxes VALUES (1, 6, NULL, NULL, 'chest', 1, 0, '{}', '{}', '{}', 0.9)",
        "INSERT INTO box_parts VALUES (1, 6, 1, 'corners', 1, 8)",
        "INSERT INTO box_work VALUES (1, 6, 1, 1)",
    ):
        connection.execute(statement)


def _rows_of_step_4(connection: sqlite3.Connection) -> None:
    """Fill the tables of gauges and raw readings."""
    for statement in (
        "INSERT INTO gauge_details VALUES (1, 1, 1, 0.04, 0.02)",
        "INSERT INTO gauge_studies VALUES (1, 1, 1, 'outside', 0.01, NULL, 10, 'typed')",
        "INSERT INTO gauge_study_values VALUES (1, 0, 'a', 'one person', 6.02, '6.02')",
        "INSERT INTO raw_readings VALUES (1, 2, 1, 'thickness', 18.2, NULL, NULL, NULL, '18.2', 'callipers')",
        "INSERT INTO derived_from VALUES (1, 1, 1.0)",
    ):
        connection.execute(statement)


def _rows_of_step_5(connection: sqlite3.Connection) -> None:
    """Fill the tables of words and hands."""
    connection.execute("INSERT INTO felt_by VALUES (1, 2, 'ada')")
    connection.execute("INSERT INTO feel_words VALUES (1, 1, 'plain', 'tight', 'eng', NULL, NULL)")


def _rows_of_step_6(connection: sqlite3.Connection) -> None:
    """Fill every table of step 6."""
    connection.execute("INSERT INTO advice_measured VALUES (1, 'width', 0.4)")
    connection.execute("INSERT INTO stock_details VALUES (1, 21.0, 40.0, NULL, 0.0025)")


def _rows_of_step_7(connection: sqlite3.Connection) -> None:
    """Fill the table of step 7."""
    connection.execute("INSERT INTO stock_abrasiveness VALUES (1, 1, 'cherry', 1.2)")


def _rows_of_step_8(connection: sqlite3.Connection) -> None:
    """A state of the setup of step 1, and a kept joint."""
    connection.execute(
        "INSERT INTO learned VALUES (1, 1, 1, 'abc', '2', '1', '2024-01-06', x'789c030000000001')"
    )
    connection.execute("INSERT INTO kept_joints VALUES (1, 'the corner in the drawer')")


#: What fills the tables that a step added, by the step's name.
FILL: dict[str, Callable[[sqlite3.Connection], None]] = {
    "m0001_the_log": _rows_of_step_1,
    "m0002_advice": _rows_of_step_2,
    "m0003_boxes": _rows_of_step_3,
    "m0004_gauge_studies": _rows_of_step_4,
    "m0005_hands": _rows_of_step_5,
    "m0006_scores_and_stocks": _rows_of_step_6,
    "m0007_abrasiveness": _rows_of_step_7,
    "m0008_learned": _rows_of_step_8,
}


def _at_schema(path: Path, steps: int, *, filled: bool) -> None:
    """Make a database that has had the first steps, as the program of that time would have left it."""
    connection = connect(path)
    migrate(connection, path, stop_before=STEPS[steps] if steps < len(STEPS) else None)
    if filled:
        for name in STEPS[:steps]:
            FILL[name](connection)
    connection.close()


def _all_rows(path: Path) -> dict[str, list[tuple[object, ...]]]:
    connection = sqlite3.connect(path)
    rows = {t: connection.execute(f"SELECT * FROM {t}").fetchall() for t in own_tables(connection)}
    connection.close()
    return rows


@pytest.mark.parametrize("steps", range(1, len(STEPS)))
@pytest.mark.parametrize("filled", [False, True])
def test_every_earlier_schema_becomes_this_one_and_loses_no_row(
    tmp_path: Path, steps: int, filled: bool
) -> None:
    """Rows are as they were, the schema is that of a new database, and nothing is wrong with the file."""
    old, fresh = tmp_path / "old.db", tmp_path / "fresh.db"
    _at_schema(old, steps, filled=filled)
    before = _all_rows(old)
    assert not filled or all(before.values())
    with open_shop(old, now=ticking()) as shop:
        assert applied_steps(shop.connection) == list(STEPS)
        assert faults(shop.connection) == []
        schema = _schema(shop.connection)
        if filled:
            assert history.history(shop, "old").mountings[0].cuts[0].readings == {"width": (10.2,)}
            assert setups.get(shop, "old").cutter.name == "blade"
    after = _all_rows(old)
    assert {table: after[table] for table in before} == before
    with open_shop(fresh) as shop:
        assert _schema(shop.connection) == schema


def _schema(connection: sqlite3.Connection) -> set[tuple[object, ...]]:
    return {tuple(row) for row in connection.execute("SELECT type, name, tbl_name, sql FROM sqlite_master")}


def test_the_file_is_copied_before_a_step_runs(tmp_path: Path) -> None:
    """The copy is whole, of the old schema, and an earlier copy is never overwritten."""
    path = tmp_path / "shop.db"
    _at_schema(path, 1, filled=True)
    before = _all_rows(path)
    (tmp_path / "shop.before-0002.db").write_bytes(b"an earlier copy")
    with open_shop(path):
        pass
    assert (tmp_path / "shop.before-0002.db").read_bytes() == b"an earlier copy"
    assert _all_rows(tmp_path / "shop.before-0002-2.db") == before


def test_a_new_database_is_not_copied(tmp_path: Path) -> None:
    """There is nothing to keep."""
    with open_shop(tmp_path / "shop.db"):
        pass
    assert not list(tmp_path.glob("*before*"))


def test_opening_again_runs_no_step_and_makes_no_copy(tmp_path: Path) -> None:
    """Each step runs once."""
    for _ in range(2):
        with open_shop(tmp_path / "shop.db") as shop:
            assert migrate(shop.connection, shop.path) == []
    assert not list(tmp_path.glob("*before*"))


def test_a_newer_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    """One line; the file is as it was."""
    path = tmp_path / "shop.db"
    with open_shop(path) as shop:
        shop.connection.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('calib', 'm9999_x', '')"
        )
    before = _all_rows(path)
    with pytest.raises(CalibError, match=r"newer calib \(it has step m9999_x\)") as refused, open_shop(path):
        pass
    assert "\n" not in str(refused.value)
    assert _all_rows(path) == before


def test_a_step_that_fails_leaves_the_old_schema(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A step and its record are one transaction."""
    from calib.migrations import m0002_advice

    def half(db: object) -> None:
        database_of(connection).execute("CREATE TABLE half (id INTEGER)")
        raise ZeroDivisionError

    path = tmp_path / "shop.db"
    _at_schema(path, 1, filled=True)
    before = _all_rows(path)
    monkeypatch.setattr(m0002_advice, "apply", half)
    connection = connect(path)
    with pytest.raises(ZeroDivisionError):
        migrate(connection, path)
    assert applied_steps(connection) == [STEPS[0]]
    connection.close()
    assert _all_rows(path) == before


def test_steps_are_numbered_in_order() -> None:
    """A number is never used twice, and a later step has a higher one."""
    numbers = [int(name[1:5]) for name in STEPS]
    assert [name[:6] for name in STEPS] == [f"m{n:04d}_" for n in numbers]
    assert numbers == sorted(set(numbers))


def test_every_step_has_rows_for_its_tables(tmp_path: Path) -> None:
    """So that the step after it starts from a database with rows in it."""
    path = tmp_path / "shop.db"
    _at_schema(path, len(STEPS), filled=True)
    assert all(_all_rows(path).values())


def test_every_table_is_strict(tmp_path: Path) -> None:
    """SQLite then refuses a value of the wrong type instead of keeping it."""
    with open_shop(tmp_path / "shop.db") as shop:
        listed = shop.connection.execute("PRAGMA table_list")
        strict = {row["name"]: row["strict"] for row in listed}
        assert all(strict[table] for table in own_tables(shop.connection))

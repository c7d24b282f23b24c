"""The program as a process: what it loads, pipes, encodings, colours."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HEAVY = ("statsmodels", "scipy", "pandas")


def calib(
    *words: str,
    db: Path | None = None,
    probe: bool = False,
    stdin: int = subprocess.DEVNULL,
    **environment: str,
) -> subprocess.CompletedProcess[str]:
    """Run the program in a process of its own; with `probe`, the last line says what was loaded."""
    look = f"import sys; print('LOADED', [m for m in {HEAVY!r} if m in sys.modules])"
    code = "import sys; from calib.cli.main import run; sys.argv[0] = 'calib'"
    code += f"\ntry: run()\nfinally:\n {look}" if probe else "\nrun()"
    settings = {**os.environ, "COLUMNS": "80", **environment}
    if db is not None:
        settings["CALIB_DB"] = str(db)
    return subprocess.run(
        [sys.executable, "-c", code, *words],
        stdin=stdin, capture_output=True, text=True, env=settings, check=False, encoding="utf-8",
    )  # fmt: skip


@pytest.fixture
def db(tmp_path: Path) -> Path:
    """Return a database with a setup and a cut."""
    path = tmp_path / "shop.db"
    add = "setup add corners --joint finger --thickness 8 --cutter-width 6 --fit hand --stake ordinary"
    assert calib(*add.split(), db=path).returncode == 0
    assert calib("cut", "corners", "key=6.14", "clearance=-0.07", db=path).returncode == 0
    return path


@pytest.mark.parametrize(
    "words",
    [
        ["--help"],
        ["cut", "--help"],
        ["cut", "corners", "key=6.10", "clearance=-0.02"],
        ["next", "corners"],
        ["history", "corners"],
        ["setup", "list"],
        ["work", "corners", "--pieces", "2"],
        ["box", "list"],
        ["box", "plan", "chest", "--outside", "250x180x102", "--corners", "corners"],
    ],
    ids=" ".join,
)
def test_everyday_commands_load_nothing_heavy(db: Path, words: list[str]) -> None:
    """Start-up stays short."""
    ran = calib(*words, db=db, probe=True)
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.rstrip().endswith("LOADED []")


def test_completion_loads_nothing_heavy(db: Path) -> None:
    """It runs while somebody types."""
    ran = calib(
        db=db, probe=True, _CALIB_COMPLETE="complete_bash", COMP_WORDS="calib next cor", COMP_CWORD="2"
    )
    assert "corners" in ran.stdout
    assert ran.stdout.rstrip().endswith("LOADED []")


def test_a_reader_that_goes_away_is_no_error(db: Path) -> None:
    """`calib history | head -1` is quiet."""
    command = f'"{sys.executable}" -c "from calib.cli.main import run; run()" history corners | true'
    ran = subprocess.run(
        command,
        shell=True,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "CALIB_DB": str(db)},
    )
    assert ran.stderr == ""


def test_an_output_without_the_signs_gets_ascii(db: Path) -> None:
    """An old terminal shows the same answer."""
    ran = calib("next", "corners", db=db, PYTHONIOENCODING="ascii")
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout.isascii()
    assert "+/-" in ran.stdout


@pytest.mark.parametrize("environment", [{}, {"NO_COLOR": "1"}, {"TERM": "dumb"}, {"FORCE_COLOR": "1"}])
def test_no_colour_is_ever_printed(db: Path, environment: dict[str, str]) -> None:
    """Meaning never rests on colour, so there is none."""
    for words in (["next", "corners"], ["next", "corner"], ["--help"]):
        ran = calib(*words, db=db, **environment)
        assert "\x1b" not in ran.stdout + ran.stderr


def test_nothing_asks_when_stdin_is_no_terminal(tmp_path: Path) -> None:
    """It says which option is missing, on stderr, with exit code 2."""
    ran = calib("setup", "add", db=tmp_path / "shop.db")
    assert ran.returncode == 2
    assert ran.stdout == ""
    assert "--joint" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_usage_errors_exit_with_2(db: Path) -> None:
    """An unknown command, an unknown option, a word of the wrong kind."""
    for words in (["cutt"], ["next", "--colour"], ["again", "seven", "clearance=0"]):
        ran = calib(*words, db=db)
        assert ran.returncode == 2, words
        assert "Traceback" not in ran.stderr
        assert ran.stdout == ""


def test_the_demo_walks_through_three_logs_and_says_they_are_invented(tmp_path: Path) -> None:
    """Start to end, in a database of its own."""
    ran = calib("demo", db=tmp_path / "untouched.db")
    assert ran.returncode == 0, ran.stderr
    assert ran.stderr == ""
    assert "invented" in ran.stdout
    for name in ("chest-corners", "bottom-groove", "lid-inlay"):
        assert f"\n{name}\n" in ran.stdout
    assert ran.stdout.count("The last advice in full:") == 3
    assert "100 %" not in ran.stdout
    assert not (tmp_path / "untouched.db").exists()
    assert all(len(line) <= 80 for line in ran.stdout.splitlines())

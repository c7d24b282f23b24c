"""Honesty, movement, copies and differences, typed as a maker would."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from calib.cli.program import app

ADD = "setup add corners --joint finger --thickness 8 --cutter-width 6 --fit hand --stake ordinary"
Run = Callable[[str], Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs one command on a database of its own, with a setup in it."""
    monkeypatch.setenv("CALIB_DB", str(tmp_path / "shop.db"))
    monkeypatch.setenv("COLUMNS", "80")

    def _run(words: str) -> Result:
        return CliRunner().invoke(app, words.split())

    assert _run(ADD).exit_code == 0
    return _run


def followed(run: Run) -> None:
    """Cut, ask, move as advised, cut again."""
    for words in ("cut corners key=6.14 clearance=-0.06", "next", "moved corners", "cut clearance=0.06"):
        assert run(words).exit_code == 0


def test_honesty_says_the_verdict_first(run: Run) -> None:
    followed(run)
    lines = run("honesty corners").stdout.splitlines()
    assert lines[0] == "corners: 1 cut made as advised."
    assert "Of 1 that makes 0.5 ± 0.5; 1 did" in " ".join(lines)


def test_honesty_as_json_has_its_own_uncertainty(run: Run) -> None:
    followed(run)
    found = json.loads(run("honesty --json").stdout)
    assert (found["schema"], found["setup"]) == ("calib.honesty/1", None)
    assert [one["setup"] for one in found["setups"]] == ["corners"]
    assert found["chances"]["count"] == found["ranges"]["count"] == 1
    assert 0.0 < found["chances"]["u"] <= 0.5
    assert found["chances"]["u_better_by"] is None  # a single forecast has no spread


def test_honesty_of_a_new_shop_and_of_no_setup(run: Run) -> None:
    assert "Nothing to judge the shop by yet" in run("honesty").stdout
    wrong = run("honesty cornrs")
    assert wrong.exit_code == 1
    assert 'Did you mean "corners"?' in wrong.stderr


def test_the_boards_of_a_joint_are_told_with_their_difference_first(run: Run) -> None:
    """D: walnut 100 wide, one flat-, one quarter-sawn, both 4 % damper: 0.336 mm."""
    CliRunner().invoke(app, ["stock", "add", "walnut", "--species", "walnut, black", "--moisture", "8"])
    said = run("stock movement walnut --size 100 --to 12 --beside walnut --beside-sawn quarter").stdout
    assert said.startswith("The two boards of 100.00 mm will differ by 0.336 mm")
    refused = run("stock movement walnut --size 100 --to 4")
    assert refused.exit_code == 1
    assert "outside 6 to 14 %" in refused.stderr


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        ("stock add ash --temperature 20", 2, "--humidity is missing"),
        ("stock add ash --moisture 8 --temperature 20 --humidity 45", 2, "Give one"),
        ("stock add ash --temperature 20 --humidity 0.5", 1, "out of range"),
        ("stock movement ash --size 100 --to 12", 1, 'there is no stock "ash"'),
        ("stock movement ash --size 100 --to 12 --sawn rift", 2, "Write flat or quarter"),
        ("setup copy corners corners", 1, "already"),
        ("setup copy corners wide --cutter spiral-8", 1, "--cutter-width"),
        ("history corners --between 1 2", 1, "has no mounting 1"),
        ("history corners --between 1", 2, ""),
    ],
)
def test_wrong_input_gets_one_line(run: Run, words: str, code: int, told: str) -> None:
    answer = run(words)
    assert answer.exit_code == code
    assert answer.stdout == ""
    assert told in answer.stderr
    assert "Traceback" not in answer.stderr


def test_a_copy_says_what_carries_over_and_shows_the_cautions(run: Run) -> None:
    said = run("setup copy corners tray --thickness 10").stdout
    assert said.index("Carries over") < said.index("Does not") < said.index("Before you touch anything")
    assert "stock 10.00 mm thick" in said
    again = json.loads(run("setup copy corners lid --json").stdout)
    assert (again["schema"], again["copied_from"]) == ("calib.copied/1", "corners")


def test_history_draws_blocks_and_compares_two_mountings(run: Run) -> None:
    followed(run)
    assert "clearance  ▁▇" in run("history corners").stdout
    run("mount corners")
    run("cut corners key=6.10 clearance=0.05")
    said = run("history corners --between 1 2").stdout
    assert said.startswith("corners, mounting 2 against mounting 1")
    assert "higher (after ±" in said.replace("\n", " ")
    both = json.loads(run("history corners --between 1 2 --json").stdout)
    assert (both["schema"], both["second"]["tests"]) == ("calib.between/1", 1)

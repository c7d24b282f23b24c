"""Hands at the command line: words and whose they are, blades, shims, marks."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from calib.cli.movewords import amount_mm
from calib.cli.program import app
from calib.cli.words import setting_mm
from calib.errors import CalibError
from calib.shop import Adjuster

Run = Callable[..., Result]
ADD = "setup add corners --joint finger --thickness 8 --cutter-width 6 --fit hand --stake ordinary"


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs one command in a shop with one setup."""
    monkeypatch.setenv("CALIB_DB", str(tmp_path / "shop.db"))
    monkeypatch.setenv("COLUMNS", "80")

    def _run(words: str) -> Result:
        return CliRunner().invoke(app, words.split())

    assert _run(ADD).exit_code == 0
    return _run


def test_a_blade_that_goes_and_one_that_does_not_are_an_interval_of_the_first_reading(run: Run) -> None:
    for words, said in (
        ("goes=0.05 stops=0.10", "clearance 0.05 to 0.10 mm"),
        ("goes=0.05", "clearance over 0.05 mm"),
        ("stops=0.10", "clearance under 0.10 mm"),
        ("clearance=0.05..", "clearance over 0.05 mm"),
        ("clearance=..0.10 feel=hand", "clearance under 0.10 mm, feel hand"),
    ):
        result = run(f"cut corners key=6.0 {words}")
        assert result.exit_code == 0, result.output
        assert said in result.stdout


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("goes=0.10 stops=0.05", "not below"),
        ("goes=thin", "goes"),
        ("goes=0.05 goes=0.06", "given twice"),
        ("clearance=..", "says nothing"),
        ("clearance=0.05 --by ada", "nothing was felt"),
        ("feel=hand by=ada --by ben", "--by names one person"),
        ("feel=hnad", 'Did you mean "hand"'),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_logged(run: Run, words: str, says: str) -> None:
    result = run(f"cut corners key=6.0 {words}")
    assert result.exit_code != 0
    assert says in result.stderr
    assert result.stderr.strip().count("\n") == 0
    assert "Cut 1" in run("cut corners key=6.0 clearance=0.05").stdout


def test_whose_hand_it_was_is_shown_and_its_scale_can_be_seen(run: Run) -> None:
    run("cut corners key=6.0 clearance=0.06 feel=hand --by ada")
    assert "(ada)" in run("again 1 feel=palm --by ada").stdout
    text = run("feel show corners").stdout
    assert "In ada's hand, from 1 cut that was felt and measured" in text
    (person,) = json.loads(run("feel show corners --json").stdout)["people"]
    assert person["by"] == "ada"
    assert person["pairs"] == 1
    low, high = person["own_spread_interval90_mm"]
    assert low < person["own_spread_mm"] < high


def test_words_are_renamed_and_moved_and_that_can_be_undone(run: Run) -> None:
    assert "hammer" in run("feel rename finger mallet hammer").stdout
    assert "0.02 to 0.09 mm" in run("feel change finger hand=0.02..0.09").stdout
    assert "feel hammer" in run("cut corners key=6.1 feel=hammer").stdout
    assert run("undo").exit_code == run("undo").exit_code == run("undo").exit_code == 0
    assert "mallet" in run("feel list").stdout
    assert json.loads(run("feel list --json").stdout)["schema"] == "calib.feelwords/1"


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("feel change finger hand=0.05", "is not an interval"),
        ("feel change finger hand", "name=value"),
        ("feel rename finger malet x", "mallet"),
        ("feel rename fingers mallet x", "finger"),
        ("feel show nowhere", "nowhere"),
    ],
)
def test_wrong_words_end_in_one_line(run: Run, words: str, says: str) -> None:
    result = run(words)
    assert result.exit_code != 0
    assert says in result.stderr
    assert "Traceback" not in result.output


def test_shims_are_typed_as_a_sum_and_marks_as_marks() -> None:
    shims, marks = Adjuster("key", shims_mm=(0.3, 0.05)), Adjuster("key", mark_mm=0.05)
    assert setting_mm(shims, "0.30+0.05", "mm", "key") == pytest.approx(0.35)
    assert setting_mm(shims, "12 thou + 2 thou", "mm", "key") == pytest.approx(14 * 0.0254)
    assert setting_mm(marks, "37.5", "in", "key") == pytest.approx(1.875)
    assert setting_mm(marks, "2 mm", "mm", "key") == pytest.approx(2.0)
    assert amount_mm(marks, ["3", "toward"], "mm") == pytest.approx(-0.15)
    with pytest.raises(CalibError, match="key"):
        setting_mm(shims, "0.30+x", "mm", "key")


def test_shims_go_in_and_come_out_of_the_log_in_either_unit(run: Run) -> None:
    assert run("setup change corners key.shims=[0.002,0.004] --units in").exit_code == 0
    form = json.loads(run("setup show corners --json").stdout)
    assert form["adjusters"]["key"]["shims"] == [pytest.approx(0.0508), pytest.approx(0.1016)]
    run("cut corners key=0.0508 clearance=0.12")
    assert "mm" in run("next corners").stdout

"""Gauges and worked-out readings, typed as a maker would."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from calib.cli.program import app

Run = Callable[..., Result]
FIVE = (
    "--joint",
    "finger",
    "--thickness",
    "8",
    "--cutter-width",
    "6",
    "--fit",
    "hand",
    "--stake",
    "ordinary",
)


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs one command in a shop with a setup and a calliper."""
    monkeypatch.setenv("CALIB_DB", str(tmp_path / "shop.db"))
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)

    def _run(*words: str, answers: str | None = None) -> Result:
        return CliRunner().invoke(app, list(words), input=answers)

    assert _run("setup", "add", "corners", *FIVE).exit_code == 0
    assert _run("gauge", "add", "calliper", "--resolution", "0.01", "--limit-of-error", "0.02").exit_code == 0
    return _run


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pretend that somebody sits at a terminal."""
    monkeypatch.setattr("calib.cli.cuts.at_terminal", lambda: True)
    monkeypatch.setattr("calib.cli.gaugestudy.at_terminal", lambda: True)


def answer(result: Result) -> dict[str, Any]:
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_a_cut_is_typed_with_slots_and_finger(run: Run) -> None:
    """The reading, how it came about and how good it is."""
    said = run("cut", "corners", "key=6.14", "slot=6.02", "slot=6.00", "finger=6.07", "--gauge", "calliper")
    assert said.exit_code == 0, said.output
    assert "key 6.14 mm, clearance -0.06 mm" in said.stdout
    assert "clearance -0.060 mm: slot less finger; standard uncertainty 0.029 mm" in said.stdout


def test_each_raw_reading_may_have_its_own_gauge(run: Run) -> None:
    run("gauge", "add", "second", "--resolution", "0.01", "--zero-limit", "0.05")
    one = answer(run("cut", "key=6.14", "slot=6.02@calliper", "finger=6.07@second", "--json"))
    shared = one["cut"]["worths"]["clearance"][0]["shared"]
    assert {"calliper, zero", "second, zero"} <= shared.keys()
    assert one["worked_out"][0]["how"] == "slot less finger"


def test_repeats_may_be_joined_by_a_bar_and_lengths_may_be_inches(run: Run) -> None:
    one = answer(run("cut", "key=6.14", "slot=6.02|6.00", "finger=0.239 in", "--json"))
    assert one["cut"]["readings"]["clearance"][0] == pytest.approx(6.01 - 0.239 * 25.4, abs=1e-9)


def test_the_slot_alone_can_be_measured_again(run: Run) -> None:
    run("cut", "key=6.14", "slot=6.02", "finger=6.07", "--gauge", "calliper")
    said = run("again", "1", "slot=6.00", "--gauge", "calliper")
    assert "Measured again: cut 1, key 6.14 mm, clearance -0.06 mm." in said.stdout


def test_the_setup_s_gauge_is_shown_changed_and_used(run: Run) -> None:
    assert run("setup", "change", "corners", "clearance.gauge=calliper").exit_code == 0
    assert "calliper" in run("setup", "show", "corners").stdout
    one = answer(run("cut", "key=6.14", "clearance=0.05", "--json"))
    assert one["cut"]["worths"]["clearance"][0]["repeat_sd_mm"] > 0.0
    form = answer(run("setup", "show", "corners", "--json"))
    assert form["readings"]["clearance"]["gauge"] == "calliper"


def test_a_setup_that_names_a_gauge_the_shop_does_not_have_is_told_so(run: Run) -> None:
    said = run("setup", "change", "corners", "clearance.gauge=calipper")
    assert said.exit_code == 0
    assert 'gauge "calipper" is not in this shop' in said.stderr
    assert 'Did you mean "calliper"' in said.stderr


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["slot=6.02"], "slot alone says nothing of the fit"),
        (["slot=6.02", "finger=x"], 'finger "x" is not a length'),
        (["over=63.0", "finger=6.07"], "over how many pitches"),
        (["over=63.0", "finger=6.07", "pitches=five"], 'pitches "five" is not a number'),
        (["pitches=5", "clearance=0.05"], "pitches says how far"),
        (["pocket=40.1", "insert=40.0"], "give the gap, which this setup does not have"),
        (["slott=6.02"], 'Did you mean "slot"'),
        (["slot=6.02@", "finger=6.07"], "value@gauge"),
    ],
)
def test_wrong_raw_readings_get_one_line_and_log_nothing(run: Run, words: list[str], message: str) -> None:
    said = run("cut", "corners", "key=6.14", *words)
    assert said.exit_code in (1, 2)
    assert message in said.stderr
    assert said.stderr.count("\n") == 1
    assert run("history", "corners").stdout.count("test") == 0


def test_a_bare_cut_asks_for_each_thing_in_a_terminal(run: Run, terminal: None) -> None:
    """A wrong answer is asked again; Enter keeps a position and leaves a reading out."""
    said = run("cut", answers="6,14\nslot=6.02\nslot=6.02 finger=6.07\nnonsense\nmallet\n")
    assert said.exit_code == 0, said.output
    assert "slot alone says nothing" in said.stderr
    assert "Cut 1." in said.stdout
    assert "feel mallet" in said.stdout
    again = run("cut", answers="\n\n\n-0.05 -0.07\n\n")
    assert "Nothing was read" in again.stderr
    assert "key 6.14 mm, clearance -0.05 and -0.07 mm" in again.stdout


def test_a_bare_cut_after_advice_asks_first_whether_it_was_moved(run: Run, terminal: None) -> None:
    run("cut", "key=6.14", "clearance=-0.07")
    advised = answer(run("next", "--json"))["moves"][0]["to_mm"]
    said = run("cut", answers="moved\n0.05\n\n")
    assert said.exit_code == 0, said.output
    assert f"key {advised:.2f} mm, clearance 0.05 mm" in said.stdout


def test_a_bare_cut_outside_a_terminal_asks_nothing(run: Run) -> None:
    said = run("cut", "corners")
    assert said.exit_code == 2
    assert "nothing was read" in said.stderr


def test_a_study_is_typed_and_says_what_it_cannot_separate(run: Run) -> None:
    said = run(
        "gauge",
        "study",
        "calliper",
        *[f"{p}={6 + i / 10 + d}" for i, p in enumerate("abcd") for d in (0, 0.02)],
    )
    assert said.exit_code == 0, said.output
    assert "calliper, held outside: one reading by one hand repeats within 0.014 mm" in said.stdout
    assert "cannot be separated" in said.stdout
    assert "F of part is against repeat." in said.stdout
    assert "from its study" in run("gauge", "show", "calliper").stdout


def test_a_study_by_two_people_from_a_file(run: Run, tmp_path: Path) -> None:
    lines = ["part;person;value"]
    lines += [f"{p};{w};6,{i}{d}" for i, p in enumerate("abc") for w in ("ana", "bo") for d in (1, 2, 4)]
    (tmp_path / "s.csv").write_text("\n".join(lines), encoding="utf-8-sig")
    found = answer(run("gauge", "study", "calliper", "--csv", "s.csv", "--held", "inside", "--json"))
    assert (found["parts"], found["people"], found["trials"], found["held"]) == (3, 2, 3, "inside")
    assert found["schema"] == "calib.gauge-study/1"
    assert found["study"]["intervals"]["gauge"][1] > found["study"]["repeatability"]


def test_a_guided_study_asks_and_takes_back(run: Run, terminal: None) -> None:
    """Two parts, two people, two trials; a wrong answer and one taken back."""
    answers = "ana\nbo\n6.00\nx\n6.10\nback\n6.11\n" + "6.01\n6.10\n6.00\n6.12\n6.01\n6.11\n"
    said = run(
        "gauge", "study", "calliper", "--parts", "2", "--people", "2", "--trials", "2", answers=answers
    )
    assert said.exit_code == 0, said.output
    assert 'part 1 "x" is not a length' in said.stderr or 'part 2 "x" is not a length' in said.stderr
    assert "Taken from 2 parts, 2 people, 2 trials each." in said.stdout


def test_a_guided_study_that_is_broken_off_keeps_nothing(run: Run, terminal: None) -> None:
    said = run("gauge", "study", "calliper", "--parts", "2", "--trials", "2", answers="6.00\n6.10\n")
    assert said.exit_code != 0
    assert "as its kind" in run("gauge", "show", "calliper").stdout


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["calliper"], "no values"),
        (["callipr", "a=6"], 'Did you mean "calliper"'),
        (["calliper", "a=6", "b=7"], "nothing was measured twice"),
        (["calliper", "a=6", "a=6.1", "b=7"], "has 1 values where others have 2"),
        (["calliper", "a=6", "--csv", "s.csv"], "not both"),
        (["calliper", "--csv", "none.csv"], "there is no such file"),
        (["calliper", "a=6", "a=6", "--held", "sideways"], "is not held to sideways"),
        (["calliper", "6.02"], "name=value"),
    ],
)
def test_a_study_that_will_not_do_gets_one_line(run: Run, words: list[str], message: str) -> None:
    said = run("gauge", "study", *words)
    assert said.exit_code in (1, 2)
    assert message in said.stderr
    assert said.stderr.count("\n") == 1


def test_a_gauge_of_an_unknown_kind_is_refused(run: Run) -> None:
    said = run("gauge", "add", "thing", "--kind", "laserbeam", "--resolution", "0.01")
    assert said.exit_code == 1
    assert "kind of gauge" in said.stderr


@pytest.mark.parametrize("kind", ["pin", "go/no-go", "sample joint"])
def test_what_shows_no_number_needs_no_step(run: Run, kind: str) -> None:
    said = run("gauge", "add", "6 mm", "--kind", kind)
    assert said.exit_code == 0
    assert "6 mm" in run("gauge", "list").stdout


def test_what_shows_a_number_needs_its_step(run: Run) -> None:
    said = run("gauge", "add", "steel rule", "--kind", "ruler")
    assert said.exit_code == 2
    assert "smallest step of the ruler, for example --resolution 0.5" in said.stderr
    assert "steel rule" not in run("gauge", "list").stdout


@pytest.mark.parametrize("width", ["40", "80"])
def test_a_study_fits_the_width(run: Run, monkeypatch: pytest.MonkeyPatch, width: str) -> None:
    monkeypatch.setenv("COLUMNS", width)
    words = [
        f"{w}:{p}={6 + i / 10 + d}" for w in ("ana", "bo") for i, p in enumerate("abc") for d in (0, 0.02)
    ]
    for said in (run("gauge", "study", "calliper", *words), run("gauge", "show", "calliper")):
        assert max(len(line) for line in said.stdout.splitlines()) <= int(width)

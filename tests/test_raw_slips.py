"""Slips in slot and finger, and in the like: asked about, offered, never put right by themselves."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shopkit import CORNERS, ticking
from slipkit import SLIPS, fourth_cut, put_right
from typer.testing import CliRunner

from calib.cli.program import app
from calib.decision.rawslips import RawSet, likely_raw_slip
from calib.regression.mixture import Mixture
from calib.workflow import setups
from calib.workflow.shopfloor import Shop, open_shop

PREDICTED = Mixture(np.ones(1), np.array([-0.05]), np.array([0.03]))
Run = Callable[..., Any]


@pytest.mark.parametrize("repeats", [1, 2])
@pytest.mark.parametrize(("kind", "target"), [*((kind, 0.07) for kind in SLIPS), (list(SLIPS)[2], 0.25)])
def test_slips_that_move_the_reading_by_more_than_six_sds_are_recognised(kind, target, repeats) -> None:
    """Simulated shops after three cuts: the right slip, and the sizes that were read, in over nine of ten."""
    found = told = 0
    for number in range(60):
        case = fourth_cut(number, target, repeats)
        typed = SLIPS[kind](case.good, case.luck)
        if case.far(typed):
            told += 1
            found += put_right(case, kind, case.asked(typed))
    assert told >= 20  # two sizes that hardly differ can be swapped unnoticed
    assert found > 0.9 * told


@pytest.mark.parametrize("truth", [{}, {"scatter": 2.5}, {"heavy_tails": True}])
def test_good_slots_and_fingers_are_asked_about_in_less_than_one_case_of_a_hundred(truth) -> None:
    """Also where the scatter is far larger than believed, or has heavy tails."""
    asked = 0
    for number in range(150):
        case = fourth_cut(number, **truth)
        asked += case.asked(case.good) is not None
    assert asked < 2  # of 150


def test_sizes_that_agree_either_way_are_put_right_so_that_they_fit_the_cutter() -> None:
    """A slot ten times too large and a finger ten times too small look alike but for what is usual."""
    predicted = Mixture(np.ones(1), np.array([0.0]), np.array([0.03]))
    for usual in (6.0, 60.0):
        sets = {"slot": RawSet((60.2,), 1.0, 0, usual), "finger": RawSet((6.02,), -1.0, 0, usual)}
        slip = likely_raw_slip("clearance", sets, predicted)
        assert slip.meant == ({"slot": (6.02,)} if usual == 6.0 else {"finger": (60.2,)})


def test_what_was_stored_before_is_not_in_question() -> None:
    """A slot of 60.2 that is in the log is not offered as the slip when only the finger was typed now."""
    sets = {"slot": RawSet((60.2,), 1.0, 1), "finger": RawSet((6.07,), -1.0)}
    assert likely_raw_slip("clearance", sets, PREDICTED) is None


def test_far_readings_that_no_slip_explains_are_left_to_the_model() -> None:
    sets = {"slot": RawSet((6.4,), 1.0, 0, 6.0), "finger": RawSet((6.07,), -1.0, 0, 6.0)}
    assert likely_raw_slip("clearance", sets, PREDICTED) is None


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop.db", now=ticking()) as found:
        setups.add(found, CORNERS)
        yield found


@pytest.fixture
def run(shop: Shop) -> Run:
    """Return a runner, after three cuts that read 0.20 or so with slot and finger."""

    def _run(*words: str, answers: str | None = None) -> Any:
        return CliRunner().invoke(app, [*words, "--db", str(shop.path)], input=answers)

    for slot in ("6.17", "6.19", "6.18"):
        assert _run("cut", "key=6", "height=8.1", f"slot={slot}", "finger=5.98").exit_code == 0
    return _run


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pretend that somebody sits at a terminal."""
    monkeypatch.setattr("calib.cli.cuts.at_terminal", lambda: True)


def clearance(run: Run, number: int = 4) -> float:
    """Return the last clearance of a cut as the history has it."""
    history = json.loads(run("history", "--json").stdout)
    cuts = [cut for mounting in history["mountings"] for cut in mounting["cuts"]]
    return next(cut for cut in cuts if cut["number"] == number)["readings"]["clearance"][-1]


MENDED = [
    (("slot=61.8", "finger=5.98"), "slot=6.18mm", "the decimal point"),
    (("slot=0.2435", "finger=5.98"), "slot=6.18mm", "inches typed for mm"),
    (("slot=5.98", "finger=6.18"), "slot=6.18mm finger=5.98mm", "slot and finger swapped"),
    (("slot=6.18", "slot=0.618", "finger=5.98"), "slot=6.18mm slot=6.18mm", "the decimal point"),
]


@pytest.mark.parametrize(("words", "command", "kind"), MENDED)
@pytest.mark.parametrize("verb", ["cut", "work"])
def test_a_slip_is_kept_as_typed_and_said_with_the_command_that_mends_it(
    run: Run, verb: str, words: tuple[str, ...], command: str, kind: str
) -> None:
    """What stderr says, typed as it stands, brings back what was read."""
    said = run(verb, "chest-corners", *words, "--not-moved")
    assert said.exit_code == 0
    assert kind in said.stderr
    assert f"It is kept as typed. If so: calib again 4 {command} --instead" in said.stderr
    assert abs(clearance(run) - 0.2) > 0.1
    mended = run(*f"again 4 {command} --instead".split())
    assert mended.exit_code == 0
    assert "meant" not in mended.stderr
    assert clearance(run) == pytest.approx(0.2, abs=0.006)


def test_a_length_over_several_pitches_is_mended_with_its_pitches(run: Run) -> None:
    """5 fingers of 5.98 and 4 slots of 6.18 are 54.62."""
    said = run("cut", "chest-corners", "over=546.2", "pitches=4", "finger=5.98")
    assert "calib again 4 over=54.62mm pitches=4 --instead" in said.stderr
    assert run("again", "4", "over=54.62mm", "pitches=4", "--instead").exit_code == 0
    assert clearance(run) == pytest.approx(0.2)


@pytest.mark.parametrize(("answer", "kept"), [("yes", 0.2), ("no", 55.82)])
@pytest.mark.parametrize("verb", ["cut", "work"])
def test_in_a_terminal_the_answer_decides_what_is_logged(
    run: Run, shop: Shop, terminal: None, verb: str, answer: str, kept: float
) -> None:
    """The words as typed stay beside the value."""
    said = run(verb, "chest-corners", "slot=61.8", "finger=5.98", "--not-moved", answers=f"{answer}\n")
    assert said.exit_code == 0
    assert "Was slot 6.18 mm meant (the decimal point)?" in said.stderr
    assert clearance(run) == pytest.approx(kept)
    row = shop.connection.execute("SELECT text FROM raw_readings WHERE name = 'slot' ORDER BY id DESC")
    assert row.fetchone()["text"] == ("61.8 (meant 6.18 mm)" if answer == "yes" else "61.8")


def test_swapped_sizes_change_places_with_their_gauges(run: Run, shop: Shop, terminal: None) -> None:
    """Whoever typed finger for slot typed its gauge with it."""
    said = run("cut", "chest-corners", "slot=5.98@outside", "finger=6.18@inside", answers="yes\n")
    assert said.exit_code == 0
    rows = shop.connection.execute("SELECT name, value_mm, gauge, text FROM raw_readings ORDER BY id DESC")
    found = {row["name"]: (row["value_mm"], row["gauge"], row["text"]) for row in rows.fetchmany(2)}
    assert found == {
        "slot": (6.18, "inside", "6.18 (typed as finger)"),
        "finger": (5.98, "outside", "5.98 (typed as slot)"),
    }


AGAIN = [(("slot=61.8",), "slot=6.17mm slot=6.18mm"), (("clearance=2.0",), "clearance=0.20mm")]


@pytest.mark.parametrize(("words", "command"), AGAIN)
def test_measuring_again_is_asked_about_as_well(run: Run, words: tuple[str, ...], command: str) -> None:
    """A slot that joins the raw readings of a cut; those that are there are not in question."""
    said = run("again", "1", *words)
    assert said.exit_code == 0
    assert f"calib again 1 {command} --instead" in said.stderr
    assert run(*f"again 1 {command} --instead".split()).exit_code == 0
    assert clearance(run, 1) == pytest.approx(0.2, abs=0.006)


@pytest.mark.parametrize(("answer", "kept"), [("yes", 0.195), ("no", 28.005)])
def test_measuring_again_in_a_terminal_offers_what_was_meant(
    run: Run, terminal: None, answer: str, kept: float
) -> None:
    said = run("again", "1", "slot=61.8", answers=f"{answer}\n")
    assert said.exit_code == 0
    assert clearance(run, 1) == pytest.approx(kept)


def test_a_first_cut_that_is_measured_again_is_held_against_its_own_reading(shop: Shop) -> None:
    words = ["--db", str(shop.path)]
    first = ["cut", "key=6", "height=8.1", "slot=6.18", "finger=5.98"]
    assert CliRunner().invoke(app, [*first, *words]).exit_code == 0
    said = CliRunner().invoke(app, ["again", "1", "slot=61.9", "finger=5.99", *words])
    assert "Was slot 6.19 mm meant (the decimal point)?" in said.stderr


FIRST = [
    (("slot=602", "finger=5.77"), "slot=6.02mm"),
    (("slot=6.02", "finger=577"), "finger=5.77mm"),
    (("slot=0.237", "finger=5.77"), "slot=6.02mm"),
]


@pytest.mark.parametrize("felt", [False, True])
@pytest.mark.parametrize(("words", "meant"), FIRST)
def test_a_slip_in_the_first_sizes_of_a_setup_is_asked_about(shop: Shop, words, meant, felt) -> None:
    """The width of the cutter says what sizes to expect, before anything was measured or after words only."""
    run = CliRunner().invoke
    positions = ["key=6", "height=8.1"]
    if felt:
        run(app, ["cut", *positions, "feel=hand", "--db", str(shop.path)])
    said = run(app, ["cut", *positions, *words, "--db", str(shop.path)])
    assert said.exit_code == 0
    assert f"calib again {1 + felt} {meant} --instead" in said.stderr


@pytest.mark.parametrize("words", [("slot=6.02", "finger=4.1"), ("slot=6.4", "finger=5.9"), ("clearance=2",)])
def test_first_sizes_that_are_only_far_off_are_not_asked_about(shop: Shop, words) -> None:
    """A jig that was never set may stand millimetres away."""
    said = CliRunner().invoke(app, ["cut", "key=6", "height=8.1", *words, "--db", str(shop.path)])
    assert said.exit_code == 0
    assert "meant" not in said.stderr


def test_the_last_cut_is_measured_again_when_no_number_is_given(run: Run) -> None:
    said = run("again", "slot=6.20")
    assert said.exit_code == 0
    assert said.stdout.startswith("Measured again: cut 3,")
    assert clearance(run, 3) == pytest.approx(0.21)


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ((), "again: what does it read now?"),
        (("3",), "again: what does it read now?"),
        (("three", "slot=6.2"), '"three" is not the number of a cut.'),
        (("-3", "slot=6.2"), '"-3" is not the number of a cut.'),
        (("99", "slot=6.2"), "there is no cut 99."),
    ],
)
def test_measuring_again_says_what_is_missing_in_one_line(run: Run, words, says) -> None:
    said = run("again", *words)
    assert said.exit_code != 0
    assert said.stderr.startswith(says)
    assert said.stderr.count("\n") == 1


def test_measuring_again_where_nothing_was_cut_yet(shop: Shop) -> None:
    said = CliRunner().invoke(app, ["again", "slot=6.2", "--db", str(shop.path)])
    assert (said.exit_code, said.stderr.count("\n")) == (1, 1)
    assert "nothing was cut yet" in said.stderr

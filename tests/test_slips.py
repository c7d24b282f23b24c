"""Slips of the fingers: recognised where they are large, never asked about good readings."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from shopkit import CORNERS, cut, ticking
from typer.testing import CliRunner

from calib.cli.program import app
from calib.decision.advise import advise
from calib.decision.slips import FAR, Slip, likely_slip, slips_against
from calib.regression import posterior
from calib.regression.mixture import Mixture
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, Setup
from calib.simulate import SimulatedShop, draw_truth
from calib.workflow import setups
from calib.workflow.cuts import LooksLikeSlip, measure_again
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop, open_shop

READINGS = {
    "clearance": Setup(
        "corners", Joint("finger"), (Band("clearance", 0.25, 0.15, 0.35),), (Adjuster("key"),)
    ),
    "depth": Setup(
        "grooves",
        Joint("plain"),
        (Band("depth", 6.0, 5.9, 6.1),),
        (Adjuster("height", moves={"depth": 1.0}),),
        knowledge=Knowledge(offset_sd_mm=0.3),
    ),
}
#: What is typed instead of a value, by the slip; only sizes are typed in inches.
TYPED = {
    "the decimal point": lambda mm, rng: mm * float(rng.choice([10.0, 0.1, 100.0])),
    "inches typed for mm": lambda mm, rng: mm / 25.4,
    "slot and finger swapped, or the sign": lambda mm, rng: -mm,
}


def after_three_cuts(name: str, number: int, **truth: float) -> tuple[Mixture, float, np.random.Generator]:
    """Return what is predicted of the fourth cut, what it reads (as a display shows it), and luck."""
    setup = READINGS[name]
    rng = np.random.default_rng([11, number])
    shop = SimulatedShop(setup, draw_truth(setup, rng, **truth), rng, display_mm=0.01)
    at = {setup.adjusters[0].name: 0.0}
    first = shop.cut(at)
    error = first.readings[name][0] - setup.bands[0].target_mm
    sign = 1.0 if name == "clearance" else -1.0
    at = {setup.adjusters[0].name: round(sign * error, 2)}
    cuts = [first, shop.cut(at), shop.cut(at)]
    return posterior(setup, cuts).next_reading(name), shop.cut(at).readings[name][0], rng


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("clearance", "the decimal point"),
        ("depth", "the decimal point"),
        ("depth", "inches typed for mm"),
        ("clearance", "slot and finger swapped, or the sign"),
    ],
)
def test_slips_that_move_a_reading_by_more_than_six_sds_are_recognised(name: str, kind: str) -> None:
    """150 shops: the value that was meant comes back in more than nine cases of ten."""
    found, told = 0, 0
    for number in range(150):
        predicted, meant, rng = after_three_cuts(name, number)
        typed = TYPED[kind](meant, rng)
        if abs(typed - predicted.expected) <= FAR * predicted.u:
            continue  # too small to be told: left to the model of slips
        told += 1
        slip = likely_slip(name, typed, predicted)
        found += slip is not None and slip.kind == kind and abs(slip.meant_mm - meant) < 1e-6
    assert told > 75
    assert found > 0.9 * told


@pytest.mark.parametrize("truth", [{}, {"scatter": 2.5}, {"heavy_tails": True}])
@pytest.mark.parametrize("name", list(READINGS))
def test_good_readings_are_asked_about_in_less_than_one_case_of_a_hundred(name: str, truth) -> None:
    """Also where the scatter is far larger than believed, or has heavy tails."""
    asked = 0
    for number in range(150):
        predicted, good, _ = after_three_cuts(name, number, **truth)
        asked += likely_slip(name, good, predicted) is not None
    assert asked < 2  # of 150


def test_slips_too_small_to_be_told_are_left_alone() -> None:
    predicted = Mixture(np.ones(1), np.array([0.07]), np.array([0.03]))
    assert likely_slip("clearance", 0.007, predicted) is None
    assert likely_slip("clearance", -0.07, predicted) is None
    assert likely_slip("clearance", 19.0, predicted) is None  # far, but no slip that is known explains it


def test_the_meant_value_is_the_same_in_mm_and_in_inches() -> None:
    predicted = Mixture(np.ones(1), np.array([6.0]), np.array([0.05]))
    slip = likely_slip("depth", 6.0 / 25.4, predicted)
    assert isinstance(slip, Slip)
    assert slip.meant_mm == pytest.approx(6.0, abs=1e-6)
    assert likely_slip("depth", 6.0 * 25.4, predicted).kind == "mm typed for inches"


KEY = {"key": 6.0}
LOG = [Cut(n, "test", KEY, {"clearance": (y,)}) for n, y in enumerate([0.25, 0.27, 0.24, 2.6, 0.26], 1)]


def test_a_slip_inside_a_log_is_doubted_with_what_was_meant_and_nothing_is_changed() -> None:
    setup = READINGS["clearance"]
    assert [slip.meant_mm for slip in slips_against(setup, LOG, LOG[3])] == [pytest.approx(0.26)]
    (doubt,) = advise(setup, LOG).doubts
    assert "Was 0.26 mm meant (the decimal point)? Then: calib again 4 clearance=0.26mm --instead" in doubt
    assert LOG[3].readings["clearance"] == (2.6,)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop.db", now=ticking()) as found:
        setups.add(found, CORNERS)
        for value in (0.05, 0.08, 0.07):
            cut(found, key=6.0, height=8.1, clearance=value)
        yield found


def test_a_slip_is_kept_as_typed_and_said_with_the_command_that_mends_it(shop: Shop) -> None:
    logged = cut(shop, clearance=0.7)
    assert logged.cut.readings["clearance"] == (0.7,)
    (remark,) = logged.questions
    assert "Was 0.07 mm meant (the decimal point)?" in remark
    assert "calib again 4 clearance=0.07mm --instead" in remark
    assert any("Was 0.07 mm meant" in doubt for doubt in next_step(shop, "chest-corners").doubts)
    measure_again(shop, 4, {"clearance": (0.07,)}, instead=True)
    assert next_step(shop, "chest-corners").doubts == ()


def test_who_can_be_asked_is_asked_before_anything_is_logged(shop: Shop) -> None:
    with pytest.raises(LooksLikeSlip, match=r"0\.07 mm meant"):
        cut(shop, clearance=0.7, ask=True)
    assert cut(shop, clearance=0.06, ask=True).number == 4


@pytest.mark.parametrize(("answer", "kept"), [("yes", 0.07), ("no", 0.7)])
def test_in_a_terminal_the_answer_decides_what_is_logged(
    shop: Shop, answer: str, kept: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("calib.cli.cuts.at_terminal", lambda: True)
    words = ["cut", "chest-corners", "clearance=0.7", "--db", str(shop.path)]
    result = CliRunner().invoke(app, words, input=f"perhaps\n{answer}\n")
    assert result.exit_code == 0
    assert 'answer "yes" or "no"' in result.stderr
    assert f"clearance {kept:.2f} mm" in result.stdout
    row = shop.connection.execute("SELECT value_mm, text FROM measurements ORDER BY id DESC").fetchone()
    assert row["value_mm"] == pytest.approx(kept)
    assert row["text"].startswith("0.7")

"""The advice: what it promises to whoever calls it."""

from __future__ import annotations

import dataclasses
import json
import math
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from calib import advise, load_log
from calib.decision import block
from calib.decision.advise import expected_minutes, next_step
from calib.errors import CalibError
from calib.shop import Adjuster, Band, Cut, FeelScale, Joint, Knowledge, ReadingStakes, Setup, Stakes

ROOT = Path(__file__).parents[1]
SAMPLES = sorted((ROOT / "sample_logs").glob("*.toml"))
SCHEMA = json.loads((ROOT / "tests" / "advice.schema.json").read_text(encoding="utf-8"))
LEVER = Adjuster("lever", moves={"gap": -1.0})


def plain(*adjusters: Adjuster, pieces: int = 8, stakes: Stakes | None = None, **known: object) -> Setup:
    return Setup(
        "gaps",
        Joint("plain"),
        (Band("gap", 0.0, -0.1, 0.1),),
        adjusters or (LEVER,),
        pieces_left=pieces,
        stakes=stakes or Stakes(),
        knowledge=Knowledge(**known),  # type: ignore[arg-type]
    )


def cut(number: int, settings: dict[str, float], *gaps: float) -> Cut:
    return Cut(number, "test", settings, {"gap": gaps} if gaps else {})


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_the_advice_of_a_sample_fits_its_schema_after_every_cut(path):
    setup, cuts = load_log(path)
    for n in range(len(cuts) + 1):
        answer = advise(setup, cuts[:n]).as_dict()
        jsonschema.validate(answer, SCHEMA)
        json.dumps(answer, allow_nan=False)
        assert answer["cuts_used"] == n


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_calib_next_prints_what_advise_returns(path, tmp_path):
    """The log is imported and asked through the installed program; the answers are the same object."""
    calib = [sys.executable, "-m", "calib.cli.main"]
    env = {**os.environ, "CALIB_DB": str(tmp_path / "shop.db")}
    subprocess.run([*calib, "import", str(path)], check=True, env=env, capture_output=True)
    shown = subprocess.run(
        [*calib, "next", path.stem, "--json"], check=True, env=env, capture_output=True, text=True
    )
    assert json.loads(shown.stdout) == advise(*load_log(path)).as_dict()


def test_a_setup_is_advised_before_its_first_cut():
    advice = advise(plain(), [])
    assert advice.step == "test_again"
    assert advice.cuts_used == 0
    assert any("assumption" in line for line in advice.warnings)


def test_a_cut_far_off_is_moved_by_its_error_and_a_good_setup_is_cut():
    setup = plain()
    first = [cut(1, {"lever": 0.0}, 0.3, 0.3)]
    move = advise(setup, first).moves
    assert [m.adjuster for m in move] == ["lever"]
    assert move[0].to_mm == pytest.approx(0.3, abs=0.03)
    good = [*first, *(cut(n, {"lever": 0.3}, 0.0) for n in (2, 3, 4))]
    assert advise(setup, good).step == "cut_good"


def test_a_wild_last_reading_is_measured_again_and_nothing_is_moved():
    setup = plain()
    cuts = [cut(n, {"lever": 0.0}, 0.02) for n in (1, 2, 3)] + [cut(4, {"lever": 0.0}, 0.75)]
    advice = advise(setup, cuts)
    assert advice.step == "measure_again"
    assert advice.moves == ()
    assert advice.measure_again_cut == 4
    assert any("Cut 4" in doubt for doubt in advice.doubts)


def test_a_wild_reading_that_repeats_itself_is_not_asked_for_for_ever():
    setup = plain()
    cuts = [cut(n, {"lever": 0.0}, 0.02) for n in (1, 2, 3)] + [cut(4, {"lever": 0.0}, 0.75, 0.76, 0.75)]
    assert advise(setup, cuts).step != "measure_again"


def test_a_scale_that_counts_the_other_way_is_asked_about():
    cuts = [cut(1, {"lever": 0.0}, 0.3), cut(2, {"lever": 0.3}, 0.6), cut(3, {"lever": 0.3}, 0.61)]
    advice = advise(plain(), cuts)
    assert any("count the other way" in doubt for doubt in advice.doubts)


def test_an_adjuster_of_unknown_effect_is_moved_once_to_learn_it():
    setup = plain(Adjuster("lever", moves={"gap": "learn"}))
    first = [cut(1, {"lever": 0.0}, 0.5)]
    advice = advise(setup, first)
    assert advice.step == "move_and_test"
    assert any("another lever position" in line for line in advice.warnings)
    there = advice.moves[0].to_mm
    second = [*first, cut(2, {"lever": there}, 0.5 - 0.5 * there)]
    found = [m for a in advise(setup, second).actions for m in a.moves]
    assert found
    assert found[0].to_mm == pytest.approx(1.0, abs=0.25)  # slope -0.5: twice as far as the error


def test_a_move_is_only_to_a_position_that_can_be_reached():
    """Least step and range hold in 60 states drawn at random, for every option that was weighed."""
    rng = np.random.default_rng(5)
    for _ in range(60):
        step = float(rng.choice([0.0, 0.02, 0.05, 0.25]))
        low, high = sorted(rng.uniform(-0.3, 0.3, 2))
        now = float(rng.uniform(low, high))
        lever = Adjuster("lever", moves={"gap": float(rng.choice([-2.0, -1.0, 0.5]))}, least_step_mm=step,
                         low_mm=low, high_mm=high, landing=str(rng.choice(["adds", "renews"])))  # fmt: skip
        advice = advise(plain(lever), [cut(1, {"lever": now}, float(rng.normal(0.0, 0.3)))])
        for move in (m for action in advice.actions for m in action.moves):
            assert low - 1e-9 <= move.to_mm <= high + 1e-9
            if step:
                assert (move.to_mm - now) / step == pytest.approx(round((move.to_mm - now) / step), abs=1e-6)


def test_a_target_out_of_reach_is_said():
    lever = Adjuster("lever", moves={"gap": -1.0}, low_mm=-0.1, high_mm=0.1)
    cuts = [cut(1, {"lever": 0.0}, 0.5), cut(2, {"lever": 0.0}, 0.5)]
    assert any("cannot reach" in line for line in advise(plain(lever), cuts).warnings)


def test_no_probability_is_one_and_the_batch_is_never_likelier_than_a_piece():
    setup = plain(scales_known=True, cut_sd_mm=0.001, reading_sd_mm=0.001, blunder_probability=0.0)
    advice = advise(setup, [cut(n, {"lever": 0.0}, 0.0) for n in (1, 2, 3, 4, 5)])
    assert advice.probability_all <= advice.probability_next < 1.0


def test_dear_pieces_buy_more_tests_than_cheap_ones():
    cuts = [cut(1, {"lever": 0.0}, 0.06)]
    dear = advise(plain(), cuts, stakes={"too_high": 200.0, "too_low": 200.0})
    cheap = advise(plain(), cuts, stakes={"too_high": 0.1, "too_low": 0.1})
    assert dear.step in ("test_again", "move_and_test", "measure_again")
    assert cheap.step == "cut_good"


def test_the_aim_shifts_away_from_the_dear_side():
    setup = plain(scales_known=True, blunder_probability=0.0, scale_sd=0.0)
    cuts = [cut(1, {"lever": 0.0}, 0.3)]
    tight = advise(setup, cuts, stakes={"test_cut": 1000.0, "too_high": 200.0, "too_low": 2.0})
    loose = advise(setup, cuts, stakes={"test_cut": 1000.0, "too_high": 2.0, "too_low": 200.0})
    assert tight.readings[0].expected_mm < 0.0 < loose.readings[0].expected_mm


def test_overrides_have_the_keys_of_the_log():
    cuts = [cut(1, {"lever": 0.0}, 0.05)]
    known = advise(plain(), cuts, knowledge={"cut_sd": 0.2, "scales_known": True})
    assert known.readings[0].u_mm > advise(plain(), cuts).readings[0].u_mm
    assert advise(plain(), cuts, pieces_left=3).pieces_left == 3
    with pytest.raises(CalibError, match="cut_ds"):
        advise(plain(), cuts, knowledge={"cut_ds": 0.2})
    with pytest.raises(CalibError, match="below 0"):
        advise(plain(), cuts, pieces_left=-1)


def test_words_alone_lead_to_the_band():
    words = {"tight": (-math.inf, -0.1), "ok": (-0.1, 0.1), "loose": (0.1, math.inf)}
    setup = dataclasses.replace(plain(), feel=FeelScale(words, 0.04))
    log = [(0.0, "loose"), (0.25, "tight"), (0.15, "ok"), (0.15, "ok"), (0.15, "ok")]
    cuts = [Cut(n, "test", {"lever": x}, {}, feel=word) for n, (x, word) in enumerate(log, 1)]
    advice = advise(setup, cuts)
    assert advice.cuts_used == 5
    assert advice.readings[0].probability_next > 0.9


def test_a_row_without_pieces_says_where_the_machine_stands_now():
    setup = plain()
    cuts = [cut(1, {"lever": 0.0}, 0.3), cut(2, {"lever": 0.0}, 0.29)]
    moved = [*cuts, Cut(0, "test", {"lever": 0.3}, pieces=0)]
    advice = advise(setup, moved)
    assert advice.cuts_used == 2
    assert advice.readings[0].expected_mm == pytest.approx(0.0, abs=0.02)
    assert all(m.from_mm == 0.3 for m in advice.moves)


def test_cautions_close_by_deferring_to_the_manual():
    for path in SAMPLES:
        cautions = advise(*load_log(path)).cautions
        assert "manual" in cautions[-1]
        assert any("nplug" in line for line in cautions) or any("stop button" in line for line in cautions)


def test_wear_says_how_many_pieces_a_setting_holds():
    setup = Setup(
        "fingers", Joint("finger"), (Band("clearance", 0.07, 0.0, 0.14),), (Adjuster("key"),),
        pieces_left=10, metres_per_piece_m=0.5,
        knowledge=Knowledge(wear_sd_mm_per_m=0.0005),
    )  # fmt: skip
    setup = dataclasses.replace(setup, cutter=dataclasses.replace(setup.cutter, nominal_mm=6.0))
    cuts = [Cut(n, "test", {"key": 5.93}, {"clearance": (0.07,)}) for n in (1, 2, 3, 4)]
    holds = advise(setup, cuts).holds_for_pieces
    assert holds is not None
    assert 1 <= holds < 1000
    slower = dataclasses.replace(setup, knowledge=Knowledge(wear_sd_mm_per_m=0.0001))
    longer = advise(slower, cuts).holds_for_pieces
    assert longer is not None
    assert longer > holds


@pytest.mark.parametrize("moves", [-1.0, "learn"])
def test_the_bare_step_is_that_of_the_advice(moves):
    """The simulated maker follows what a person would be told, a first move to learn an effect included."""
    setup = plain(Adjuster("lever", moves={"gap": moves}))
    cuts = [cut(1, {"lever": 0.0}, 0.5), cut(2, {"lever": 0.0}, 0.5)]
    for n in (1, 2):
        advice = advise(setup, cuts[:n])
        to = {"lever": 0.0, **{m.adjuster: m.to_mm for m in advice.moves}}
        assert next_step(setup, cuts[:n])[:2] == (advice.step, to)


@pytest.mark.parametrize(("clearance", "side"), [(0.035, "too_low"), (0.105, "too_high")])
def test_pieces_that_will_be_spoiled_are_counted_before_they_are_cut(clearance, side) -> None:
    """Where tests do not pay, it is said how many pieces that costs and what price decided it."""
    setup = Setup(
        "coarse", Joint("plain"), (Band("clearance", 0.07, 0.03, 0.11),),
        (Adjuster("key", 0.02, moves={"clearance": -1.0}),),
        pieces_left=10, stakes=Stakes(30.0, 30.0, default=ReadingStakes(2.0, 3.0)),
    )  # fmt: skip
    advice = advise(setup, [Cut(1, "test", {"key": 6.0}, {"clearance": (clearance,)})])
    assert advice.step == "cut_good"
    outside = round(10 * (1.0 - advice.probability_next))
    (said,) = [line for line in advice.warnings if "pieces are expected outside" in line]
    assert said.startswith(f"About {outside} of the 10 pieces")
    assert said.endswith(f"calib setup change coarse stakes.clearance.{side}=...")
    assert f"more than {'3.0' if side == 'too_low' else '2.0'} min" in said


def test_pieces_that_will_hardly_be_spoiled_are_not_counted() -> None:
    setup = Setup(
        "fine", Joint("plain"), (Band("clearance", 0.5, 0.0, 1.0),),
        (Adjuster("key", moves={"clearance": -1.0}),),
        pieces_left=10,
    )  # fmt: skip
    advice = advise(setup, [Cut(n, "test", {"key": 6.0}, {"clearance": (0.5,)}) for n in (1, 2, 3)])
    assert advice.step == "cut_good"
    assert not any("pieces are expected outside" in line for line in advice.warnings)


def coarse_gauge(reading_sd: float) -> Setup:
    key = Adjuster("key", moves={"clearance": -1.0})
    known = Knowledge(
        cut_sd_mm=0.01, reading_sd_mm=reading_sd, move_sd_mm=0.008, scales_known=True, scale_sd=0.0,
        blunder_probability=0.0,
    )  # fmt: skip
    return Setup(
        "ruler", Joint("plain"), (Band("clearance", 0.07, 0.02, 0.12),), (key,), pieces_left=16,
        stakes=Stakes(4.0, 2.0, default=ReadingStakes(20.0, 20.0)), knowledge=known,
    )  # fmt: skip


@pytest.mark.parametrize(("reading_sd", "times"), [(0.05, 4), (0.005, 1)])
def test_a_coarse_gauge_is_read_several_times(reading_sd, times) -> None:
    """Where one reading is coarse beside the scatter of cuts, to measure again is cheaper than to cut."""
    setup, cuts = coarse_gauge(reading_sd), [Cut(1, "test", {"key": 6.0}, {"clearance": (0.5,)})]
    advice = advise(setup, cuts)
    assert any(line.startswith(f"Measure it {times} times") for line in advice.hints) == (times > 1)
    assert next_step(setup, cuts).times == times


def test_what_a_coarse_gauge_costs_is_foretold_as_if_it_were_read_several_times(monkeypatch) -> None:
    """Four readings of sd 0.05 in a test of 4 + 3 times 2 minutes are as one of sd 0.025 in 10 minutes."""
    coarse, fine = coarse_gauge(0.05), coarse_gauge(0.025)
    foretold = expected_minutes(coarse, ())
    monkeypatch.setattr(block, "worth_measuring", lambda cut, read: 1)
    priced = dataclasses.replace(fine, stakes=dataclasses.replace(fine.stakes, test_cut_min=10.0))
    assert foretold == pytest.approx(expected_minutes(priced, ()), abs=0.1)
    assert foretold < expected_minutes(coarse, ()) - 2.0


def test_words_are_not_asked_for_several_times() -> None:
    words = FeelScale({"tight": (-math.inf, 0.05), "loose": (0.05, math.inf)})
    setup = dataclasses.replace(coarse_gauge(0.05), feel=words)
    cuts = [Cut(1, "test", {"key": 6.0}, feel="tight")]
    assert next_step(setup, cuts).times == 1
    assert not any(line.startswith("Measure it") for line in advise(setup, cuts).hints)


def test_nothing_is_compared_where_nothing_is_left_to_cut() -> None:
    setup = dataclasses.replace(coarse_gauge(0.005), pieces_left=0)
    advice = advise(setup, [Cut(1, "test", {"key": 6.0}, {"clearance": (0.07,)})])
    assert advice.reasons == ()
    assert "No good pieces are left to cut, so nothing is at stake." in advice.warnings

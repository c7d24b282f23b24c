"""The simulated shop does what its truth says, and the rules do what they are called."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from calib.errors import CalibError
from calib.logfile import load_log
from calib.shop import LEARN, Adjuster, Band, Cut, Cutter, Joint, Knowledge, ReadingStakes, Setup, Stakes
from calib.simulate import RULES, Action, SimulatedShop, Truth, dial_in, draw_truth
from calib.simulate.rules import chase, chase_twice, extended, harmonic

KNOWN = Knowledge(offset_sd_mm=0.2, move_sd_mm=0.03, cut_sd_mm=0.02, reading_sd_mm=0.015, scale_sd=0.02)


def plain(landing: str = "adds", knowledge: Knowledge = KNOWN, **adjuster: float) -> Setup:
    """Return a setup with one reading and one adjuster of slope -1."""
    key = Adjuster("key", landing=landing, moves={"clearance": -1.0}, **adjuster)  # type: ignore[arg-type]
    return Setup(
        "s", Joint("plain"), (Band("clearance", 0.07, 0.02, 0.12),), (key,), pieces_left=10,
        stakes=Stakes(4.0, 2.0, default=ReadingStakes(30.0, 12.0)), knowledge=knowledge,
    )  # fmt: skip


def exact(setup: Setup, **fields: object) -> Truth:
    """Return a truth without any chance in it, except what is given."""
    names, adjusters = [b.name for b in setup.bands], [a.name for a in setup.adjusters]
    nothing, still = dict.fromkeys(names, 0.0), dict.fromkeys(adjusters, 0.0)
    return replace(Truth(nothing, nothing, nothing, still, still), **fields)  # type: ignore[arg-type]


def seeded(*seed: int) -> np.random.Generator:
    """Return a generator for a seed."""
    return np.random.default_rng(seed)


def test_truths_are_spread_as_the_prior_says() -> None:
    truths = [draw_truth(plain(), seeded(1, i)) for i in range(4000)]
    for values, sd in [
        ([t.offset_mm["clearance"] for t in truths], 0.2),
        ([t.scale_error["key"] for t in truths], 0.02),
        ([math.log(t.cut_sd_mm["clearance"] / 0.02) for t in truths], KNOWN.log_sd),
        ([math.log(t.reading_sd_mm["clearance"] / 0.015) for t in truths], KNOWN.log_sd),
        ([math.log(t.move_sd_mm["key"] / 0.03) for t in truths], KNOWN.log_sd),
    ]:
        assert np.std(values) == pytest.approx(sd, rel=4.0 / math.sqrt(2 * 4000))
        assert abs(np.mean(values)) < 4.0 * sd / math.sqrt(4000)


def test_scatter_and_move_error_have_factors_of_their_own() -> None:
    truth = draw_truth(plain(), seeded(2), scatter=2.5, move=0.4)
    assert truth.cut_sd_mm["clearance"] == pytest.approx(0.05, abs=1e-12)
    assert truth.reading_sd_mm["clearance"] == pytest.approx(0.0375, abs=1e-12)
    assert truth.move_sd_mm["key"] == pytest.approx(0.012, abs=1e-12)
    known = replace(KNOWN, scales_known=True)
    assert draw_truth(plain(knowledge=known), seeded(2)).scatter == 1.0


def test_cuts_on_one_setting_scatter_by_cut_and_reading_together() -> None:
    setup = plain()
    shop = SimulatedShop(
        setup, exact(setup, cut_sd_mm={"clearance": 0.03}, reading_sd_mm={"clearance": 0.04}), seeded(3)
    )
    values = [shop.cut(shop.start).readings["clearance"][0] for _ in range(4000)]
    assert np.std(values) == pytest.approx(0.05, rel=0.05)
    assert np.mean(values) == pytest.approx(0.07, abs=4 * 0.05 / math.sqrt(4000))


@pytest.mark.parametrize(("landing", "sd"), [("adds", 0.06), ("renews", 0.03)])
def test_errors_of_four_moves_add_up_or_renew(landing: str, sd: float) -> None:
    setup = plain(landing)
    levels = []
    for i in range(3000):
        shop = SimulatedShop(setup, exact(setup, move_sd_mm={"key": 0.03}), seeded(4, i))
        for to in (0.1, 0.2, 0.1, 0.0):
            shop.move_to({"key": to})
        levels.append(shop.level("clearance"))
    assert np.std(levels) == pytest.approx(sd, rel=4.0 / math.sqrt(2 * 3000))


def test_two_makers_in_one_shop_meet_the_same_wood_and_the_same_luck() -> None:
    setup = plain()
    truth = draw_truth(setup, seeded(5))
    one, other = (SimulatedShop(setup, truth, seeded(6)) for _ in range(2))
    first = one.cut(one.start), one.cut({"key": 0.1})
    other.cut(other.start)
    other.again()
    second = other.cut({"key": 0.1})
    assert second.settings_mm == first[1].settings_mm
    assert one.level("clearance") == other.level("clearance")
    assert one.good(3) == other.good(3)


def test_a_scale_error_shows_in_proportion_to_the_travel() -> None:
    setup = plain()
    shop = SimulatedShop(setup, exact(setup, scale_error={"key": 0.1}), seeded(7))
    assert shop.cut({"key": 0.5}).readings["clearance"][0] == pytest.approx(0.07 - 0.55, abs=1e-12)


def test_backlash_counts_only_where_the_maker_ignores_it() -> None:
    setup = plain(backlash_mm=0.05)
    for ignored, read in ((False, 0.07), (True, 0.02)):
        shop = SimulatedShop(setup, exact(setup, backlash_ignored=ignored), seeded(8))
        shop.cut({"key": 0.2})
        assert shop.cut({"key": 0.0}).readings["clearance"][0] == pytest.approx(read, abs=1e-12)


def test_a_fresh_edge_wears_fast_at_first_and_a_shift_comes_on_the_way() -> None:
    joint = Joint("finger", thickness_mm=8.0)
    setup = replace(
        plain(), joint=joint, cutter=Cutter("c", 6.0), adjusters=(Adjuster("key"),), metres_per_piece_m=1.0
    )
    shop = SimulatedShop(setup, exact(setup, wear_mm_per_m=0.01, fast_mm=0.03, fast_m=2.0), seeded(9))
    sizes = [piece["clearance"] for piece in shop.good(30)]
    steps = np.abs(np.diff(sizes))
    assert steps[0] > 1.5 * steps[-1] > 0.0
    moved = SimulatedShop(setup, exact(setup, shift_mm={"clearance": 0.2}, shift_after=3), seeded(9))
    sizes = [piece["clearance"] for piece in moved.good(5)]
    assert np.diff(sizes) == pytest.approx([0.0, 0.0, 0.2, 0.0], abs=1e-12)


@pytest.mark.parametrize("heavy", [False, True])
def test_spoiled_pieces_are_counted_as_they_fall_on_average(heavy: bool) -> None:
    setup = plain()
    truth = exact(setup, offset_mm={"clearance": 0.02}, cut_sd_mm={"clearance": 0.03}, heavy_tails=heavy)
    shop = SimulatedShop(setup, truth, seeded(10))
    above, below = shop.spoiled(1)["clearance"]
    sizes = np.array([piece["clearance"] for piece in shop.good(20_000)])
    assert above == pytest.approx((sizes > 0.12).mean(), abs=4 * math.sqrt(above / 20_000))
    assert below == pytest.approx((sizes < 0.02).mean(), abs=4 * math.sqrt(below / 20_000))
    assert np.median(np.abs(sizes - 0.09)) < (0.0192 if heavy else 0.0212)


def test_slips_come_as_often_as_they_should_and_spoil_no_piece() -> None:
    setup = plain()
    shop = SimulatedShop(setup, exact(setup, slip_probability=0.1, slip_sd_mm=1.0), seeded(11))
    values = np.array([shop.cut(shop.start).readings["clearance"][0] for _ in range(2000)])
    assert (np.abs(values - 0.07) > 1e-9).mean() == pytest.approx(0.1, abs=4 * math.sqrt(0.09 / 2000))
    assert {piece["clearance"] for piece in shop.good(50)} == {0.07}


def test_a_rounded_display_shows_only_its_steps() -> None:
    setup = plain()
    shop = SimulatedShop(setup, draw_truth(setup, seeded(12)), seeded(12), display_mm=0.01)
    reading = shop.cut(shop.start).readings["clearance"][0]
    assert reading == pytest.approx(round(reading * 100) / 100, abs=1e-12)  # type: ignore[operator]


def logged(readings: list[float], moves: list[float]) -> list[Cut]:
    """Return a log of readings less target, the key having moved in between."""
    at = np.concatenate([[0.0], np.cumsum(moves)])
    return [
        Cut(i + 1, "test", {"key": float(x)}, {"clearance": (0.07 + y,)})
        for i, (y, x) in enumerate(zip(readings, at, strict=False))
    ]


# Trace of the setup adjustment problem, derived here by exact arithmetic (D): readings less target, and the
# moves that take them out; the slope of -1 turns the sign. Grubbs 1954, harmonic, and with prior (M).
READINGS = [0.30, -0.06, 0.09, 0.02]
HARMONIC = [0.30, -0.03, 0.03, 0.005]
EXTENDED = [0.2586206897, -0.0277777778, 0.0284810127, 0.0048076923]


@pytest.mark.parametrize(("rule", "moves"), [(harmonic, HARMONIC), (extended, EXTENDED)])
def test_the_shrinking_rules_make_the_moves_of_the_published_trace(rule: object, moves: list[float]) -> None:
    known = replace(KNOWN, offset_sd_mm=0.2, cut_sd_mm=0.08, reading_sd_mm=0.0, move_sd_mm=0.0)
    setup = replace(plain(knowledge=known), bands=(Band("clearance", 0.07, 0.069, 0.071),))
    for n in range(1, 5):
        cuts = logged(READINGS[:n], moves[: n - 1])
        action = rule(setup, cuts)  # type: ignore[operator]
        assert action.step == "move_and_test"
        assert action.settings_mm["key"] - cuts[-1].settings_mm["key"] == pytest.approx(
            moves[n - 1], abs=1e-9
        )


def test_chasing_stops_at_the_first_cut_inside_or_at_the_second() -> None:
    outside, once, twice = (
        logged([0.30], []),
        logged([0.30, 0.02], [0.3]),
        logged([0.30, 0.02, -0.03], [0.3, 0.0]),
    )
    assert chase(plain(), outside) == Action("move_and_test", {"key": pytest.approx(0.30, abs=1e-12)})
    assert chase(plain(), once).step == "cut_good"
    assert chase_twice(plain(), once) == Action("test_again", {"key": 0.3})
    assert chase_twice(plain(), twice).step == "cut_good"


def test_a_rule_moves_only_by_whole_steps_and_inside_the_range() -> None:
    assert chase(plain(least_step_mm=0.08), logged([0.30], [])).settings_mm["key"] == pytest.approx(
        0.32, abs=1e-12
    )
    assert chase(plain(high_mm=0.1), logged([0.30], [])).settings_mm["key"] == 0.1


def test_a_rule_that_needs_a_slope_says_so() -> None:
    setup = replace(plain(), adjusters=(Adjuster("key", moves={"clearance": LEARN}),))
    with pytest.raises(CalibError, match="slope is to be learned"):
        chase(setup, logged([0.30], []))


def test_the_minutes_of_a_dial_in_are_its_cuts_its_moves_and_what_it_spoiled() -> None:
    setup = plain()
    truth = exact(setup, offset_mm={"clearance": 0.3}, scale_error={"key": -0.2})
    outcome = dial_in(setup, truth, seeded(13), chase)
    # 0.37 moves 0.30 but lands at 0.13; 0.13 moves 0.06 and lands at 0.082, inside
    assert [c.readings["clearance"][0] for c in outcome.cuts] == pytest.approx([0.37, 0.13, 0.082], abs=1e-12)
    assert (outcome.tests, outcome.moves, outcome.spoiled) == (3, 2, 0.0)
    assert outcome.minutes == pytest.approx(3 * 4.0 + 2 * 2.0, abs=1e-12)
    cut_at_once = dial_in(setup, truth, seeded(13), lambda s, c: Action("cut_good", c[-1].settings_mm))
    assert cut_at_once.minutes == pytest.approx(10 * 30.0, abs=1e-12)


def test_patience_ends_after_the_most_tests() -> None:
    outcome = dial_in(
        plain(),
        draw_truth(plain(), seeded(14)),
        seeded(14),
        lambda s, c: Action("test_again", c[-1].settings_mm),
        most_tests=5,
    )
    assert outcome.tests == 5


@pytest.mark.parametrize("name", list(RULES))
def test_every_rule_ends_a_dial_in_of_two_readings(name: str) -> None:
    setup, _ = load_log("sample_logs/chest-corners.toml")
    outcome = dial_in(setup, draw_truth(setup, seeded(15), scatter=0.5), seeded(15), RULES[name])
    assert 1 <= outcome.tests < 30
    assert outcome.minutes >= outcome.tests * setup.stakes.test_cut_min

"""Do the chances come true: the scores by hand, which advice counts, and a small simulated shop."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from shopkit import CORNERS, cut

from calib.errors import CalibError
from calib.monitor import honesty
from calib.present.honesty_text import honesty_lines, setup_table
from calib.shop import Band, Interval, Knowledge
from calib.simulate import SimulatedShop, draw_truth
from calib.workflow import cutters, mountings, setups
from calib.workflow.cuts import CutEntry, log_cut, measure_again, work
from calib.workflow.honesty import judge, judge_all
from calib.workflow.moves import moved_as_advised, moved_to
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop
from calib.workflow.undo import undo

NAME = "chest-corners"
ONE = replace(CORNERS, bands=CORNERS.bands[:1], adjusters=CORNERS.adjusters[:1])


def test_scores_are_those_of_the_textbook() -> None:
    """Brier score, base rate and their difference, by hand (D)."""
    found = honesty([0.9, 0.9, 0.2, 0.8], [1, 1, 0, 0])
    assert found is not None
    assert found.brier == pytest.approx((0.01 + 0.01 + 0.04 + 0.64) / 4)
    assert (found.base_rate, found.brier_base) == (0.5, 0.25)
    assert found.better_by == pytest.approx(0.25 - 0.175)
    gains = np.array([0.24, 0.24, 0.21, -0.39])
    assert found.u_better_by == pytest.approx(gains.std(ddof=1) / 2.0)
    assert found.u == pytest.approx(math.sqrt(0.09 + 0.09 + 0.16 + 0.16) / 4)


def test_bins_hold_what_was_said_in_them() -> None:
    """A chance on an edge belongs to the bin above it; the last bin holds its upper edge."""
    found = honesty([0.1, 0.2, 0.3, 1.0], [0, 1, 0, 1], edges=(0.0, 0.2, 0.5, 1.0))
    assert found is not None
    bins = [(b.low, b.count, b.came_true) for b in found.bins]
    assert bins == [(0.0, 1, 0.0), (0.2, 2, 0.5), (0.5, 1, 1.0)]
    assert found.bins[1].said == pytest.approx(0.25)


def test_what_was_told_together_is_less_sure_together() -> None:
    """Two readings of one cut count as one where a spread is estimated."""
    p, o = [0.5] * 40, [0, 1] * 20
    apart, together = honesty(p, o), honesty(p, o, [k // 2 for k in range(40)])
    assert apart is not None
    assert together is not None
    assert together.u == pytest.approx(math.sqrt(2.0) * apart.u)
    assert together.came_true == apart.came_true


def test_true_chances_lie_within_their_error_and_false_ones_do_not() -> None:
    """Seeded: 4000 forecasts; saying what is true, and saying 0.1 more."""
    rng = np.random.default_rng(5)
    p = rng.uniform(0.05, 0.85, 4000)
    o = (rng.random(4000) < p).astype(float)
    true, sure = honesty(p, o), honesty(p + 0.1, o)
    assert true is not None
    assert sure is not None
    assert abs(true.off_by) < 2.5
    assert all(abs(b.came_true - b.said) < 3.0 * b.u for b in true.bins)
    assert sure.off_by < -10.0
    assert true.better_by > 5.0 * true.u_better_by
    assert true.brier < sure.brier


@pytest.mark.parametrize(
    ("said", "came"), [([0.5], [0.5, 1.0]), ([1.2], [1.0]), ([0.5], [2.0]), ([math.nan], [1.0])]
)
def test_what_is_no_chance_is_refused(said: list[float], came: list[float]) -> None:
    with pytest.raises(CalibError, match="honesty"):
        honesty(said, came)


def test_without_forecasts_there_is_no_score() -> None:
    assert honesty([], []) is None


@pytest.fixture
def advised(shop: Shop) -> Shop:
    """A setup that was cut once and then advised on."""
    setups.add(shop, ONE)
    cut(shop, key=6.14, clearance=-0.06)
    next_step(shop, NAME)
    return shop


def follow(shop: Shop, **said: object) -> None:
    moved_as_advised(shop, NAME)
    cut(shop, **said)


def test_advice_that_was_followed_is_judged_by_the_next_cut(advised: Shop) -> None:
    follow(advised, clearance=0.06)
    (one,) = judge(advised, NAME).forecasts
    told = next_step(advised, NAME, store=False)
    assert (one.cut, one.reading, one.read_mm, one.in_band, one.in_range) == (2, "clearance", 0.06, 1.0, 1.0)
    assert one.chance is not None
    assert 0.2 < one.chance < 0.9
    assert told.readings[0].probability_measured is not None


def test_the_chance_of_a_reading_is_not_that_of_the_true_size(advised: Shop) -> None:
    """Measuring adds its own scatter: here the reading is less likely to lie in the band than the size."""
    reading = next_step(advised, NAME, store=False).readings[0]
    assert reading.probability_measured is not None
    assert reading.probability_measured < reading.probability_next


def _twice(shop: Shop) -> None:
    moved_as_advised(shop, NAME)
    moved_to(shop, NAME, {"key": 6.03})
    cut(shop, clearance=0.0)


def _mounted(shop: Shop) -> None:
    mountings.mount(shop, NAME)
    cut(shop, key=6.03, clearance=0.0)


def _sharpened(shop: Shop) -> None:
    cutters.sharpen(shop, "spiral-6")
    follow(shop, clearance=0.0)


def _changed(shop: Shop) -> None:
    setups.change(shop, NAME, replace(ONE, bands=(Band("clearance", 0.06, 0.0, 0.1),)))
    follow(shop, clearance=0.0)


@pytest.mark.parametrize(
    ("what", "reason"),
    [
        (lambda shop: cut(shop, key=6.10, clearance=0.0), "not followed"),
        (lambda shop: cut(shop, clearance=0.0, not_moved=True), "not followed"),
        (_twice, "not followed"),
        (_mounted, "mounted again"),
        (_sharpened, "sharpened"),
        (_changed, "changed"),
        (lambda shop: follow(shop, clearance=Interval(0.0, 0.1)), "nothing that can be judged"),
        (lambda shop: follow(shop, feel="hand"), "nothing that can be judged"),
    ],
)
def test_a_cut_that_was_not_made_as_advised_is_left_out(
    advised: Shop, what: Callable[[Shop], object], reason: str
) -> None:
    what(advised)
    found = judge(advised, NAME)
    assert found.forecasts == ()
    assert [reason in why for why in found.left_out] == [True]


def test_only_the_last_advice_before_a_cut_counts_and_undone_cuts_do_not(advised: Shop) -> None:
    next_step(advised, NAME, pieces_left=4)
    follow(advised, clearance=0.06)
    assert len(judge(advised, NAME).forecasts) == 1
    undo(advised, NAME)
    assert judge(advised, NAME).forecasts == ()


def test_a_second_cut_without_new_advice_is_no_second_forecast(advised: Shop) -> None:
    follow(advised, clearance=0.06)
    cut(advised, clearance=0.07)
    assert [one.cut for one in judge(advised, NAME).forecasts] == [2]


def test_the_first_measurement_counts_not_the_repeats(advised: Shop) -> None:
    follow(advised, clearance=0.02)
    measure_again(advised, 2, {"clearance": (0.08,)})
    (one,) = judge(advised, NAME).forecasts
    assert (one.read_mm, one.in_band) == (0.02, 0.0)


def test_a_reading_on_the_edge_of_its_band_counts_half(advised: Shop) -> None:
    follow(advised, clearance=0.03)
    (one,) = judge(advised, NAME).forecasts
    assert one.in_band == 0.5


def test_the_last_of_several_pieces_is_not_the_next_one_where_the_setup_creeps(shop: Shop) -> None:
    setups.add(shop, replace(ONE, knowledge=Knowledge(creep_sd_mm=0.002)))
    cut(shop, key=6.0, clearance=0.07)
    next_step(shop, NAME, stakes={"test_cut": 500.0, "move": 500.0})
    work(shop, NAME, 4, {"clearance": (0.07,)})
    assert list(judge(shop, NAME).left_out) == ["the piece that was measured was not the next one"]


def test_advice_from_before_the_chance_was_kept_is_judged_by_its_range(advised: Shop) -> None:
    """As an older program left it: no row in `advice_measured`."""
    advised.connection.execute("DROP TRIGGER advice_measured_no_delete")
    advised.connection.execute("DELETE FROM advice_measured")
    follow(advised, clearance=0.06)
    found = judge(advised, NAME)
    assert found.chances is None
    assert found.ranges is not None
    assert found.ranges.count == 1
    assert "Nine readings in ten" in " ".join(honesty_lines(found))


def test_an_empty_shop_says_what_it_takes(shop: Shop) -> None:
    whole, each = judge_all(shop)
    assert honesty_lines(whole)[0].startswith("Nothing to judge the shop by yet")
    assert setup_table(each) == []


def test_a_simulated_shop_that_follows_its_advice_is_honest(shop: Shop) -> None:
    """Two setups, four mountings each, through the store; chances and ranges within their errors."""
    for k in range(2):
        base = replace(ONE, name=f"corners-{k}")
        setups.add(shop, base)
        for number in range(4):
            rng = np.random.default_rng([21, k, number])
            machine = SimulatedShop(base, draw_truth(base, rng), rng, display_mm=0.01)
            if number:
                mountings.mount(shop, base.name)
            _dial_in(shop, base.name, machine)
    whole, each = judge_all(shop)
    assert whole.chances is not None
    assert whole.ranges is not None
    assert whole.ranges.count == sum(one.cuts for one in each) >= 20
    assert abs(whole.chances.off_by) < 3.0
    assert abs(whole.ranges.off_by) < 3.0
    assert [one.setup for one in each] == ["corners-0", "corners-1"]
    assert len(setup_table(each)) == 4
    assert all(len(line) <= 40 for line in honesty_lines(whole, 40))


def _dial_in(shop: Shop, name: str, machine: SimulatedShop) -> None:
    at = dict(machine.start)
    for _ in range(5):
        made = machine.cut(at)
        log_cut(shop, name, CutEntry(settings_mm=at, readings=made.readings))
        advice = next_step(shop, name)
        at = {**at, **{move.adjuster: move.to_mm for move in advice.moves}}

"""`calib wear`: holding, moves, the regrind, and the advice that says the same."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shopkit import ticking
from wearkit import FINGERS, Plan, simulated

from calib.decision.advise import advise
from calib.decision.ahead import look_ahead
from calib.decision.edgelife import edge_left, wear_picture
from calib.decision.upkeep import key_enters_for, schedule
from calib.errors import CalibError
from calib.monitor import holds_for
from calib.normal import cdf
from calib.regression.infer import posterior
from calib.regression.prospect import EdgeAhead, Prospect, prospect
from calib.regression.recession import EdgeBelief, Recession, WearAxis
from calib.regression.sharedwear import belief, shared_wear
from calib.shop import Adjuster, Band, Cut, Setup
from calib.workflow import cutters, keep, setups, stocks, wear
from calib.workflow.cuts import CutEntry, log_cut, work
from calib.workflow.edge import abrasive_stocks
from calib.workflow.mountings import mount
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop, open_shop

STILL, UNMOVED = np.zeros(1), np.zeros(1, dtype=bool)


def closed_case(nodes: int = 401) -> tuple[Prospect, Band]:
    """The case of the closed formula: level 0.02, slope 0.004 per metre, both normal, one course a node.

    The slope's normal prior is laid out on nodes; -2 r is a groove's width.
    """
    z = np.linspace(-7.0, 7.0, nodes)
    weights = np.exp(-0.5 * z**2)
    rate = (0.004 + 0.001 * z) / 2.0
    zero = np.zeros((nodes, 1))
    edge = EdgeAhead(Recession(rate, 0.0 * rate, 1.0 + 0.0 * rate), np.array([2.0]), 0.0, 1.0)
    mean = np.zeros((nodes, 6))
    mean[:, 0] = 0.02
    covariance = np.zeros((nodes, 6, 6))
    covariance[:, 0, 0] = 0.01**2
    future = Prospect(
        ("width",), ("fence",), weights / weights.sum(), zero[:, :, None], mean, covariance,
        zero + 0.015, zero, zero, np.array([False]), zero, np.zeros(1), np.array([[False]]), 0.0,
        np.zeros(nodes, dtype=np.intp), edge,
    )  # fmt: skip
    return future, Band("width", 0.0, -0.10, 0.10)


def test_the_closed_case_of_level_and_slope_is_met():
    """m 0.02, b 0.004, sqrt P_m 0.01, sqrt P_b 0.001, s 0.015, +-0.10: 95 % at 11.2596201 m (D)."""
    future, band = closed_case()
    ahead = look_ahead(future, STILL, UNMOVED, 0, band)
    np.testing.assert_allclose(
        ahead.inside([0.0, 5.0, 10.0, 15.0]),
        [0.9999954516, 0.9993296794, 0.9738274683, 0.8031156827],
        rtol=0, atol=1e-9,
    )  # fmt: skip
    assert ahead.most(0.95) == pytest.approx(11.2596201, abs=1e-6)
    formula = holds_for(0.02, 0.004, 0.01, 0.001, 0.0, 0.015, -0.10, 0.10, 0.95)
    assert formula.length == pytest.approx(11.2596201, abs=1e-6)


def believed(seed: int = 2, which: int = 0, **changes):
    """A simulated edge of 100 m, and what one of its setups believes."""
    edge = simulated(Plan(100.0), np.random.default_rng(seed))
    shared = shared_wear(edge.logs)
    log = edge.logs[which]
    setup = replace(log.setup, **changes)
    found = posterior(setup, log.cuts, belief(shared, log, 25.0))
    return edge, shared, setup, found


def test_the_pieces_of_the_advice_are_those_of_what_is_left_on_the_edge():
    """The same belief, the same confidence, the same place: one number."""
    edge, shared, setup, found = believed()
    told = belief(shared, edge.logs[0], 25.0)
    advice = advise(setup, edge.logs[0].cuts, wear=told)
    assert not advice.moves
    left = edge_left(setup, [prospect(found.blocks[0])])
    assert advice.holds_for_pieces == int(left.readings[0].pieces)
    assert left.metres_m == pytest.approx(left.readings[0].pieces * setup.metres_per_piece_m)


def test_nothing_is_told_of_a_wear_that_is_not_established():
    _, _, setup, found = believed()
    left = edge_left(setup, [prospect(found.blocks[0])], established=False)
    assert (left.metres_m, left.most_pieces, left.schedules) == (None, None, ())
    assert left.readings[0].pieces is None


def after_a_measured_move(setup, future, change, at):
    """The chance along the pieces after a move, one piece measured after it, written out; one adjuster."""
    mean, covariance = future.after(np.zeros((1, 1)), np.zeros((1, 1), dtype=bool))
    w, worn = future.weights, future.worn_after(at)[:, 0]
    levels = mean[:, 0, 0] + worn
    level = float(w @ levels)
    P = float(w @ (covariance[:, 0, 0, 0] + (levels - level) ** 2 + future.move_sd[:, 0] ** 2))
    noise = float(w @ (future.cut_sd[:, 0] ** 2 + future.reading_sd[:, 0] ** 2))

    def chance(n):
        middle = level - change + future.worn_after(n)[:, 0] - worn[:, None]  # slope -1
        sd = np.sqrt(P * noise / (P + noise) + future.cut_sd[:, 0] ** 2)[:, None]
        band = setup.bands[0]
        return w @ (cdf((band.high_mm - middle) / sd) - cdf((band.low_mm - middle) / sd))

    return chance


def test_each_move_of_the_schedule_is_due_when_the_chance_falls_and_can_be_reached():
    keys = (Adjuster("key", least_step_mm=0.02, low_mm=5.0, high_mm=7.0),)
    _, _, setup, found = believed(4, adjusters=keys)
    future = prospect(found.blocks[0])
    plan = schedule(setup, future, confidence=0.8)
    first, start = plan.moves[0], float(future.now_mm[0])
    assert first.from_mm == start
    still = look_ahead(future, STILL, UNMOVED, 0, setup.bands[0])
    assert first.after_pieces == pytest.approx(still.most(0.8), rel=0.01)
    for before, after in itertools.pairwise(plan.moves):
        assert before.to_mm == after.from_mm
        assert before.after_pieces < after.after_pieces
    for move in plan.moves:
        assert math.remainder(move.to_mm - move.from_mm, 0.02) == pytest.approx(0.0, abs=1e-9)
        assert setup.adjuster("key").reaches(move.to_mm)


def test_a_schedule_ends_where_the_range_of_its_adjuster_ends():
    free, short = (Adjuster("key", low_mm=low) for low in (0.0, 5.75))
    ends = []
    for key in (free, short):
        _, _, setup, found = believed(adjusters=(key,))
        ends.append(schedule(setup, prospect(found.blocks[0]), confidence=0.8).holds_pieces)
    assert ends[1] < ends[0]


def test_the_best_move_of_the_schedule_is_that_of_brute_force():
    """Every position within half a millimetre, tried one by one."""
    _, _, setup, found = believed(4, adjusters=(Adjuster("key", least_step_mm=0.02),))
    future = prospect(found.blocks[0])
    plan = schedule(setup, future, confidence=0.8)
    first, start = plan.moves[0], float(future.now_mm[0])
    looks = first.after_pieces + np.arange(0, 20_000, 5)
    ends = []
    for k in range(-25, 26):
        failing = after_a_measured_move(setup, future, 0.02 * k, first.after_pieces)(looks) < 0.8
        ends.append(int(np.argmax(failing)) if failing.any() else len(looks))
    best = int(np.argmax(ends))
    assert first.to_mm - start == pytest.approx(0.02 * (best - 25), abs=1e-9)
    assert plan.moves[1].after_pieces == pytest.approx(looks[ends[best]], rel=0.02)


def worn_setup(**changes) -> Setup:
    """Fingers on an edge that is known to wear by 0.0005 mm a metre, one course."""
    setup = replace(FINGERS, pieces_left=100, metres_per_piece_m=0.5, **changes)
    return replace(setup, knowledge=replace(setup.knowledge, scales_known=True, cut_sd_mm=0.01))


def known_wear(rate: float) -> EdgeBelief:
    one = np.ones(1)
    return EdgeBelief({"play": WearAxis(Recession(rate * one, 0.0 * one, one), np.zeros(1))})


CUTS = [Cut(n, "good", {"key": 5.9}, {"play": (0.1,)}, pieces=1, metres_m=0.0) for n in range(1, 6)]


def test_an_edge_whose_slot_no_longer_takes_the_key_is_to_be_sharpened():
    """Measured 6.00 when sharp, key 5.97: 30 m of 0.0005 mm take 0.03 mm, and no move mends that."""
    joint = replace(FINGERS.joint, key_width_mm=5.97)
    setup = worn_setup(joint=joint, cutter=replace(FINGERS.cutter, measured_mm=6.0))
    wear_known = known_wear(0.0005)
    future = prospect(posterior(setup, CUTS, wear_known).blocks[0])
    assert key_enters_for(setup, future, 0.5) == pytest.approx(60.0, rel=0.02)  # pieces of half a metre
    advice = advise(setup, CUTS, wear=wear_known)
    assert (advice.step, advice.moves) == ("resharpen", ())
    assert "narrower than the key" in advice.reasons[0]
    assert advice.actions[0].step == "resharpen"
    assert not any(" -" in reason for reason in advice.reasons)  # what is impossible is no next best
    assert advise(setup, CUTS, wear=wear_known, pieces_left=20).step != "resharpen"
    unmeasured = replace(setup, cutter=replace(setup.cutter, measured_mm=None))
    assert advise(unmeasured, CUTS, wear=wear_known).step != "resharpen"


def test_an_edge_that_no_move_can_follow_is_to_be_sharpened_when_that_is_cheaper():
    """The key is at the end of its range; the slots get narrower all the same."""
    fixed = worn_setup(adjusters=(Adjuster("key", low_mm=5.88, high_mm=5.92),))
    advice = advise(fixed, CUTS, wear=known_wear(0.002))
    assert advice.step == "resharpen"
    assert advice.best_min < advice.cut_now_min
    dear = replace(fixed, stakes=replace(fixed.stakes, regrind_min=1e6))
    assert advise(dear, CUTS, wear=known_wear(0.002)).step != "resharpen"
    free = worn_setup(adjusters=(Adjuster("key"),))
    assert advise(free, CUTS, wear=known_wear(0.0002)).step != "resharpen"


def test_what_is_only_not_known_yet_is_no_reason_to_sharpen():
    """One cut far off, dear pieces: a new edge would know no more."""
    dear = replace(
        FINGERS.stakes, default=replace(FINGERS.stakes.default, too_high_min=300.0, too_low_min=300.0)
    )
    setup = replace(FINGERS, stakes=dear)
    cuts = [Cut(1, "test", {"key": 5.9}, {"play": (0.5,)})]
    advice = advise(setup, cuts)
    assert advice.best_min > setup.stakes.regrind_min
    assert advice.step in ("move_and_test", "test_again")


def test_the_picture_has_the_recession_and_the_readings_on_it():
    edge, shared, setup, found = believed()
    left = edge_left(setup, [prospect(found.blocks[0])])
    picture = wear_picture(shared, edge.cut_m, [found.blocks], [left])
    low, middle, high = (np.array(side) for side in (picture.low_mm, picture.median_mm, picture.high_mm))
    assert np.all((low <= middle) & (middle <= high))
    assert np.all(np.diff(middle) >= 0.0)
    assert (picture.metres_m[0], low[0], high[0]) == (0.0, 0.0, 0.0)
    assert picture.metres_m[-1] > edge.cut_m
    numbers = [cut for cut in edge.logs[0].cuts if cut.readings]
    assert [point.cut for point in picture.readings] == [cut.number for cut in numbers]
    true = edge.truth.at([point.metres_m for point in picture.readings])[0]
    off = np.array([point.recession_mm for point in picture.readings]) - true
    assert np.abs(off).mean() < 4.0 * picture.readings[0].u_mm


# The store and the commands


@pytest.fixture
def shop(tmp_path: Path):
    with open_shop(tmp_path / "shop.db", now=ticking()) as opened:
        yield opened


def used_edge(shop: Shop, seed: int = 4, plan: Plan | None = None) -> None:
    """Log a simulated edge, as its two makers would say it."""
    edge = simulated(plan or Plan(120.0, visit_m=60.0, rows=10), np.random.default_rng(seed))
    for log in edge.logs:
        plain = replace(log.setup.knowledge, wear_sd_mm_per_m=0.0)
        setups.add(
            shop, replace(log.setup, cutter=replace(FINGERS.cutter), knowledge=plain, pieces_left=5000)
        )
    rows = []
    for log in edge.logs:  # the setups took turns, a mounting each
        rows += [(int(cut.mounting), log.setup.name, cut) for cut in log.cuts if cut.pieces]
    before = None
    for mounting, name, cut in sorted(rows, key=lambda row: row[0]):
        if (mounting, name) != before:
            mount(shop, name)
        before = (mounting, name)
        entry = CutEntry(cut.settings_mm, cut.readings)
        if cut.kind == "test":
            log_cut(shop, name, entry)
        else:
            work(shop, name, cut.pieces, cut.readings, settings_mm=cut.settings_mm)


def test_the_store_tells_the_same_wear_as_the_logs(shop):
    """Rows without pieces, metres of the other setup and mountings included."""
    plan = Plan(120.0, visit_m=60.0, rows=10)
    used_edge(shop, 4, plan)
    expected = shared_wear(simulated(plan, np.random.default_rng(4)).logs)
    [edge] = wear.wear(shop, "spiral").edges
    np.testing.assert_allclose(edge.rate_mm_per_100_m, 100.0 * np.array(expected.range_of_rate()), rtol=1e-6)
    assert dict(edge.rests_on) == {"fingers": 12, "trays": 12}
    assert edge.picture.now_m == pytest.approx(cutters.get(shop, "spiral").metres_m)


def test_next_and_wear_say_the_same_number_and_the_advice_can_be_computed_again(shop):
    used_edge(shop)
    report = wear.wear(shop, "spiral")
    [edge] = report.edges
    assert edge.established
    for ahead in edge.setups:
        advice = next_step(shop, ahead.setup.name)
        if not advice.moves:
            holds = ahead.left.readings[0].pieces
            assert advice.holds_for_pieces == (int(holds) if holds >= 1 else None)
    assert keep.verify(shop).problems == ()


def test_an_advice_on_an_edge_that_hardly_cut_is_as_without_wear(shop):
    setups.add(
        shop, replace(FINGERS, pieces_left=4, knowledge=replace(FINGERS.knowledge, wear_sd_mm_per_m=0.0))
    )
    log_cut(shop, "fingers", CutEntry({"key": 5.9}, {"play": (0.12,)}))
    advice = next_step(shop, "fingers")
    assert advice == advise(setups.get(shop, "fingers"), [Cut(1, "test", {"key": 5.9}, {"play": (0.12,)})])
    assert advice.holds_for_pieces is None


def test_an_abrasive_stock_counts_more_metres(shop):
    """MDF by its species, ash by what was said of it; undone, it counts as before."""
    for name, species in (("board", "MDF"), ("ash", None)):
        stocks.add(shop, name, species)
    setups.add(shop, replace(FINGERS, cutter=FINGERS.cutter))
    for stock in ("board", "ash", None):
        log_cut(
            shop, "fingers", CutEntry({"key": 5.9}, {"play": (0.1,)}, stock=stock or "cherry", metres_m=10.0)
        )
    assert wear.wear(shop, "spiral").weighed_m == pytest.approx(30.0 + 10.0 + 10.0)
    stocks.change(shop, "ash", abrasiveness=2.0)
    assert wear.wear(shop, "spiral").weighed_m == pytest.approx(60.0)
    assert cutters.get(shop, "spiral").metres_m == pytest.approx(30.0)


def test_a_setup_at_another_height_shares_the_metres_but_not_the_wear(shop):
    used_edge(shop)
    joint = replace(FINGERS.joint, thickness_mm=20.0)
    setups.add(shop, replace(FINGERS, name="posts", joint=joint))
    log_cut(shop, "posts", CutEntry({"key": 5.9}, {"play": (0.1,)}))
    report = wear.wear(shop, "spiral")
    assert [[ahead.setup.name for ahead in edge.setups] for edge in report.edges] == [
        ["fingers", "trays"],
        ["posts"],
    ]
    assert not report.edges[1].established
    assert report.edges[1].picture.now_m == pytest.approx(report.edges[0].picture.now_m)


def test_a_sharpened_cutter_starts_again(shop):
    used_edge(shop)
    cutters.sharpen(shop, "spiral", measured_mm=5.95)
    [edge] = wear.wear(shop, "spiral").edges
    assert edge.recession_mm == (0.0, 0.0, 0.0)
    assert not edge.established
    assert setups.get(shop, "fingers").cutter.measured_mm == 5.95


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ({"cutter_name": "spirl"}, 'Did you mean "spiral"'),
        ({"cutter_name": "spiral", "confidence": 1.0}, "confidence 1 will not do"),
        ({"cutter_name": "spiral", "confidence": math.nan}, "confidence nan will not do"),
        ({"cutter_name": "spiral", "regrind_min": -1.0}, "regrind -1 will not do"),
        ({"cutter_name": "spiral"}, "no setup uses cutter spiral yet"),
    ],
)
def test_what_cannot_be_answered_is_said_in_one_line(shop, said, found):
    cutters.add(shop, "spiral", 6.0)
    with pytest.raises(CalibError, match=found) as refused:
        wear.wear(shop, **said)
    assert "\n" not in str(refused.value)


def test_the_report_is_plain_json_and_fits_the_width(shop):
    from calib.present.plain import as_plain
    from calib.present.wear_text import wear_lines

    used_edge(shop)
    report = wear.wear(shop, "spiral")
    form = json.loads(json.dumps(as_plain(wear.published(report)), allow_nan=False))
    assert form["edges"][0]["setups"][0]["setup"] == "fingers"
    for width in (40, 80):
        for ascii_only in (False, True):
            lines = wear_lines(report, width, "in", ascii_only)
            assert max(map(len, lines)) <= width
            assert not ascii_only or "".join(lines).isascii()
    text = "\n".join(wear_lines(report, 80))
    assert "holds at least" in text
    assert " at 90 %" in text
    assert "never tells you" in text


def test_abrasive_stocks_and_the_measured_width_go_out_and_come_back_with_the_log(shop, tmp_path):
    """In the other shop the same metres wear the edge as much, and the advice is the same."""
    from calib.workflow.logs import export_log, import_log

    stocks.add(shop, "board", "MDF")
    setups.add(shop, replace(FINGERS, cutter=replace(FINGERS.cutter, measured_mm=5.97)))
    for play in (0.11, 0.1, 0.1):
        log_cut(shop, "fingers", CutEntry({"key": 5.9}, {"play": (play,)}, stock="board", metres_m=2.0))
    path = tmp_path / "out.toml"
    export_log(shop, "fingers", path)
    with open_shop(tmp_path / "other.db", now=ticking()) as other:
        import_log(other, path)
        assert (
            dict(setups.get(other, "fingers").abrasive) == abrasive_stocks(other.connection) == {"board": 3.0}
        )
        assert setups.get(other, "fingers").cutter.measured_mm == 5.97
        assert wear.wear(other, "spiral").weighed_m == pytest.approx(18.0)
        assert next_step(other, "fingers") == next_step(shop, "fingers")


def test_a_measured_width_is_not_changed_with_the_setup(shop):
    setups.add(shop, FINGERS)
    cutters.sharpen(shop, "spiral", measured_mm=5.97)
    setup = setups.get(shop, "fingers")
    with pytest.raises(CalibError, match=r"calib cutter sharpen spiral --measured 5\.9"):
        setups.change(shop, "fingers", replace(setup, cutter=replace(setup.cutter, measured_mm=5.9)))

"""Readings with the worth of their gauges in the model, against exact conditioning of one joint normal (D).

And clearance beside play: two readings with one offset, geometry's difference and a rest that is learned.
"""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from setups import CUT_SD, GAP, NOISE, OFFSET_SD, READING_SD, X, Y, condition_densely, gap_log, of_sum, plain

from calib.decision.advise import advise
from calib.measurement.worth import worth_as_knowledge
from calib.regression import posterior
from calib.regression.prospect import prospect
from calib.regression.terms import blocks_of
from calib.shop import Adjuster, Band, Cut, Cutter, Interval, Joint, Knowledge, Setup, Worth
from calib.simulate.truth import draw_truth

LESS_KNOWN = np.array(Y) + np.array(X)
KEEN = {"rtol": 1e-9, "atol": 1e-12}


def read_with(*worths: Worth | None) -> list[Cut]:
    """Return the six cuts of the lever, each reading with its worth."""
    return [
        dataclasses.replace(cut, worths={"gap": (worth,)})
        for cut, worth in zip(gap_log(), worths, strict=True)
    ]


def pair(seat: str = "away", **known: Any) -> Setup:
    """Return a finger joint whose clearance and play are both read; every scale is exactly known."""
    exact = {
        "offset_sd_mm": 0.2, "move_sd_mm": 0.0, "cut_sd_mm": 0.02, "reading_sd_mm": 0.01, "scale_sd": 0.0,
        "blunder_probability": 0.0, "scales_known": True, "rest_sd_mm": 0.05,
    }  # fmt: skip
    bands = (Band("clearance", 0.07, 0.03, 0.12), Band("play", 0.05, 0.0, 0.10))
    return Setup(
        "pair", Joint("finger", seat, key_width_mm=5.95), bands, (Adjuster("key"),), Cutter("six", 6.0),
        knowledge=Knowledge(**{**exact, **known}),
    )  # fmt: skip


def test_an_error_that_readings_share_is_one_term_and_repeats_do_not_make_it_smaller():
    """Outside jaws (factor -2) on four cuts, slot less finger (0) on one, an unknown gauge on the last."""
    doubled = Worth(0.02, {"c, zero": (-2.0, 0.03)})
    worths = [doubled] * 4 + [Worth(0.01), None]
    setup = dataclasses.replace(plain(), worth={"gap": doubled})
    noise = [CUT_SD**2 + 0.02**2] * 4 + [CUT_SD**2 + 0.01**2, NOISE]
    exact = condition_densely([[1, -2]] * 4 + [[1, 0]] * 2, [OFFSET_SD, 0.03], noise, LESS_KNOWN)
    found = posterior(setup, read_with(*worths))
    size, following = found.size("gap"), found.next_reading("gap")
    mean, sd = of_sum(exact, [1, 0])
    np.testing.assert_allclose([size.expected, size.u], [mean - X[-1], sd], **KEEN)
    mean, sd = of_sum(exact, [1, -2], CUT_SD**2 + 0.02**2)
    np.testing.assert_allclose([following.expected, following.u], [mean - X[-1], sd], **KEEN)


def test_many_cuts_leave_what_the_gauge_leaves():
    """Two hundred cuts by outside jaws: u of the size goes to twice the zero's u, and not to nought."""
    worth = Worth(0.02, {"c, zero": (-2.0, 0.03)})
    cuts = [Cut(n, "test", {"lever": 0.0}, {"gap": (0.1,)}, worths={"gap": (worth,)}) for n in range(1, 201)]
    wide = plain(offset_sd_mm=math.inf)
    shared = posterior(wide, cuts).size("gap").u
    alone = (
        posterior(wide, [dataclasses.replace(c, worths={"gap": (Worth(0.02),)}) for c in cuts]).size("gap").u
    )
    assert shared == pytest.approx(math.hypot(0.06, alone), rel=1e-9)
    assert alone < 0.005


def test_repeats_of_one_cut_shrink_the_repeat_error_alone():
    """D: one cut read nine times: offset prior, cut, zero and the ninth part of the repeat's variance."""
    worth = Worth(0.03, {"zero": (1.0, 0.05)})
    cuts = [Cut(1, "test", {"lever": 0.0}, {"gap": (0.1,) * 9}, worths={"gap": (worth,) * 9})]
    u = posterior(plain(offset_sd_mm=math.inf), cuts).size("gap").u
    assert u == pytest.approx(math.sqrt(CUT_SD**2 + 0.03**2 / 9 + 0.05**2), rel=1e-9)


def test_two_readings_by_one_gauge_share_its_zero_within_a_block():
    """What one reading shows of the zero is taken off the other one."""
    both = Adjuster("lever", moves={"gap": -1.0, "rise": 1.0})
    setup = plain(both, bands=(GAP, Band("rise", 0.5, 0.4, 0.6)))
    worth = Worth(READING_SD, {"zero": (1.0, 0.1)})
    cuts = [
        Cut(
            1,
            "test",
            {"lever": 0.0},
            {"gap": (0.2,), "rise": (0.6,)},
            worths={"gap": (worth,), "rise": (worth,)},
        )
    ]
    exact = condition_densely([[1, 0, 1], [0, 1, 1]], [OFFSET_SD, OFFSET_SD, 0.1], NOISE, [0.2, 0.1])
    found = posterior(setup, cuts)
    for name, at, known in (("gap", [1, 0, 0], 0.0), ("rise", [0, 1, 0], 0.5)):
        mean, sd = of_sum(exact, at)
        size = found.size(name)
        np.testing.assert_allclose([size.expected, size.u], [known + mean, sd], **KEEN)


def test_the_decision_expects_the_next_reading_as_the_posterior_does():
    """Prospect and posterior agree on mean and variance of the next reading by the setup's gauge."""
    worth = Worth(0.02, {"c, zero": (-2.0, 0.03)})
    setup = dataclasses.replace(plain(), worth={"gap": worth})
    found = posterior(setup, read_with(*[worth] * 6))
    future = prospect(found.blocks[0])
    still = np.zeros((1, 1))
    mean, covariance = future.after(still, still.astype(bool), measured=True)
    variance = covariance[0, 0, 0, 0] + future.cut_sd[0, 0] ** 2 + future.reading_sd[0, 0] ** 2
    following = found.next_reading("gap")
    np.testing.assert_allclose(
        [mean[0, 0, 0], math.sqrt(variance)], [following.expected, following.u], **KEEN
    )


def test_a_gauge_s_own_error_is_not_scaled_by_the_scatter():
    """With the scales unknown the noise of such a row keeps the gauge's variance apart."""
    setup = plain(scales_known=False)
    (row,) = blocks_of(setup, read_with(*[Worth(0.02)] * 6)[:1])[0].rows
    assert (row.scaled_variance_mm2, row.fixed_variance_mm2) == (CUT_SD**2, 0.02**2)
    (row,) = blocks_of(setup, gap_log()[:1])[0].rows
    assert (row.scaled_variance_mm2, row.fixed_variance_mm2) == (NOISE, 0.0)


def test_a_blade_s_limits_have_the_gauge_s_repeat_error_and_zero():
    """An interval with a worth: its noise, and the term of its gauge."""
    cuts = [
        Cut(
            1,
            "test",
            {"lever": 0.0},
            {"gap": (Interval(0.05, 0.1),)},
            worths={"gap": (Worth(0.01, {"b": (1.0, 0.003)}),)},
        )
    ]
    block = blocks_of(plain(), cuts)[0]
    (row,) = block.rows
    assert row.fixed_variance_mm2 == 0.01**2
    assert row.features["gauge:b"] == 1.0


def test_nine_intervals_in_ten_hold_the_true_size_whatever_the_shared_error():
    """400 simulated setups of six cuts by outside jaws, scales unknown: 90 % intervals cover 86 to 94 %."""
    rng, runs, hits = np.random.default_rng(3), 400, 0
    worth = Worth(0.012, {"zero": (-2.0, 0.02)})
    setup = plain(scales_known=False, move_sd_mm=0.02, blunder_probability=0.0)
    for _ in range(runs):
        offset, zero = rng.normal(0, OFFSET_SD), rng.normal(0, 0.02)
        scatter, move = np.exp(0.6 * rng.normal(size=2))
        x = errors = 0.0
        cuts = []
        for n in range(1, 7):
            size = offset - x - errors
            read = size + scatter * CUT_SD * rng.normal() - 2 * zero + 0.012 * rng.normal()
            cuts.append(Cut(n, "test", {"lever": x}, {"gap": (read,)}, worths={"gap": (worth,)}))
            if n < 6:
                x, errors = round(x + read, 2), errors + move * 0.02 * rng.normal()
        low, high = posterior(setup, cuts).size("gap").interval(0.9)
        hits += low <= size <= high
    assert 0.86 <= hits / runs <= 0.94


def test_a_setup_s_gauges_can_be_put_into_its_knowledge():
    """Where readings lose their gauges; the sds stay."""
    setup = dataclasses.replace(
        plain(), worth={"gap": Worth(0.02, {"zero": (-2.0, 0.03), "jaws": (1.0, 0.08)})}
    )
    known = worth_as_knowledge(setup).knowledge.of["gap"]
    assert (known.reading_sd_mm, known.zero_sd_mm) == (0.02, pytest.approx(0.1, rel=1e-12))
    assert not worth_as_knowledge(setup).worth


def test_a_better_gauge_makes_better_advice():
    """The same readings, by a gauge of u 0.08 or one of 0.01: the chance of the band grows."""

    def chance(worth: Worth) -> float:
        cuts = [Cut(n, "test", {"lever": 0.0}, {"gap": (0.0,)}, worths={"gap": (worth,)}) for n in (1, 2, 3)]
        setup = dataclasses.replace(plain(), worth={"gap": worth})
        return advise(setup, cuts).probability_next

    assert chance(Worth(0.01, {"zero": (1.0, 0.01)})) > chance(Worth(0.01, {"zero": (1.0, 0.08)})) + 0.1


def test_knowledge_for_one_call_takes_the_place_of_what_gauges_are_worth():
    """What if the reading were good to 0.005: as without a gauge, and that sd."""
    worth = Worth(0.05, {"zero": (1.0, 0.08)})
    cuts = [Cut(n, "test", {"lever": 0.0}, {"gap": (0.0,)}, worths={"gap": (worth,)}) for n in (1, 2, 3)]
    bare = [dataclasses.replace(cut, worths={}) for cut in cuts]
    told = {"gap": {"reading_sd": 0.005}}
    asked = advise(dataclasses.replace(plain(), worth={"gap": worth}), cuts, knowledge=told)
    assert asked.as_dict() == advise(plain(), bare, knowledge=told).as_dict()


# --- clearance and play ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seat", "apart"), [("away", 0.0), ("toward", -0.05)])
def test_clearance_and_play_inform_each_other_by_one_offset_and_a_rest(seat: str, apart: float):
    """Cut 1 reads both, cut 2 the clearance alone: exact conditioning on (offset, rest)."""
    setup = pair(seat)
    cuts = [
        Cut(1, "test", {"key": 5.9}, {"clearance": (0.16,), "play": (0.03,)}),
        Cut(2, "test", {"key": 5.9}, {"clearance": (0.14,)}),
    ]
    nominal = 0.1 if seat == "away" else 0.15
    y = [0.16 - nominal, 0.03 - nominal - apart, 0.14 - nominal]
    exact = condition_densely([[1, 0], [1, 1], [1, 0]], [0.2, 0.05], 0.02**2 + 0.01**2, y)
    found = posterior(setup, cuts)
    for name, at, known in (("clearance", [1, 0], nominal), ("play", [1, 1], nominal + apart)):
        mean, sd = of_sum(exact, at)
        size = found.size(name)
        np.testing.assert_allclose([size.expected, size.u], [known + mean, sd], **KEEN)


def test_a_clearance_alone_tells_the_play_to_within_the_rest():
    """Read on ten cuts, the clearance leaves the play unknown by the rest, not by the whole offset."""
    cuts = [Cut(n, "test", {"key": 5.9}, {"clearance": (0.16,)}) for n in range(1, 11)]
    found = posterior(pair(), cuts)
    clearance, play = found.size("clearance"), found.size("play")
    assert play.u == pytest.approx(math.hypot(clearance.u, 0.05), rel=1e-9)
    assert play.expected == pytest.approx(clearance.expected, abs=1e-12)


def test_clearance_and_play_are_never_pooled_as_one():
    """Lean takes 0.08 off the play on every cut: each reading keeps its own size, and the rest is learned."""
    rng = np.random.default_rng(8)
    cuts = [
        Cut(
            n,
            "test",
            {"key": 5.9},
            {"clearance": (0.15 + 0.02 * rng.normal(),), "play": (0.07 + 0.02 * rng.normal(),)},
        )
        for n in range(1, 13)
    ]
    found = posterior(pair(), cuts)
    assert found.size("clearance").expected == pytest.approx(0.15, abs=0.02)
    assert found.size("play").expected == pytest.approx(0.07, abs=0.02)
    later = [*cuts, Cut(13, "test", {"key": 5.8}, {"clearance": (0.25,)})]
    moved = posterior(pair(), later)
    assert moved.size("play").expected == pytest.approx(0.17, abs=0.02)


def test_without_a_known_difference_clearance_and_play_stay_two_readings():
    """Seat toward without the key's width: geometry does not tell the difference, so nothing is shared."""
    setup = dataclasses.replace(pair("toward"), joint=Joint("finger", "toward"))
    (block,) = blocks_of(setup, [Cut(1, "test", {"key": 5.9}, {"clearance": (0.16,)})])
    assert block.follows == {}
    assert {"span:clearance:0", "span:play:0"} <= {term.name for term in block.terms}


def test_a_simulated_shop_gives_play_the_clearance_s_offset_and_a_rest():
    setup = pair()
    rests = [
        truth.offset_mm["play"] - truth.offset_mm["clearance"]
        for truth in (draw_truth(setup, np.random.default_rng(seed)) for seed in range(400))
    ]
    assert float(np.std(rests)) == pytest.approx(0.05, rel=0.15)

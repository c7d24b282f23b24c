"""Every term of the model against exact conditioning of one joint normal distribution (D).

The referee's design matrices are written by hand from the model's equation, never taken from the program.
"""

from __future__ import annotations

import dataclasses
import itertools
import math
from typing import Any

import numpy as np
import pytest
from setups import (
    CUT_SD,
    GAP,
    MOVES_BEFORE,
    NOISE,
    OFFSET_SD,
    READING_SD,
    RISE,
    Conditioned,
    X,
    Y,
    condition_densely,
    gap_log,
    of_sum,
    plain,
    standing_at,
)

from calib.normal import cdf, pdf
from calib.regression import hypotheses, knowledge, posterior
from calib.regression.infer import Posterior
from calib.regression.knowledge import REVERSED_PROBABILITY
from calib.regression.recession import HEAD_START_M, exponential_parts, half_normal_parts, prior_axis
from calib.shop import Adjuster, Band, Cut, Cutter, FeelScale, Joint, Setup

Y_LESS_KNOWN = np.array(Y) + np.array(X)


def assert_now(
    found: Posterior, known_mm: float, exact: Conditioned, size: Any, reading: Any, name: str = "gap"
) -> None:
    """Size and next reading at the current setting: weighted sums of the referee's unknowns."""
    mean, sd = of_sum(exact, size)
    now, following = found.size(name), found.next_reading(name)
    np.testing.assert_allclose([now.expected, now.u], [known_mm + mean, sd], rtol=1e-9, atol=1e-12)
    mean, sd = of_sum(exact, reading, NOISE)
    np.testing.assert_allclose(
        [following.expected, following.u], [known_mm + mean, sd], rtol=1e-9, atol=1e-12
    )


def test_creep_counts_the_pieces_since_the_last_move():
    """Rows of 5, 5, 4 and 6 pieces, the last of each measured; the lever was moved before the third."""
    rows = [(0.0, 5, 0.02), (0.0, 5, 0.05), (0.1, 4, -0.06), (0.1, 6, -0.01)]
    cuts = [Cut(n, "good", {"lever": x}, {"gap": (y,)}, pieces=k) for n, (x, k, y) in enumerate(rows)]
    H = [[1, 4], [1, 9], [1, 3], [1, 9]]
    exact = condition_densely(H, [OFFSET_SD, 0.005], NOISE, [0.02, 0.05, 0.04, 0.09])
    found = posterior(plain(creep_sd_mm=0.005), cuts)
    assert_now(found, -0.1, exact, [1, 10], [1, 10])


def test_the_zero_of_the_gauge_is_in_every_measurement_and_in_no_piece():
    """The next reading comes from the same gauge, so what cannot be told apart cancels in it."""
    exact = condition_densely([[1, 1]] * 6, [OFFSET_SD, 0.05], NOISE, Y_LESS_KNOWN)
    found = posterior(plain(zero_sd_mm=0.05), gap_log())
    assert_now(found, -X[-1], exact, [1, 0], [1, 1])


def test_a_word_says_nothing_of_the_zero_of_the_gauge():
    """A measured cut, then a felt one: conditioned densely, then the truncated normal's moments."""
    setup = plain(zero_sd_mm=0.05, feel=FeelScale({"tight": (-math.inf, 0.0)}, 0.04))
    cuts = [*gap_log([0.0], [0.12]), Cut(2, "test", {"lever": 0.0}, feel="tight")]
    mean, sd = of_sum(condition_densely([[1, 1]], [OFFSET_SD, 0.05], NOISE, [0.12]), [1, 0])
    spread = math.sqrt(sd**2 + 0.06**2 + 0.04**2)
    z = -mean / spread
    r = float(pdf(z) / cdf(z))
    found = posterior(setup, cuts).offset("gap")
    assert found.expected == pytest.approx(mean - sd**2 * r / spread, rel=1e-9)
    assert found.u == pytest.approx(math.sqrt(sd**2 - sd**4 * r * (r + z) / spread**2), rel=1e-9)


def test_each_stock_adds_its_own_effect():
    """Two cuts in pine and two in ash; the next piece is ash."""
    values = [0.03, 0.05, -0.02, 0.01]
    stocks = ["pine", "pine", "ash", "ash"]
    cuts = [dataclasses.replace(c, stock=s) for c, s in zip(gap_log([0] * 4, values), stocks, strict=True)]
    H = [[1, 1, 0], [1, 1, 0], [1, 0, 1], [1, 0, 1]]
    exact = condition_densely(H, [OFFSET_SD, 0.04, 0.04], NOISE, values)
    assert_now(posterior(plain(stock_sd_mm=0.04), cuts), 0.0, exact, [1, 0, 1], [1, 0, 1])


@pytest.mark.parametrize("mounting_sd", [None, 0.05])
def test_a_mounting_and_a_new_edge_draw_the_offset_anew(mounting_sd):
    """Unrelated offsets, or a setup's own offset with a mounting's around it; old moves are past."""
    settings = [0.0, 0.25, 0.25, 0.20, 0.20, 0.30]
    said: list[dict[str, str]] = [{"mounting": "one"}, {}, {"mounting": "two"}, {}, {"sharpening": "b"}, {}]
    cuts = [dataclasses.replace(c, **more) for c, more in zip(gap_log(settings, Y), said, strict=True)]
    # the setup's own offset, three spans, three moves
    H = [
        [1, 1, 0, 0, 0, 0, 0],
        [1, 1, 0, 0, -1, 0, 0],
        [1, 0, 1, 0, 0, 0, 0],
        [1, 0, 1, 0, 0, -1, 0],
        [1, 0, 0, 1, 0, 0, 0],
        [1, 0, 0, 1, 0, 0, -1],
    ]
    own, span = (0.0, OFFSET_SD) if mounting_sd is None else (OFFSET_SD, mounting_sd)
    y = np.array(Y) + np.array(settings)
    exact = condition_densely(H, [own, *[span] * 3, *[0.04] * 3], NOISE, y)
    found = posterior(plain(move_sd_mm=0.04, mounting_sd_mm=mounting_sd), cuts)
    assert_now(found, -0.30, exact, H[-1], H[-1])
    mean, sd = of_sum(exact, [1, 0, 0, 1, 0, 0, 0])
    offset = found.offset("gap")
    np.testing.assert_allclose([offset.expected, offset.u], [mean, sd], rtol=1e-9)


def test_two_readings_share_the_errors_of_their_adjusters(monkeypatch):
    """Gap falls with the lever; rise follows half the lever and all of a screw that is set to a stop."""
    monkeypatch.setattr(knowledge, "REVERSED_PROBABILITY", 1e-300)
    lever = Adjuster("lever", moves={"gap": -1.0, "rise": 0.5})
    screw = Adjuster("screw", moves={"rise": 1.0}, landing="renews")
    known = {"move_sd_mm": 0.04, "scale_sd": 0.05}
    settings = [(0.0, 0.0), (0.2, 0.0), (0.2, 0.1), (0.25, 0.15)]
    gaps, rises = [0.2, 0.05, 0.02, -0.03], [0.4, 0.55, 0.6, 0.7]
    cuts = [
        Cut(n, "test", {"lever": x, "screw": z}, {"gap": (g,), "rise": (r,)})
        for n, ((x, z), g, r) in enumerate(zip(settings, gaps, rises, strict=True))
    ]
    # offset of gap, of rise, scale of lever, of screw, lever's moves 1 and 3, screw's moves 2 and 4
    gap = [[1, 0, -x, 0, 0, 0, 0, 0] for x, _ in settings]
    rise = [[0, 1, 0.5 * x, z, 0, 0, 0, 0] for x, z in settings]
    for n, (lever_moves, screw_move) in enumerate([((), None), ((4,), None), ((4,), 6), ((4, 5), 7)]):
        for m in lever_moves:
            gap[n][m], rise[n][m] = -1, 0.5
        if screw_move is not None:
            rise[n][screw_move] = 1
    y = [*(g + x for g, (x, _) in zip(gaps, settings, strict=True))]
    y += [r - 0.5 - 0.5 * x - z for r, (x, z) in zip(rises, settings, strict=True)]
    prior = [OFFSET_SD, OFFSET_SD, 0.05, 0.05, *[0.04] * 4]
    exact = condition_densely(gap + rise, prior, NOISE, y)
    found = posterior(plain(lever, screw, bands=(GAP, RISE), **known), cuts)
    assert_now(found, -0.25, exact, gap[-1], gap[-1])
    assert_now(found, 0.5 + 0.125 + 0.15, exact, rise[-1], rise[-1], "rise")
    for name, stands in (("lever", [0, 0, 0.25, 0, 1, 1, 0, 0]), ("screw", [0, 0, 0, 0.15, 0, 0, 0, 1])):
        error = found.position_error(name)
        np.testing.assert_allclose([error.expected, error.u], of_sum(exact, stands), rtol=1e-9, atol=1e-12)


def test_an_adjuster_that_was_never_moved_has_no_error_of_position():
    error = posterior(plain(move_sd_mm=0.04, scale_sd=0.05), gap_log([0.1], [0.2])).position_error("lever")
    assert (error.expected, error.u) == (0.0, 0.0)


def test_a_slope_that_is_learned_takes_the_errors_of_moves_one_to_one():
    setup = plain(Adjuster("lever", moves={"gap": "learn"}), move_sd_mm=0.04)
    H = np.array([[1.0, x, 0, 0, 0, 0] for x in X])
    for n, moved in enumerate(MOVES_BEFORE):
        H[n, 2 : 2 + moved] = 1.0
    exact = condition_densely(H, [OFFSET_SD, 3.0, *[0.04] * 4], NOISE, Y)
    assert_now(posterior(setup, gap_log()), 0.0, exact, H[-1], H[-1])


def test_a_move_to_the_same_place_is_a_move_when_it_is_said():
    """Re-set to the same stop: the error is drawn anew, so the cuts before it say less."""
    cuts = gap_log([0.1, 0.1], [0.2, 0.24])
    cuts[1] = dataclasses.replace(cuts[1], moved=frozenset({"lever"}))
    H = [[1, 0], [1, -1]]
    exact = condition_densely(H, [OFFSET_SD, 0.04], NOISE, [0.2, 0.24])
    assert_now(posterior(plain(move_sd_mm=0.04), cuts), 0.0, exact, H[-1], H[-1])


def test_a_scale_that_counts_the_other_way_weighs_as_much_as_its_density():
    """Prior odds times the density of all readings, with the slope turned and with the slope stated."""
    cuts = gap_log([0.0, 0.05, 0.02], [0.1, 0.11, 0.12])
    y, x = np.array([0.1, 0.11, 0.12]), np.array([0.0, 0.05, 0.02])
    density = []
    for slope in (-1.0, 1.0):
        H = [[1, slope * a, *[slope * (k < m) for k in range(2)]] for m, a in enumerate(x)]
        density.append(condition_densely(H, [OFFSET_SD, 0.03, 0.04, 0.04], NOISE, y - slope * x).log_density)
    odds = REVERSED_PROBABILITY * math.exp(density[1] - density[0])
    found = posterior(plain(scale_sd=0.03, move_sd_mm=0.04), cuts).blocks[0]
    assert found.reversed_scales["lever"] == pytest.approx(odds / (1.0 + odds), rel=1e-9)


def test_a_value_that_is_typed_in_cannot_count_the_other_way():
    typed = Adjuster("lever", moves={"gap": -1.0}, typed=True)
    cuts = gap_log([0.0, 0.3], [0.1, 0.4])
    assert posterior(plain(typed, scale_sd=0.03), cuts).blocks[0].reversed_scales == {}
    assert posterior(plain(scale_sd=0.03), cuts).blocks[0].reversed_scales["lever"] > 0.5


def fingers(wear_sd_mm_per_m: float) -> Setup:
    """A finger joint with the axis held; its play falls by three times the recession."""
    known = plain(wear_sd_mm_per_m=wear_sd_mm_per_m).knowledge
    return Setup(
        "fingers", Joint("finger"), (Band("play", 0.1, 0.0, 0.2),), (Adjuster("key"),),
        cutter=Cutter(nominal_mm=6.0), metres_per_piece_m=10.0, knowledge=known,
    )  # fmt: skip


def test_the_nodes_of_wear_are_the_means_of_the_parts_of_a_half_normal():
    from scipy.stats import truncnorm

    nodes, shares = half_normal_parts(0.002, (0.0, 0.2, 0.4, 0.6, 0.8, 0.95, 1.0))
    np.testing.assert_allclose(shares.sum(), 1.0, rtol=1e-12)
    edges = truncnorm.ppf(np.append(0.0, np.cumsum(shares)), 0.0, np.inf)
    edges[-1] = np.inf
    means = [truncnorm.mean(low, high) for low, high in itertools.pairwise(edges)]
    np.testing.assert_allclose(nodes, 0.002 * np.array(means), rtol=1e-9)
    assert shares @ nodes == pytest.approx(0.002 * math.sqrt(2.0 / math.pi), rel=1e-12)


@pytest.mark.parametrize("parts", [1, 2, 4])
def test_the_head_starts_are_the_means_of_the_parts_of_an_exponential(parts):
    from scipy.integrate import quad

    nodes, shares = exponential_parts(30.0, parts)
    edges = [-30.0 * math.log1p(-k / parts) for k in range(parts)] + [30.0 * 40.0]
    means = [parts * quad(lambda x: x / 30.0 * math.exp(-x / 30.0), *ends, epsabs=1e-12)[0]
             for ends in itertools.pairwise(edges)]  # fmt: skip
    np.testing.assert_allclose(nodes, means, rtol=1e-7)
    assert shares @ nodes == pytest.approx(30.0, rel=1e-12)


def test_the_prior_of_wear_has_the_means_of_rate_and_head_start():
    axis = prior_axis(0.002)
    weight = np.exp(axis.log_weight)
    assert weight.sum() == pytest.approx(1.0, rel=1e-12)
    mean_rate = 0.002 * math.sqrt(2.0 / math.pi)
    assert weight @ axis.recession.rate_mm_per_m == pytest.approx(mean_rate, rel=1e-12)
    assert weight @ axis.recession.fast_mm == pytest.approx(mean_rate * HEAD_START_M, rel=1e-12)
    assert np.ptp(prior_axis(0.002, cut_m=500.0).recession.fast_mm) == 0.0  # its quick part is behind it
    assert prior_axis(0.0).recession.at(100.0) == [0.0]


def test_rates_of_wear_weigh_as_much_as_their_density():
    """Metres before each cut 0, 10, 20, ...; one hypothesis per node, mixed by prior and density."""
    setup = fingers(0.002)
    play = [0.12, 0.10, 0.03, -0.02, -0.08]
    cuts = [Cut(n, "test", {"key": 5.9}, {"play": (p,)}) for n, p in enumerate(play)]
    nominal = 6.0 - 5.9  # play = slot - gap
    axis = prior_axis(0.002)
    metres = 10.0 * np.arange(5)
    log_weight, means, sds = [], [], []
    for k, share in enumerate(axis.log_weight):
        r = axis.recession

        def lost(m, k=k, r=r):
            return r.rate_mm_per_m[k] * m + r.fast_mm[k] * (1.0 - np.exp(-m / r.over_m[k]))

        y = np.array(play) - nominal + 3.0 * lost(metres)
        exact = condition_densely([[1]] * 5, [OFFSET_SD], NOISE, y)
        log_weight.append(share + exact.log_density)
        means.append(nominal - 3.0 * lost(50.0) + exact.mean[0])
        sds.append(math.sqrt(exact.covariance[0, 0]))
    weight = np.exp(np.array(log_weight) - max(log_weight))
    weight /= weight.sum()
    kept = weight > hypotheses.LEAST_SHARE
    weight = weight[kept] / weight[kept].sum()
    found = posterior(setup, cuts)
    np.testing.assert_allclose(found.blocks[0].recession.fast_mm, axis.recession.fast_mm[kept], rtol=1e-12)
    np.testing.assert_allclose(found.blocks[0].weights, weight, rtol=1e-9)
    np.testing.assert_allclose(found.size("play").mean, np.array(means)[kept], rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.size("play").sd, np.array(sds)[kept], rtol=1e-9)


def test_a_word_on_a_worn_edge_weighs_the_rates_of_wear():
    """Felt after 100 m: each rate shifts the play by three recessions; prior share times P(word), exactly."""
    setup = dataclasses.replace(fingers(0.002), feel=FeelScale({"tight": (-math.inf, 0.0)}, 0.04))
    cuts = [Cut(1, "good", {"key": 5.9}, pieces=10), Cut(2, "test", {"key": 5.9}, feel="tight")]
    axis = prior_axis(0.002)
    spread = math.sqrt(OFFSET_SD**2 + CUT_SD**2 + 0.04**2)
    weight = np.exp(axis.log_weight) * cdf((0.0 - 0.1 + 3.0 * axis.recession.at(100.0)) / spread)
    np.testing.assert_allclose(posterior(setup, cuts).blocks[0].weights, weight / weight.sum(), rtol=1e-9)


def test_a_new_edge_starts_its_metres_again():
    setup = fingers(0.002)
    worn = [Cut(n, "test", {"key": 5.9}, {"play": (0.1 - 0.02 * n,)}) for n in range(5)]
    found = posterior(setup, [*worn, Cut(6, "test", {"key": 5.9}, pieces=0, sharpening="new")])
    fresh = found.size("play")
    assert np.ptp(fresh.mean) == pytest.approx(0.0, abs=1e-12)  # no rate of wear acts on an unused edge

    assert fresh.u == pytest.approx(OFFSET_SD, rel=1e-9)

def test_an_edge_before_this_one_wore_at_a_rate_of_its_own():
    """Its rows do not speak of the present rate; a normal term of the same scale takes their drift."""
    setup = fingers(0.002)
    worn = [Cut(n, "test", {"key": 5.9}, {"play": (0.1 - 0.02 * n,)}, sharpening="old") for n in range(5)]
    rows = [Cut(n, "test", {"key": 5.9}, {"play": (0.1,)}, sharpening="new") for n in (6, 7, 8)]
    both, alone = posterior(setup, [*worn, *rows]), posterior(setup, rows)
    order = np.argsort(both.blocks[0].recession.fast_mm)
    np.testing.assert_allclose(both.blocks[0].weights[order],
                               alone.blocks[0].weights[np.argsort(alone.blocks[0].recession.fast_mm)],
                               rtol=1e-6)  # fmt: skip
    y = np.array([0.1 - 0.02 * n for n in range(5)]) - 0.1
    exact = condition_densely([[1.0, -3.0 * 10.0 * n] for n in range(5)], [OFFSET_SD, 0.002], NOISE, y)
    at = both.blocks[0].names.index("wear:0")
    np.testing.assert_allclose(both.blocks[0].mean[:, at], exact.mean[1], rtol=1e-9)


def test_with_the_scales_known_there_is_one_hypothesis():
    block = posterior(plain(move_sd_mm=0.04), gap_log()).blocks[0]
    np.testing.assert_array_equal(block.weights, [1.0])
    np.testing.assert_array_equal([block.scatter, block.move], [[1.0], [1.0]])


def test_before_any_cut_the_grid_weighs_as_its_prior():
    """Seven scatters by five move errors, evenly spaced in the logarithm, lognormal weights."""
    block = posterior(plain(scales_known=False, move_sd_mm=0.04, log_sd=0.6), []).blocks[0]
    scatter = np.linspace(-2.6, 2.6, 7)
    move = np.linspace(-2.2, 2.2, 5)
    expected = np.exp(-0.5 * (scatter[:, None] ** 2 + move**2)).ravel()
    np.testing.assert_allclose(block.scatter.reshape(7, 5)[:, 0], np.exp(0.6 * scatter), rtol=1e-12)
    np.testing.assert_allclose(block.move.reshape(7, 5)[0], np.exp(0.6 * move), rtol=1e-12)
    np.testing.assert_allclose(block.weights, expected / expected.sum(), rtol=1e-9)


def test_the_scatter_is_weighed_by_cuts_and_not_by_looks_at_one_cut():
    """Three cuts read twice: the scatter scales what they share, the gauge's error stays as it is."""
    values = [[0.05, 0.07], [0.12, 0.10], [-0.04, -0.01]]
    cuts = [Cut(n, "test", {"lever": 0.0}, {"gap": tuple(pair)}) for n, pair in enumerate(values)]
    block = posterior(plain(scales_known=False, log_sd=0.6), cuts).blocks[0]
    H = [[1.0, *[float(k == n) for k in range(3)]] for n in range(3) for _ in range(2)]
    log_weight = [
        condition_densely(H, [OFFSET_SD, *[CUT_SD * s] * 3], READING_SD**2, np.ravel(values)).log_density
        - 0.5 * (math.log(s) / 0.6) ** 2
        for s in block.scatter
    ]
    weight = np.exp(np.array(log_weight) - max(log_weight))
    np.testing.assert_allclose(block.weights, weight / weight.sum(), rtol=1e-9)


@pytest.mark.parametrize("sd", [0.0, math.inf])
def test_an_offset_known_exactly_or_not_at_all_is_an_answer_before_any_cut(sd):
    found = posterior(plain(offset_sd_mm=sd), [standing_at(0.3)])
    assert found.size("gap").expected == pytest.approx(0.0, abs=1e-12)
    assert found.size("gap").u == pytest.approx(hypotheses.UNKNOWN_MM if sd else 0.0, abs=1e-12)

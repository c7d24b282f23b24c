"""Words: expectation propagation against integration by brute force."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from setups import plain

from calib.normal import cdf, pdf
from calib.regression import posterior
from calib.regression.feel import condition, fit_sites, interval_moments
from calib.regression.feelalong import along
from calib.shop import Adjuster, Band, Cut, FeelScale, Interval, Setup

WORDS = {"tight": (-math.inf, -0.03), "hand": (-0.03, 0.10), "loose": (0.10, math.inf)}


SPREAD, CUT_SD, READING_SD, OFFSET_SD = 0.04, 0.02, 0.015, 0.2
#: Where the offset is defined: the key at 0, nothing read.
START = Cut(0, "test", {"key": 0.0}, pieces=0)


def setup_of(**known: object) -> Setup:
    """Return a setup whose play falls with its key, target 0.05 mm."""
    own = {"cut_sd_mm": CUT_SD, "reading_sd_mm": READING_SD, "offset_sd_mm": OFFSET_SD}
    key, play = Adjuster("key", moves={"play": -1.0}), Band("play", 0.05, 0.0, 0.1)
    return plain(key, bands=(play,), feel=FeelScale(WORDS, SPREAD), **{**own, **known})


def chance(word: str, size: np.ndarray, sd: float) -> np.ndarray:
    """Probability of a word when the size is known, its limits blurred by sd."""
    low, high = WORDS[word]
    return cdf((high - size) / sd) - cdf((low - size) / sd)


def brute(weights: np.ndarray, x: np.ndarray) -> tuple[float, float]:
    mean = float((weights * x).sum() / weights.sum())
    return mean, math.sqrt(float((weights * (x - mean) ** 2).sum() / weights.sum()))


def test_one_word_is_exact():
    """Moments of the truncated normal, with scipy's log of the distribution function as referee."""
    from scipy.special import log_ndtr

    for far in (0.0, 0.5, 10.0):  # mm: from expected to 45 sds away from what was believed
        found = posterior(setup_of(), [START, Cut(1, "test", {"key": -far}, feel="tight")]).offset("play")
        spread = math.sqrt(OFFSET_SD**2 + CUT_SD**2 + SPREAD**2)
        z = (-0.03 - 0.05 - far) / spread
        r = math.exp(-0.5 * z**2 - 0.5 * math.log(2 * math.pi) - float(log_ndtr(z)))
        assert found.expected == pytest.approx(-(OFFSET_SD**2) * r / spread, rel=1e-9)
        variance = OFFSET_SD**2 - OFFSET_SD**4 * r * (r + z) / spread**2
        assert found.u == pytest.approx(math.sqrt(variance), rel=1e-7)  # 1 - r (r + z) loses digits here


def test_words_on_several_cuts_against_integration():
    """Offset on a fine grid; each word has the scatter of its own cut and its own spread."""
    said = [("loose", 0.0), ("hand", 0.1), ("tight", 0.2), ("hand", 0.13)]
    cuts = [Cut(n, "test", {"key": x}, {}, feel=word) for n, (word, x) in enumerate(said, 1)]
    found = posterior(setup_of(), cuts).offset("play")
    offset = np.linspace(-1.0, 1.0, 40_001)
    weight = np.exp(-0.5 * (offset / OFFSET_SD) ** 2)
    for word, x in said:
        weight = weight * chance(word, 0.05 + offset - x, math.hypot(CUT_SD, SPREAD))
    mean, u = brute(weight, offset)
    assert found.expected == pytest.approx(mean, abs=1e-6)  # one unknown: exact
    assert found.u == pytest.approx(u, abs=1e-6)


def test_a_move_between_two_words_lands_with_its_own_error():
    """Two unknowns (offset, error of the move) integrated on a grid."""
    cuts = [Cut(1, "test", {"key": 0.0}, feel="loose"), Cut(2, "test", {"key": 0.15}, feel="hand")]
    found = posterior(setup_of(move_sd_mm=0.05), cuts)
    offset, error = np.meshgrid(np.linspace(-1.0, 1.0, 1601), np.linspace(-0.3, 0.3, 241), indexing="ij")
    sd = math.hypot(CUT_SD, SPREAD)
    weight = np.exp(-0.5 * ((offset / OFFSET_SD) ** 2 + (error / 0.05) ** 2))
    weight *= chance("loose", 0.05 + offset, sd) * chance("hand", 0.05 + offset - 0.15 - error, sd)
    for name, values in (("offset", offset), ("error", error)):
        mean, u = brute(weight, values)
        at = found.offset("play") if name == "offset" else found.position_error("key")
        assert at.expected == pytest.approx(mean, abs=1e-3), name
        assert at.u == pytest.approx(u, abs=1e-3), name


def test_a_number_and_a_word_share_the_scatter_of_their_cut():
    """Two unknowns (offset, the cut's own draw) integrated on a grid."""
    found = posterior(setup_of(), [Cut(1, "test", {"key": 0.0}, {"play": (0.12,)}, feel="hand")])
    offset, draw = np.meshgrid(np.linspace(-0.8, 0.8, 1601), np.linspace(-0.12, 0.12, 241), indexing="ij")
    size = 0.05 + offset + draw
    weight = np.exp(
        -0.5 * ((offset / OFFSET_SD) ** 2 + (draw / CUT_SD) ** 2 + ((0.12 - size) / READING_SD) ** 2)
    )
    mean, u = brute(weight * chance("hand", size, SPREAD), offset)
    assert found.offset("play").expected == pytest.approx(mean, abs=1e-9)  # one word: EP is exact
    assert found.offset("play").u == pytest.approx(u, abs=1e-9)


def test_blades_and_a_word_on_one_cut_against_integration():
    """Two feeler blades and a word on one cut, all with the same draw; then a felt cut elsewhere."""
    blades = (Interval(0.05, 0.10), Interval(0.08, math.inf))
    cuts = [
        Cut(1, "test", {"key": 0.0}, {"play": blades}, feel="hand"),
        Cut(2, "test", {"key": 0.1}, {}, feel="tight"),
    ]
    found = posterior(setup_of(), cuts).offset("play")
    offset, draw = np.meshgrid(np.linspace(-0.8, 0.8, 1601), np.linspace(-0.12, 0.12, 241), indexing="ij")
    size = 0.05 + offset + draw
    weight = np.exp(-0.5 * ((offset / OFFSET_SD) ** 2 + (draw / CUT_SD) ** 2))
    for blade in blades:
        low, high = (blade.low_mm - size) / READING_SD, (blade.high_mm - size) / READING_SD
        weight *= cdf(high) - cdf(low)
    weight *= chance("hand", size, SPREAD)
    weight *= chance("tight", 0.05 + offset - 0.1, math.hypot(CUT_SD, SPREAD))
    mean, u = brute(weight, offset)
    assert found.expected == pytest.approx(mean, abs=1e-3)
    assert found.u == pytest.approx(u, abs=1e-3)


def test_the_order_of_words_and_blades_on_a_cut_does_not_matter():
    setup = setup_of(scales_known=False, blunder_probability=0.02, move_sd_mm=0.03)
    answers = []
    for order in itertools.permutations((Interval(0.05, 0.10), 0.07, Interval(0.08, math.inf))):
        cuts = [
            Cut(1, "test", {"key": 0.0}, {"play": order}, feel="hand"),
            Cut(2, "test", {"key": 0.1}, {}, feel="tight"),
        ]
        found = posterior(setup, cuts).next_reading("play")
        answers.append((found.expected, found.u))
    np.testing.assert_allclose(answers, [answers[0]] * 6, rtol=1e-9)


def test_a_word_weighs_the_hypotheses_by_its_probability():
    """One word far from what was expected speaks for a large scatter: prior times P(word), exactly."""
    setup = setup_of(scales_known=False)
    block = posterior(setup, [START, Cut(1, "test", {"key": -0.6}, feel="tight")]).blocks[0]
    spread = np.sqrt(OFFSET_SD**2 + (CUT_SD * block.scatter) ** 2 + SPREAD**2)
    prior = np.exp(-0.5 * (np.log(block.scatter) / setup.knowledge.log_sd) ** 2)
    weight = prior * cdf((-0.03 - 0.05 - 0.6) / spread)
    np.testing.assert_allclose(block.weights, weight / weight.sum(), rtol=1e-9)


@pytest.mark.parametrize("width", [3.0, 1e4, math.inf])
def test_words_alone_place_an_offset_that_was_quite_unknown(width):
    """Loose here and tight 0.2 mm on: the two words alone, integrated over a flat prior.

    Two words open to the far side are the hardest case for expectation propagation: its sites alone give a u
    that is 4 % too wide; integrated along the shared offset it is exact.
    """
    cuts = [Cut(1, "test", {"key": 0.0}, feel="loose"), Cut(2, "test", {"key": 0.2}, feel="tight")]
    found = posterior(setup_of(offset_sd_mm=width), cuts).offset("play")
    offset = np.linspace(-1.0, 1.0, 40_001)
    sd = math.hypot(CUT_SD, SPREAD)
    prior = np.exp(-0.5 * (offset / width) ** 2)
    mean, u = brute(prior * chance("loose", 0.05 + offset, sd) * chance("tight", offset - 0.15, sd), offset)
    assert found.expected == pytest.approx(mean, abs=1e-6)
    assert found.u == pytest.approx(u, rel=1e-4)


def test_the_order_of_words_does_not_matter():
    said = [("loose", 0.0), ("hand", 0.1), ("tight", 0.2)]
    answers = []
    for order in itertools.permutations(range(3)):
        m = np.array([[-said[i][1] for i in order]])
        S = np.full((1, 3, 3), 0.04)
        low = np.array([[WORDS[said[i][0]][0] - 0.05 for i in order]])
        high = np.array([[WORDS[said[i][0]][1] - 0.05 for i in order]])
        sites = fit_sites(m, S, low, high, np.full((1, 3), 0.002))
        mean, reduction = condition(np.zeros((1, 1)), np.full((1, 1, 3), 0.04), m, S, sites)
        answers.append((mean[0, 0], reduction[0, 0, 0], sites.log_evidence[0]))
    np.testing.assert_allclose(answers, [answers[0]] * 6, rtol=1e-9, atol=1e-12)


def test_the_evidence_of_two_words_is_their_joint_probability():
    """P(both words) by integration over the shared unknown; EP is close, not exact."""
    m, S = np.zeros((1, 2)), np.full((1, 2, 2), 0.01)
    low, high, noise = np.array([[-0.05, 0.0]]), np.array([[0.1, np.inf]]), np.full((1, 2), 0.0016)
    sites = fit_sites(m, S, low, high, noise)
    u = np.linspace(-0.8, 0.8, 20_001)
    density = np.exp(-0.5 * u**2 / 0.01) / math.sqrt(2 * math.pi * 0.01)
    first = cdf((0.1 - u) / 0.04) - cdf((-0.05 - u) / 0.04)
    second = cdf(u / 0.04)
    exact = float((density * first * second).sum() * (u[1] - u[0]))
    assert math.exp(sites.log_evidence[0]) == pytest.approx(exact, rel=0.01)
    cross = np.full((1, 1, 2), 0.01)
    shift, change, log_gain = along(m, S, cross, sites, low, high, noise)
    assert math.exp(sites.log_evidence[0] + log_gain[0]) == pytest.approx(exact, rel=1e-8)
    mean, reduction = condition(np.zeros((1, 1)), cross, m, S, sites)
    weight = density * first * second
    expected, sd = brute(weight, u)
    assert mean[0, 0] + shift[0, 0] == pytest.approx(expected, abs=1e-8)
    assert 0.01 - reduction[0, 0, 0] + change[0, 0, 0] == pytest.approx(sd**2, abs=1e-9)


def test_one_word_is_left_as_it_is_and_the_order_of_words_does_not_matter_along_the_direction():
    m, S = np.array([[0.02, 0.02, -0.05]]), np.full((1, 3, 3), 0.04) + 0.002 * np.eye(3)
    low, high = np.array([[-np.inf, 0.0, -0.03]]), np.array([[0.1, np.inf, 0.1]])
    noise, cross = np.full((1, 3), 0.002), np.array([[[0.04, 0.04, 0.04]]])
    answers = []
    for order in ([0, 1, 2], [2, 0, 1]):
        part = m[:, order], S[:, order][:, :, order]
        limits = low[:, order], high[:, order]
        sites = fit_sites(*part, *limits, noise)
        answers.append([float(x.ravel()[0]) for x in along(*part, cross, sites, *limits, noise)])
    np.testing.assert_allclose(answers[0], answers[1], rtol=1e-8, atol=1e-12)
    single = fit_sites(m[:, :1], S[:, :1, :1], low[:, :1], high[:, :1], noise[:, :1])
    nothing = along(m[:, :1], S[:, :1, :1], cross[:, :, :1], single, low[:, :1], high[:, :1], noise[:, :1])
    assert all(np.all(part == 0.0) for part in nothing)


def test_moments_of_a_one_sided_word_are_those_of_the_truncated_normal():
    """Mean m - s^2 r / sqrt(s^2 + w^2), r = phi(z) / Phi(z) (McKelvey and Zavoina 1975, M)."""
    m, s2, w2, t = 0.12, 0.003, 0.0036, 0.10
    found = interval_moments(np.array([m]), np.array([s2 + w2]), np.array([-np.inf]), np.array([t]))
    z = (t - m) / math.sqrt(s2 + w2)
    r = float(pdf(z)) / float(cdf(z))
    assert m + s2 * found.slope[0] == pytest.approx(m - s2 * r / math.sqrt(s2 + w2), rel=1e-12)
    assert s2 + s2**2 * found.curvature[0] == pytest.approx(s2 - s2**2 * r * (r + z) / (s2 + w2), rel=1e-12)


@pytest.mark.parametrize("far", [5.0, 40.0, 400.0, -40.0])
def test_a_word_far_from_what_was_expected_stays_finite(far):
    found = interval_moments(np.array([far]), np.array([1.0]), np.array([-1.0]), np.array([1.0]))
    assert np.isfinite([found.log_probability[0], found.slope[0], found.curvature[0]]).all()
    assert -1.0 - 1e-9 <= found.curvature[0] <= 0.0


def test_contradicting_words_and_numbers_do_not_crash():
    setup = setup_of(scales_known=False, blunder_probability=0.02)
    cuts = [
        Cut(1, "test", {"key": 0.0}, {"play": (3.0,)}, feel="tight"),
        Cut(2, "test", {"key": 0.0}, {"play": (-3.0,)}, feel="loose"),
        Cut(3, "test", {"key": 0.0}, {}, feel="tight"),
        Cut(4, "test", {"key": 0.0}, {}, feel="loose"),
    ]
    low, high = posterior(setup, cuts).next_reading("play").interval(0.9)
    assert math.isfinite(low)
    assert low < high


def test_a_blade_that_goes_and_one_that_does_not_are_an_interval():
    """An interval is a reading: its noise is the gauge's, not a word's spread."""
    setup = setup_of(offset_sd_mm=1.0)
    cuts = [Cut(n, "test", {"key": 0.0}, {"play": (Interval(0.10, 0.15),)}) for n in range(1, 6)]
    found = posterior(setup, cuts).size("play")
    assert 0.10 < found.expected < 0.15
    assert found.u < 0.02


def test_the_scatter_is_learned_from_words_too():
    """Words that jump about speak for a large scatter."""
    setup = dataclasses.replace(setup_of(scales_known=False), feel=FeelScale(WORDS, 0.005))
    calm = [Cut(n, "test", {"key": 0.0}, {}, feel="hand") for n in range(1, 9)]
    wild = [Cut(n, "test", {"key": 0.0}, {}, feel=w) for n, w in enumerate(["tight", "loose"] * 4, 1)]
    of = []
    for cuts in (calm, wild):
        block = posterior(setup, cuts).blocks[0]
        of.append(float(block.weights @ np.log(block.scatter)))
    assert of[1] > of[0] + 0.5

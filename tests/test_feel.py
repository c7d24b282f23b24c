"""Words: expectation propagation against integration by brute force."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest

from calib.normal import cdf, pdf
from calib.regression import posterior
from calib.regression.feel import condition, fit_sites, interval_moments
from calib.shop import Adjuster, Band, Cut, FeelScale, Interval, Joint, Knowledge, Setup

WORDS = {"tight": (-math.inf, -0.03), "hand": (-0.03, 0.10), "loose": (0.10, math.inf)}


def setup_of(**known: object) -> Setup:
    exact: dict[str, object] = {
        "offset_sd_mm": 0.2, "move_sd_mm": 0.0, "cut_sd_mm": 0.02, "reading_sd_mm": 0.015, "scale_sd": 0.0,
        "blunder_probability": 0.0, "scales_known": True,
    }  # fmt: skip
    return Setup(
        "fingers", Joint("plain"), (Band("play", 0.05, 0.0, 0.1),), (Adjuster("key", moves={"play": -1.0}),),
        knowledge=Knowledge(**{**exact, **known}), feel=FeelScale(WORDS, 0.04),  # type: ignore[arg-type]
    )  # fmt: skip


def brute(weights: np.ndarray, x: np.ndarray) -> tuple[float, float]:
    mean = float((weights * x).sum() / weights.sum())
    return mean, math.sqrt(float((weights * (x - mean) ** 2).sum() / weights.sum()))


def test_words_on_several_cuts_against_integration():
    """Offset on a fine grid; each word has the scatter of its own cut and its own spread."""
    said = [("loose", 0.0), ("hand", 0.1), ("tight", 0.2), ("hand", 0.13)]
    cuts = [Cut(n, "test", {"key": x}, {}, feel=word) for n, (word, x) in enumerate(said, 1)]
    found = posterior(setup_of(), cuts).offset("play")
    offset = np.linspace(-1.0, 1.0, 40_001)
    weight = np.exp(-0.5 * (offset / 0.2) ** 2)
    sd = math.hypot(0.02, 0.04)
    for word, x in said:
        low, high = WORDS[word]
        size = 0.05 + offset - x
        weight = weight * (cdf((high - size) / sd) - cdf((low - size) / sd))
    mean, u = brute(weight, offset)
    assert found.expected == pytest.approx(mean, abs=1e-3)
    assert found.u == pytest.approx(u, rel=0.02)


def test_a_number_and_a_word_share_the_scatter_of_their_cut():
    """Two unknowns (offset, the cut's own draw) integrated on a grid."""
    found = posterior(setup_of(), [Cut(1, "test", {"key": 0.0}, {"play": (0.12,)}, feel="hand")])
    offset, draw = np.meshgrid(np.linspace(-0.8, 0.8, 1601), np.linspace(-0.12, 0.12, 241), indexing="ij")
    size = 0.05 + offset + draw
    weight = np.exp(-0.5 * ((offset / 0.2) ** 2 + (draw / 0.02) ** 2 + ((0.12 - size) / 0.015) ** 2))
    low, high = WORDS["hand"]
    weight *= cdf((high - size) / 0.04) - cdf((low - size) / 0.04)
    mean, u = brute(weight, offset)
    assert found.offset("play").expected == pytest.approx(mean, abs=2e-5)
    assert found.offset("play").u == pytest.approx(u, rel=1e-3)


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

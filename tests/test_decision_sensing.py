"""How much a test tells a maker who has only a hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from setups import plain

from calib.decision.advise import advise
from calib.decision.sensing import blunter, word_sd_mm
from calib.normal import cdf
from calib.setupform import default_words
from calib.shop import Adjuster, Band, Cut, FeelScale

SCALE = FeelScale(default_words("finger", "clearance"), 0.04)


def test_one_limit_tells_as_much_as_a_reading_with_pi_half_of_the_variance():
    """At the limit itself: information 4 phi(0)^2 / w^2 = (2 / pi) / w^2."""
    scale = FeelScale({"tight": (-math.inf, 0.0), "loose": (0.0, math.inf)}, 0.04)
    assert word_sd_mm(scale, 0.0) == pytest.approx(0.04 * math.sqrt(math.pi / 2), rel=1e-12)


@pytest.mark.parametrize("size", [-0.3, -0.05, 0.06, 0.15, 0.4])
def test_the_information_of_a_word_is_the_spread_of_its_score(size):
    """Referee: the variance of d log P / dc over the words, by differences."""
    ends = np.array(list(SCALE.words.values()))

    def chances(at: float) -> np.ndarray:
        z = (ends - at) / SCALE.spread_mm
        return cdf(z[:, 1]) - cdf(z[:, 0])

    h, p = 1e-5, chances(size)
    score = (chances(size + h) - chances(size - h)) / (2 * h) / np.maximum(p, 1e-300)
    assert word_sd_mm(SCALE, size) == pytest.approx(1.0 / math.sqrt(float(p @ score**2)), rel=1e-5)


def test_far_from_the_target_another_word_tells_less_by_what_it_leaves_unknown():
    """Referee: the variance that a word leaves of N(m, v), integrated on a grid."""
    mean, sd, target, cut_sd = 0.39, 0.16, 0.07, 0.02

    def like(at: float) -> float:
        c = np.linspace(at - 8 * sd, at + 8 * sd, 8001)
        weight = np.exp(-0.5 * ((c - at) / sd) ** 2)
        weight /= weight.sum()
        noise = math.hypot(SCALE.spread_mm, cut_sd)
        left = 0.0
        for low, high in SCALE.words.values():
            p = (cdf((high - c) / noise) - cdf((low - c) / noise)) * weight
            share = p.sum()
            left += share * (float(p @ c**2) / share - (float(p @ c) / share) ** 2) if share > 1e-12 else 0.0
        return sd**2 * left / (sd**2 - left)

    expected = math.sqrt(like(mean) / like(target))
    assert blunter(SCALE, mean, sd, target, cut_sd) == pytest.approx(expected, rel=1e-3)
    assert blunter(SCALE, target, sd, target, cut_sd) == 1.0


def test_after_a_word_from_far_out_the_advice_is_to_move_and_not_to_hear_it_again():
    setup = plain(
        Adjuster("key", least_step_mm=0.02, moves={"clearance": -1.0}),
        bands=(Band("clearance", 0.07, 0.03, 0.10),),
        feel=SCALE,
        scales_known=False,
        offset_sd_mm=0.3,
        cut_sd_mm=0.02,
        move_sd_mm=0.025,
    )
    for word in ("rattles", "nostart"):
        advice = advise(setup, [Cut(1, "test", {"key": 0.0}, {}, feel=word)], pieces_left=16)
        assert advice.step == "move_and_test"
        assert (advice.moves[0].change_mm > 0.1) == (word == "rattles")

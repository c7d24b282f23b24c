"""A hand's words, re-fitted to cuts that were felt and measured."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from setups import plain

from calib.normal import cdf
from calib.regression import posterior
from calib.regression.feelpairs import fits_of, pairs_of
from calib.regression.feelscale import LOG_GAP_SD, LOG_SPREAD_SD, refit, words_in_order
from calib.regression.ordered import fit_ordered
from calib.setupform import default_words, with_word
from calib.shop import Adjuster, Band, Cut, FeelPair, FeelScale, Interval

SCALE = FeelScale(default_words("finger", "clearance"))
ORDER = words_in_order(SCALE)
STATED = np.array([SCALE.words[word][1] for word in ORDER[:-1]])


def pairs(rng: np.random.Generator, limits: np.ndarray, spread: float, n: int, u: float) -> list[FeelPair]:
    """Return n cuts of a dial-in: felt with the hand's own spread, measured with an error of sd u."""
    size = rng.normal(0.04, 0.1, n)
    felt, read = size + spread * rng.standard_normal(n), size + u * rng.standard_normal(n)
    words = np.searchsorted(limits, felt)
    return [FeelPair(ORDER[k], float(y), u) for k, y in zip(words, read, strict=True)]


def covered(draw, runs: int, u: float) -> tuple[float, float]:
    """Return how often the 90 % intervals of limits, and of the spread, hold the truth."""
    rng = np.random.default_rng(12)
    inside, of_spread = [], []
    for _ in range(runs):
        limits, spread = draw(rng)
        found = refit(SCALE, pairs(rng, limits, spread, 60, u))
        inside += [one.low_mm <= t <= one.high_mm for one, t in zip(found.limits, limits, strict=True)]
        of_spread.append(found.spread_low_mm <= spread <= found.spread_high_mm)
    return float(np.mean(inside)), float(np.mean(of_spread))


def a_maker(rng: np.random.Generator) -> tuple[np.ndarray, float]:
    """Return a maker out of the prior: shifted, with other gaps and another spread."""
    gaps = np.diff(STATED) * np.exp(LOG_GAP_SD * rng.standard_normal(len(STATED) - 1))
    away = np.concatenate([[0.0], np.cumsum(gaps)])
    anchor = STATED[2] + 0.6 * SCALE.spread_mm * rng.standard_normal()
    return anchor + away - away[2], 0.7 * SCALE.spread_mm * math.exp(LOG_SPREAD_SD * rng.standard_normal())


@pytest.mark.parametrize("u", [0.015, 0.03])
def test_sixty_pairs_bring_the_limits_back_with_honest_intervals(u):
    """Makers out of the prior, 80 of them with five limits each: 85 to 95 % of the 90 % intervals hold."""
    of_limits, of_spread = covered(a_maker, 80, u)
    assert 0.85 <= of_limits <= 0.95
    assert 0.82 <= of_spread <= 0.98  # 80 draws: one standard error is 0.034


def test_a_maker_far_from_the_stated_scale_is_found_too():
    """All limits 0.05 mm up, two prior sds: still covered, and the mean error is a hundredth of a mm."""
    of_limits, _ = covered(lambda rng: (STATED + 0.05, 0.03), 60, 0.015)
    assert 0.85 <= of_limits <= 0.96
    found = refit(SCALE, pairs(np.random.default_rng(2), STATED + 0.05, 0.03, 300, 0.015))
    np.testing.assert_allclose([one.mean_mm for one in found.limits], STATED + 0.05, rtol=0, atol=0.015)


def test_few_pairs_stay_with_the_stated_scale_and_many_leave_it():
    rng = np.random.default_rng(3)
    moved = []
    for n in (1, 5, 60):
        found = refit(SCALE, pairs(rng, STATED + 0.08, 0.03, n, 0.015))
        moved.append(abs(found.limits[2].mean_mm - STATED[2]))
    assert moved[0] < 0.035
    assert moved[2] == pytest.approx(0.08, abs=0.02)
    assert refit(SCALE, []) is None


def test_the_integral_over_the_prior_is_that_of_a_fine_grid():
    """Two words: limit and spread integrated on a grid, with the error of the measured side."""
    scale = FeelScale({"tight": (-math.inf, 0.0), "loose": (0.0, math.inf)}, 0.04)
    told = [FeelPair("tight", -0.02, 0.02), FeelPair("loose", 0.0, 0.02), FeelPair("loose", 0.05, 0.02)]
    found = refit(scale, told)
    y = np.array([pair.value_mm for pair in told])
    own = max(float(np.mean((y - y.mean()) ** 2 - 0.02**2)), 0.0)
    spread2 = (3 * own + 4 * 0.1**2) / 7
    rho = spread2 / (spread2 + 0.02**2)
    size = y.mean() + rho * (y - y.mean())
    limit, log_w = np.meshgrid(np.linspace(-0.15, 0.15, 601), np.linspace(-6.0, -1.8, 301), indexing="ij")
    weight = np.exp(-0.5 * (limit / 0.024) ** 2 - 0.5 * ((log_w - math.log(0.028)) / 0.35) ** 2)
    sd = np.sqrt(np.exp(2 * log_w) + rho * 0.02**2)
    for m, pair in zip(size, told, strict=True):
        below = cdf((limit - m) / sd)
        weight *= below if pair.word == "tight" else 1 - below
    weight /= weight.sum()
    mean = float((weight * limit).sum())
    u = math.sqrt(float((weight * (limit - mean) ** 2).sum()))
    assert found.limits[0].mean_mm == pytest.approx(mean, abs=4 * u / math.sqrt(2000))
    assert found.limits[0].u_mm == pytest.approx(u, rel=0.06)


def test_an_error_of_the_measured_side_is_not_taken_for_the_hands_own_spread():
    """Measured with 0.04 mm, felt with 0.02: who takes the readings as exact finds a spread far too wide."""
    rng = np.random.default_rng(6)
    told = pairs(rng, STATED, 0.02, 400, 0.04)
    found = refit(SCALE, told)
    as_exact = refit(SCALE, [replace(pair, u_mm=1e-6) for pair in told])
    assert found.spread_low_mm <= 0.02 <= found.spread_high_mm
    assert as_exact.spread_low_mm > 0.03


def test_with_many_exact_pairs_the_limits_are_those_of_most_likelihood():
    """The prior hardly counts then: the engine without one is the referee."""
    told = pairs(np.random.default_rng(7), STATED + 0.02, 0.03, 1500, 1e-6)
    found = refit(SCALE, told)
    word = np.array([ORDER.index(pair.word) for pair in told])
    bare = fit_ordered(np.array([[pair.value_mm] for pair in told]), word, words=6)
    limits, u = bare.limits / bare.slopes[0], bare.limits_u / bare.slopes[0]
    assert found.spread_mm == pytest.approx(1.0 / bare.slopes[0], rel=0.04)
    for one, t, error in zip(found.limits, limits, u, strict=True):
        assert one.mean_mm == pytest.approx(t, abs=1.0 * error)


def test_words_that_do_not_follow_on_each_other_keep_their_limits():
    gap = FeelScale({"tight": (-math.inf, 0.0), "loose": (0.05, math.inf)})
    closed = FeelScale({"tight": (-0.1, 0.0), "loose": (0.0, math.inf)})
    for scale in (gap, closed, FeelScale({"any": (-math.inf, math.inf)})):
        assert refit(scale, [FeelPair(next(iter(scale.words)), 0.0, 0.01)] * 5) is None


SETUP = plain(
    Adjuster("key", moves={"play": -1.0}),
    bands=(Band("play", 0.05, 0.0, 0.1),),
    feel=SCALE,
    cut_sd_mm=0.02,
    reading_sd_mm=0.015,
    offset_sd_mm=0.2,
    scales_known=False,
)


def felt(number: int, word: str, *values: object, by: str | None = None, key: float = 0.0) -> Cut:
    return Cut(number, "test", {"key": key}, {"play": tuple(values)} if values else {}, feel=word, by=by)


def test_pairs_are_cuts_with_a_word_and_a_number_and_repeats_are_one_measurement():
    cuts = [
        felt(1, "hand", 0.06, 0.08),
        felt(2, "palm"),
        felt(3, "hand", Interval(0.0, 0.1)),
        felt(4, "palm", 0.0),
    ]
    found = pairs_of(SETUP, cuts)
    assert [(pair.word, pair.value_mm) for pair in found] == [("hand", pytest.approx(0.07)), ("palm", 0.0)]
    assert found[0].u_mm == pytest.approx(0.015 / math.sqrt(2))


def test_every_hand_has_a_scale_of_its_own_and_it_enters_the_belief():
    """Ada says hand where the others say slides: a later word of hers alone means what she means by it."""
    ada = [felt(n, "hand", 0.16 + 0.01 * (n % 3), by="ada") for n in range(1, 16)]
    ben = [felt(n, "hand", 0.06 + 0.01 * (n % 3), by="ben") for n in range(16, 31)]
    fits = fits_of(SETUP, [*ada, *ben])
    assert fits["ada"].scale.words["hand"][0] > fits["ben"].scale.words["hand"][0] + 0.03
    elsewhere = replace(SETUP, feel=replace(SCALE, pairs=pairs_of(SETUP, [*ada, *ben])))
    means = {
        who: posterior(elsewhere, [felt(31, "hand", by=who)]).size("play").expected
        for who in ("ada", "ben", None)
    }
    assert means["ada"] > means["ben"] + 0.03
    stated = posterior(SETUP, [felt(31, "hand")]).size("play").expected
    assert means[None] == pytest.approx(stated, abs=1e-12)  # who never measured keeps the stated scale


def test_words_of_one_hand_do_not_hang_on_the_order_of_the_cuts():
    cuts = [felt(n, w, y) for n, (w, y) in enumerate([("hand", 0.05), ("palm", 0.01), ("slides", 0.2)], 1)]
    there, back = fits_of(SETUP, cuts)[None], fits_of(SETUP, cuts[::-1])[None]
    assert there.limits[2].mean_mm == pytest.approx(back.limits[2].mean_mm, abs=1e-9)


def test_a_word_that_is_moved_or_added_takes_from_its_neighbours():
    words = with_word(SCALE.words, "hand", 0.02, 0.09)
    assert words["palm"] == (-0.03, 0.02)
    assert words["slides"] == (0.09, 0.20)
    added = with_word(SCALE.words, "snug", 0.03, 0.06)
    assert list(added)[2:5] == ["palm", "snug", "hand"]
    assert added["hand"] == (0.06, 0.10)
    assert words_in_order(FeelScale(added))[3] == "snug"

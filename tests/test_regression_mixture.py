"""A mixture of normal distributions: moments, distribution function, quantiles and intervals."""

from __future__ import annotations

import math

import numpy as np
import pytest
from setups import CUT_SD, OFFSET_SD, READING_SD, gap_log, plain

from calib.regression import posterior
from calib.regression.mixture import Mixture
from calib.shop import Cut

THREE = Mixture(np.array([0.5, 0.3, 0.2]), np.array([0.0, 1.0, -4.0]), np.array([1.0, 0.1, 2.0]))


def test_moments_are_those_of_a_large_integral():
    x = np.linspace(-25.0, 15.0, 400_001)
    density = sum(
        w / (s * math.sqrt(2 * math.pi)) * np.exp(-0.5 * ((x - m) / s) ** 2)
        for w, m, s in zip(THREE.weights, THREE.mean, THREE.sd, strict=True)
    )
    step = x[1] - x[0]
    mean = float((density * x).sum() * step)
    assert THREE.expected == pytest.approx(mean, abs=1e-9)
    assert THREE.u == pytest.approx(math.sqrt(float((density * (x - mean) ** 2).sum() * step)), rel=1e-9)


def test_the_distribution_function_is_the_weighted_sum():
    from scipy.stats import norm

    for value in (-6.0, -4.0, 0.0, 0.95, 1.0, 3.0):
        expected = float(THREE.weights @ norm.cdf(value, THREE.mean, THREE.sd))
        assert THREE.cdf(value) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("probability", [1e-6, 0.05, 0.2, 0.5, 0.75, 0.95, 1 - 1e-6])
def test_a_quantile_undoes_the_distribution_function(probability):
    assert THREE.cdf(THREE.quantile(probability)) == pytest.approx(probability, rel=1e-8)


@pytest.mark.parametrize("coverage", [0.5, 0.9, 0.99])
def test_an_interval_leaves_equal_tails(coverage):
    low, high = THREE.interval(coverage)
    assert THREE.cdf(low) == pytest.approx(0.5 * (1 - coverage), rel=1e-8)
    assert THREE.cdf(high) == pytest.approx(0.5 * (1 + coverage), rel=1e-8)


def test_one_component_is_a_normal_distribution():
    one = Mixture(np.ones(1), np.array([0.3]), np.array([0.04]))
    assert (one.expected, one.u) == (0.3, 0.04)
    # 1.6448536269514722: the 95 % point of the normal distribution (any table; M)
    assert one.interval(0.9) == pytest.approx(
        (0.3 - 0.04 * 1.6448536269514722, 0.3 + 0.04 * 1.6448536269514722), abs=1e-11
    )


def test_a_certain_value_has_an_interval_of_no_width():
    certain = Mixture(np.ones(1), np.array([0.3]), np.zeros(1))
    assert certain.interval(0.9) == pytest.approx((0.3, 0.3), abs=1e-9)
    assert (certain.cdf(0.29), certain.cdf(0.31)) == (0.0, 1.0)


def test_a_component_far_away_and_very_narrow_is_found():
    """A slip far off must not hide the rest: the quantile lies in the wide gap's right half."""
    far = Mixture(np.array([0.97, 0.03]), np.array([0.0, 500.0]), np.array([0.01, 0.01]))
    assert far.quantile(0.5) == pytest.approx(0.01 * 0.0387911, abs=1e-5)
    assert far.quantile(0.99) == pytest.approx(500.0, abs=0.02)


def test_moments_of_a_posterior_s_mixture_are_those_of_its_terms():
    """Means and covariances mixed over the hypotheses agree with those of each single answer."""
    found = posterior(plain(scales_known=False, move_sd_mm=0.04, blunder_probability=0.02), gap_log())
    block = found.blocks[0]
    at = block.names.index("span:gap:0")
    assert block.mixed_mean[at] == pytest.approx(found.offset("gap").expected, rel=1e-12)
    assert math.sqrt(block.mixed_covariance[at, at]) == pytest.approx(found.offset("gap").u, rel=1e-12)


def test_the_next_reading_is_wider_than_the_size_by_cut_and_reading():
    found = posterior(plain(), gap_log())
    size, reading = found.size("gap"), found.next_reading("gap")
    assert reading.expected == size.expected
    assert reading.u == pytest.approx(math.sqrt(size.u**2 + CUT_SD**2 + READING_SD**2), rel=1e-12)


def test_before_any_cut_the_next_reading_is_the_prior_around_the_target():
    for cuts in ([], [Cut(0, "test", {"lever": 0.0}, pieces=0)]):
        reading = posterior(plain(), cuts).next_reading("gap")
        assert reading.expected == 0.0
        assert reading.u == pytest.approx(math.sqrt(OFFSET_SD**2 + CUT_SD**2 + READING_SD**2), rel=1e-12)

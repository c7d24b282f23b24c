"""The normal distribution: against math.erfc on single numbers and scipy on whole arrays."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest

from calib import normal

GRID = np.concatenate([np.linspace(-37.0, 37.0, 20011), np.linspace(-0.05, 0.05, 1001)])


def test_cdf_agrees_with_the_complementary_error_function() -> None:
    expected = np.array([0.5 * math.erfc(-z / math.sqrt(2.0)) for z in GRID.tolist()])
    np.testing.assert_allclose(normal.cdf(GRID), expected, rtol=0.0, atol=1e-15)
    # erfc itself rounds its argument z/sqrt(2), which costs z^2 ulp in the tail
    np.testing.assert_allclose(normal.cdf(GRID), expected, rtol=1e-12, atol=0.0)


def test_logarithm_hazard_and_density_agree_with_scipy_to_a_thousand_deviations() -> None:
    stats = pytest.importorskip("scipy.stats")
    wide = np.concatenate([GRID, -np.geomspace(36.0, 1000.0, 500)])
    np.testing.assert_allclose(normal.log_cdf(wide), stats.norm.logcdf(wide), rtol=1e-12, atol=0.0)
    np.testing.assert_allclose(normal.pdf(GRID), stats.norm.pdf(GRID), rtol=1e-12, atol=0.0)
    tame = wide[np.abs(wide) < 30.0]
    expected = np.exp(stats.norm.logpdf(tame) - stats.norm.logcdf(tame))
    np.testing.assert_allclose(normal.hazard(tame), expected, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize(
    ("z", "log_cdf", "hazard"),
    [
        # D: 50-digit arithmetic (mpmath, erfc), so no other library's rounding is in it
        (-8.0, -35.01343715991455, 8.1213681122361127),
        (-30.0, -454.3212439563432, 30.033259667433677),
        (-37.0, -689.03058557689059, 37.02698768612699),
        (-100.0, -5005.5242086942051, 100.00999800099926),
    ],
)
def test_lower_tail_has_all_its_digits(z: float, log_cdf: float, hazard: float) -> None:
    assert normal.log_cdf(z) == pytest.approx(log_cdf, rel=1e-15, abs=0.0)
    assert normal.hazard(z) == pytest.approx(hazard, rel=2e-15, abs=0.0)


def test_quantile_agrees_with_scipy_and_goes_back_and_forth() -> None:
    stats = pytest.importorskip("scipy.stats")
    p = np.concatenate([np.geomspace(1e-300, 0.5, 2000), np.linspace(0.0001, 0.9999, 2001)])
    np.testing.assert_allclose(normal.quantile(p), stats.norm.ppf(p), rtol=1e-13, atol=1e-15)
    z = np.linspace(-36.0, 5.0, 999)
    np.testing.assert_allclose(normal.quantile(normal.cdf(z)), z, rtol=1e-9, atol=1e-14)


def test_infinities_are_limits_and_not_numbers_stay_so() -> None:
    z = np.array([-math.inf, math.inf, math.nan])
    np.testing.assert_array_equal(normal.pdf(z), [0.0, 0.0, math.nan])
    np.testing.assert_array_equal(normal.cdf(z), [0.0, 1.0, math.nan])
    np.testing.assert_array_equal(normal.log_cdf(z), [-math.inf, 0.0, math.nan])
    np.testing.assert_array_equal(normal.hazard(z), [math.inf, 0.0, math.nan])
    p = np.array([0.0, 1.0, 0.5, math.nan])
    np.testing.assert_array_equal(normal.quantile(p), [-math.inf, math.inf, 0.0, math.nan])


def test_numbers_too_large_to_square_raise_no_warning() -> None:
    assert normal.cdf(-1e200) == 0.0
    assert normal.cdf(1e200) == 1.0
    assert normal.hazard(-1e200) == pytest.approx(1e200, rel=1e-15)


def test_a_float_gives_a_float_and_an_array_keeps_its_shape() -> None:
    assert type(normal.cdf(0.3)) is float
    assert normal.cdf(np.zeros((2, 3, 4))).shape == (2, 3, 4)
    assert normal.quantile(np.zeros((0,))).shape == (0,)


@pytest.mark.parametrize("p", [-0.01, 1.01])
def test_an_impossible_probability_is_refused(p: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        normal.quantile(p)


def test_importing_it_loads_no_scipy() -> None:
    code = "import sys, calib.normal; sys.exit(any(m.split('.')[0] == 'scipy' for m in sys.modules))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

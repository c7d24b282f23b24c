"""The calibration line: its intervals, its limits and its refusals."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.errors import CalibError
from calib.regression.line import fit_line

X = [5.9, 6.0, 6.05, 6.1, 6.2]
Y = [0.21, 0.12, 0.06, 0.02, -0.09]


def test_it_agrees_with_an_independent_least_squares() -> None:
    line = fit_line(X, Y)
    (slope, intercept), covariance = np.polyfit(X, Y, 1, cov=True)
    assert (line.slope, line.intercept) == pytest.approx((slope, intercept), rel=1e-10)
    np.testing.assert_allclose(line.covariance, covariance[::-1, ::-1], rtol=1e-9)


def test_unequal_weights_agree_with_the_normal_equations() -> None:
    u = np.array([0.01, 0.02, 0.01, 0.04, 0.02])
    line = fit_line(X, Y, u=u)
    design = np.column_stack([np.ones(5), X]) / u[:, np.newaxis]
    covariance = np.linalg.inv(design.T @ design)
    expected = covariance @ design.T @ (np.array(Y) / u)
    np.testing.assert_allclose([line.intercept, line.slope], expected, rtol=1e-9)
    np.testing.assert_allclose(line.covariance, covariance, rtol=1e-8)


def test_row_order_and_unit_do_not_matter() -> None:
    line, turned = fit_line(X, Y), fit_line(X[::-1], Y[::-1])
    inches = fit_line(np.array(X) / 25.4, np.array(Y) / 25.4)
    assert turned.slope == pytest.approx(line.slope, rel=1e-12)
    assert inches.slope == pytest.approx(line.slope, rel=1e-12)
    in_mm, in_inches = line.setting_for(0.07), inches.setting_for(0.07 / 25.4)
    assert in_inches.low is not None
    assert in_inches.high is not None
    assert (25.4 * in_inches.low, 25.4 * in_inches.high) == pytest.approx((in_mm.low, in_mm.high), rel=1e-12)


def test_a_scale_far_from_zero_loses_no_digits() -> None:
    near = fit_line([0.0, 1.0, 2.0, 3.0], [0.1, 0.9, 2.2, 2.8])
    far = fit_line([1e6, 1e6 + 1, 1e6 + 2, 1e6 + 3], [0.1, 0.9, 2.2, 2.8])
    assert far.slope == pytest.approx(near.slope, rel=1e-13)
    assert far.predict(1e6 + 1.5).standard_uncertainty == pytest.approx(
        near.predict(1.5).standard_uncertainty, rel=1e-12
    )


def test_prediction_has_the_shape_of_x_and_the_variance_of_the_covariance() -> None:
    line = fit_line(X, Y)
    x = np.array([[5.5, 6.0], [6.5, 7.0]])
    prediction = line.predict(x)
    c = line.covariance
    np.testing.assert_allclose(prediction.mean, line.intercept + line.slope * x, rtol=1e-12)
    expected = np.sqrt(c[0, 0] + 2 * x * c[0, 1] + x**2 * c[1, 1])
    np.testing.assert_allclose(prediction.standard_uncertainty, expected, rtol=1e-6)


@pytest.mark.parametrize("exact", [False, True])
def test_ends_of_the_interval_solve_fiellers_equation(exact: bool) -> None:
    """|y0 - line(x)| = k u at both ends, checked with scipy's quantiles."""
    stats = pytest.importorskip("scipy.stats")
    line = fit_line(X, Y, u=0.02 if exact else None)
    k = stats.norm.ppf(0.95) if exact else stats.t.ppf(0.95, 3)
    v_y = 0.02**2 if exact else line.scale
    setting = line.setting_for(0.07, confidence=0.90, of="reading", repeats=2)
    assert setting.low is not None
    assert setting.high is not None
    for x in (setting.low, setting.high):
        at = line.predict(x)
        spread = k * math.sqrt(v_y / 2 + at.standard_uncertainty**2)
        assert abs(0.07 - at.mean) == pytest.approx(spread, rel=1e-9)


def test_a_slope_lost_in_scatter_is_not_established() -> None:
    setting = fit_line([1.0, 2.0, 3.0, 4.0], [0.10, 0.02, 0.12, 0.05]).setting_for(0.07)
    assert setting.g >= 1.0
    assert not setting.established
    assert (setting.low, setting.high) == (None, None)
    assert setting.estimate is not None


def test_fiellers_g_turns_at_the_t_ratio_of_the_slope() -> None:
    """g = 1 where the slope's own interval just touches 0."""
    stats = pytest.importorskip("scipy.stats")
    line = fit_line([1.0, 2.0, 3.0, 4.0], [0.10, 0.02, 0.12, 0.05])
    ratio = abs(line.slope) / line.standard_uncertainties[1]
    touching = 2.0 * stats.t.cdf(ratio, 2) - 1.0
    assert line.setting_for(0.07, confidence=touching - 1e-6).established
    assert not line.setting_for(0.07, confidence=touching + 1e-6).established


def test_equal_readings_have_no_slope_and_no_setting() -> None:
    line = fit_line([6.0, 6.1, 6.3], [0.1, 0.1, 0.1])
    assert line.slope == 0.0
    assert line.setting_for(0.1).estimate is None
    with pytest.raises(CalibError, match="slope is 0"):
        line.setting_uncertainty(0.1)


def test_interval_covers_the_setting_as_often_as_it_says() -> None:
    rng = np.random.default_rng(20240611)
    x = np.array([5.9, 6.0, 6.1, 6.2])
    inside = 0
    for _ in range(400):
        setting = fit_line(x, 6.1 - x + rng.normal(0.0, 0.02, 4)).setting_for(0.05, confidence=0.9)
        if not setting.established:  # then the interval is unbounded, and does cover
            inside += 1
            continue
        assert setting.low is not None
        assert setting.high is not None
        inside += setting.low <= 6.05 <= setting.high
    assert 0.855 <= inside / 400 <= 0.945  # three standard errors of 400 draws at 90 %


def test_two_points_with_known_uncertainty_are_enough() -> None:
    line = fit_line([0.0, 1.0], [0.0, 2.0], u=0.1)
    assert line.slope == pytest.approx(2.0, rel=1e-12)
    assert line.standard_uncertainties == pytest.approx((0.1, 0.1 * math.sqrt(2.0)), rel=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "u", "message"),
    [
        ([1.0, 2.0], [1.0, 2.0], None, "2 points are too few"),
        ([1.0], [1.0], 0.1, "1 points are too few"),
        ([1.0, 1.0, 1.0], [1.0, 2.0, 3.0], None, "all x are 1"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], None, "x has 3 values and y has 2"),
        ([1.0, math.nan, 3.0], [1.0, 2.0, 3.0], None, "x number 2 is nan"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, math.inf], None, "y number 3 is inf"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.1, 0.0, 0.1], "u number 2 is 0"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], -0.1, "u number 1 is -0.1"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], [0.1, 0.1], "3 points but 2 values of u"),
    ],
)
def test_points_that_make_no_line_are_refused_in_one_line(
    x: list[float], y: list[float], u: float | list[float] | None, message: str
) -> None:
    with pytest.raises(CalibError, match=message) as caught:
        fit_line(x, y, u)
    assert "\n" not in str(caught.value)


def test_questions_that_cannot_be_answered_are_refused() -> None:
    line, uneven = fit_line(X, Y), fit_line([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], u=[0.1, 0.2, 0.1])
    with pytest.raises(CalibError, match="confidence"):
        line.setting_for(0.1, confidence=95)
    with pytest.raises(CalibError, match="repeats"):
        line.setting_for(0.1, of="reading", repeats=0)
    with pytest.raises(CalibError, match="known: mean, reading"):
        line.setting_for(0.1, of="cut")  # type: ignore[arg-type]
    with pytest.raises(CalibError, match="y0 is nan"):
        line.setting_for(math.nan)
    with pytest.raises(CalibError, match="different u"):
        uneven.setting_for(2.0, of="reading")
    with pytest.raises(CalibError, match="not negative"):
        line.setting_uncertainty(0.1, u_y0=-1.0)

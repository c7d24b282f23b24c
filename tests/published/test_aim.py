"""Numbers of the setup adjustment problem and of the worth of one more test.

Label D: computed from the exact equation, a regression value with no outside evidence.
Label S: source read or quoted in a public copy. Label M: source named from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.decision.aim import (
    adjusting_moves,
    aim_linear,
    aim_quadratic,
    planned_tests,
    risk_after,
    step_loss,
    unit_normal_loss,
    value_of_information,
    value_of_one_more,
)
from calib.errors import CalibError

ERRORS = (0.30, -0.06, 0.09, 0.02)


def test_harmonic_moves():
    """Rule: Grubbs 1954, reprinted J. Quality Technology 15(4), 1983 (M). Numbers: D."""
    moves, _ = adjusting_moves(ERRORS, 0.0064)
    assert moves == pytest.approx([-0.30, 0.03, -0.03, -0.005], abs=1e-12)


def test_moves_with_a_prior():
    """Rule: Grubbs 1983; del Castillo, Pan, Colosimo 2003, JQT 35(3) (M). Numbers: D."""
    moves, sds = adjusting_moves(ERRORS, 0.08**2, 0.20**2)
    assert moves == pytest.approx([-0.2586206897, 0.0277777778, -0.0284810127, -0.0048076923], abs=1e-10)
    assert sds == pytest.approx([0.0742781353, 0.0544331054, 0.0450035160, 0.0392232270], abs=1e-10)


def test_aim_under_linear_costs():
    """3 to 1: the lower quartile of the standard normal (D)."""
    assert aim_linear(3.0, 1.0) == pytest.approx(-0.6744897502, abs=1e-6)
    assert aim_linear(1.0, 3.0) == pytest.approx(0.6744897502, abs=1e-6)


@pytest.mark.parametrize(("ratio", "aim"), [(2, -0.2760297948), (4, -0.5491558211), (10, -0.9014615963)])
def test_aim_under_quadratic_costs(ratio, aim):
    """D, to the 1e-6 that is promised (two independent root finders agree on ...8048 for ratio 2)."""
    assert aim_quadratic(ratio) == pytest.approx(aim, abs=1e-6)


def test_aim_under_quadratic_costs_is_the_minimum_by_quadrature():
    """Independent referee: the expected cost integrated on a fine grid."""
    x = np.linspace(-12, 12, 240_001)
    weight = np.exp(-0.5 * x**2)
    aims = np.linspace(-1.0, 0.0, 1001)
    costs = [float(np.sum(weight * np.where(x + m > 0, 4.0, 1.0) * (x + m) ** 2)) for m in aims[::20]]
    assert aims[::20][int(np.argmin(costs))] == pytest.approx(aim_quadratic(4.0), abs=0.02)


def test_risk_of_planned_tests():
    """Quadratic loss 100, sigma^2 0.0064, sd^2 0.04, cost 0.05 (D)."""
    risks = [risk_after(n, 100.0, 0.0064, 0.04, 0.05) for n in range(6)]
    expected = [4.0, 0.6017241379, 0.3962962963, 0.3525316456, 0.3538461538, 0.3740310078]
    assert risks == pytest.approx(expected, abs=1e-10)
    assert planned_tests(100.0, 0.0064, 0.04, 0.05) == 3


def test_one_more_test_is_worth_the_fall_of_the_risk():
    """k P^2 / (P + sigma^2) is the difference of two risks without the cost of the test."""
    before, after = risk_after(0, 100.0, 0.0064, 0.04, 0.0), risk_after(1, 100.0, 0.0064, 0.04, 0.0)
    assert value_of_one_more(100.0, 0.04, 0.0064) == pytest.approx(before - after, rel=1e-12)


@pytest.mark.parametrize(
    ("u", "loss"), [(0.0, 0.3989422804), (0.5, 0.1977965574), (1.0, 0.0833154706), (2.0, 0.0084907026)]
)
def test_unit_normal_loss(u, loss):
    """Raiffa and Schlaifer 1961 (M); values D."""
    assert unit_normal_loss(u) == pytest.approx(loss, abs=1e-10)


def test_the_value_of_information_is_what_drawn_tests_are_worth():
    """Independent referee: 400,000 drawn posterior means, three standard errors."""
    rng = np.random.default_rng(4)
    spread = 0.04 / math.sqrt(0.04 + 0.0064)
    gains = 7.0 * np.maximum(rng.normal(-0.1, spread, 400_000), 0.0)
    error = gains.std() / math.sqrt(len(gains))
    assert abs(value_of_information(7.0, 0.1, 0.04, 0.0064) - gains.mean()) < 3.0 * error


@pytest.mark.parametrize(
    ("variance", "minutes"),
    [(0.04, 24.8390), (0.00551, 8.4662), (0.00296, 4.2998), (0.00203, 2.5874), (0.00154, 1.7170)],
)
def test_loss_of_a_band(variance, minutes):
    """T 0.10, s^2 0.0009, R 40 (D); the variances are printed to three digits, hence the tolerance."""
    assert step_loss(40.0, 0.10, variance, 0.0009) == pytest.approx(minutes, rel=3e-3)


def test_a_cost_that_is_not_above_zero_is_refused():
    with pytest.raises(CalibError, match="not above 0"):
        aim_quadratic(0.0)

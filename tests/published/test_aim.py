"""Numbers of the setup adjustment problem and of the worth of one more test.

Label S: source read or quoted in a public copy. Label M: source named from memory.
Label D: derived from the exact equation, a regression value with no outside evidence. Tolerances are half
of the last printed digit.
"""

from __future__ import annotations

import pytest

from calib.decision.aim import (
    aim_linear,
    aim_quadratic,
    extended_moves,
    harmonic_moves,
    planned_cuts,
    risk_after,
    step_loss,
    two_action_value,
    unit_normal_loss,
)

READINGS = (0.30, -0.06, 0.09, 0.02)
TEN_DIGITS = 0.5e-10
QUADRATIC = {"loss": 100.0, "test_variance": 0.0064, "prior_variance": 0.04, "test_cost": 0.05}


def test_moves_by_the_harmonic_rule():
    """Rule: Grubbs 1954, reprinted J. Quality Technology 15(4), 1983 (M). Numbers: D, exact."""
    assert harmonic_moves(READINGS) == pytest.approx([-0.30, 0.03, -0.03, -0.005], rel=0, abs=1e-15)


def test_moves_when_the_offset_has_a_prior():
    """Rule: Grubbs 1983; del Castillo, Pan, Colosimo 2003, J. Quality Technology 35(3) (M). Numbers: D."""
    moves, sds = extended_moves(READINGS, 0.08, 0.20)
    expected = [-0.2586206897, 0.0277777778, -0.0284810127, -0.0048076923]
    assert moves == pytest.approx(expected, rel=0, abs=TEN_DIGITS)
    expected = [0.0742781353, 0.0544331054, 0.0450035160, 0.0392232270]
    assert sds == pytest.approx(expected, rel=0, abs=TEN_DIGITS)


def test_share_of_each_reading_that_is_moved_back():
    """D: readings of 1 show the gains k_n."""
    moves, _ = extended_moves((1.0,) * 4, 0.08, 0.20)
    gains = [0.8620689655, 0.4629629630, 0.3164556962, 0.2403846154]
    assert [-move for move in moves] == pytest.approx(gains, rel=0, abs=TEN_DIGITS)


def test_aim_under_linear_costs():
    """D: over the target three times as dear, so one piece in four may lie there."""
    aim = aim_linear(cost_below=1.0, cost_above=3.0)
    assert aim == pytest.approx(-0.6744897502, rel=0, abs=TEN_DIGITS)


@pytest.mark.parametrize(("ratio", "aim"), [(2, -0.2760298048), (4, -0.5491558211), (10, -0.9014615963)])
def test_aim_under_quadratic_costs(ratio, aim):
    """D. An earlier value for ratio 2, -0.2760297948, is 1e-8 off: it is no root of the derivative.

    Brent's method on another form of the derivative gives -0.27602980479814 (tests/test_decision_aim.py).
    """
    assert aim_quadratic(ratio) == pytest.approx(aim, rel=0, abs=TEN_DIGITS)


def test_cost_of_planned_tests():
    """D: quadratic loss 100, test variance 0.0064, prior variance 0.04, a test 0.05."""
    costs = [risk_after(n, **QUADRATIC) for n in range(6)]
    expected = [4.0, 0.6017241379, 0.3962962963, 0.3525316456, 0.3538461538, 0.3740310078]
    assert costs == pytest.approx(expected, rel=0, abs=TEN_DIGITS)
    assert planned_cuts(**QUADRATIC) == 3


@pytest.mark.parametrize(
    ("u", "loss"), [(0.0, 0.3989422804), (0.5, 0.1977965574), (1.0, 0.0833154706), (2.0, 0.0084907026)]
)
def test_unit_normal_loss(u, loss):
    """Raiffa and Schlaifer 1961 (M); values D. Read also through the worth of a test that tells all."""
    assert unit_normal_loss(u) == pytest.approx(loss, rel=0, abs=TEN_DIGITS)
    assert two_action_value(1.0, u, 1.0, 0.0) == pytest.approx(loss, rel=0, abs=TEN_DIGITS)


@pytest.mark.parametrize(
    ("variance", "minutes"),
    [(0.04, 24.8390), (0.00551, 8.4662), (0.00296, 4.2998), (0.00203, 2.5874), (0.00154, 1.7170)],
)
def test_loss_of_a_band(variance, minutes):
    """D: half width 0.10 mm, scatter variance 0.0009 mm^2, 40 minutes a piece outside."""
    assert step_loss(40.0, 0.10, variance, 0.0009) == pytest.approx(minutes, rel=0, abs=0.5e-4)

"""The textbook answers against independent referees: quadrature, brute force and drawn cuts."""

from __future__ import annotations

import math

import numpy as np
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
    value_of_one_more,
)
from calib.errors import CalibError


def expected_cost(aim: float, above: float, below: float, power: int) -> float:
    """Integrate above or below times |e|^power over e ~ N(aim, 1), each side by itself."""
    integrate, stats = pytest.importorskip("scipy.integrate"), pytest.importorskip("scipy.stats")
    sides = ((above, 0.0, 14.0), (below, -14.0, 0.0))
    return sum(
        cost * integrate.quad(lambda e: abs(e) ** power * stats.norm.pdf(e - aim), low, high, epsrel=1e-12)[0]
        for cost, low, high in sides
    )


@pytest.mark.parametrize("ratio", [0.25, 1.0, 3.0, 20.0])
@pytest.mark.parametrize("power", [1, 2])
def test_no_other_aim_costs_less(ratio, power):
    """Both neighbours cost more, and by like amounts: the slope is 0 there."""
    aim = aim_linear(cost_below=1.0, cost_above=ratio) if power == 1 else aim_quadratic(ratio)
    step = 1e-3
    under, at, over = (expected_cost(aim + d, ratio, 1.0, power) for d in (-step, 0.0, step))
    assert min(under, over) > at
    curvature = (under - 2.0 * at + over) / step**2
    assert abs(over - under) / (2.0 * step) < 1e-5 * curvature  # within 1e-5 sd of the minimum


@pytest.mark.parametrize("ratio", [2.0, 4.0, 10.0, 1e4])
def test_the_aim_under_quadratic_costs_is_the_root_that_another_solver_finds(ratio):
    """Brent's method on ratio (m Phi(m) + phi(m)) = phi(m) - m Phi(-m), with scipy's normal."""
    optimize, stats = pytest.importorskip("scipy.optimize"), pytest.importorskip("scipy.stats")

    def slope(m: float) -> float:
        over = m * stats.norm.cdf(m) + stats.norm.pdf(m)
        return float(ratio * over - (over - m))  # the two sides differ by m

    root = optimize.brentq(slope, -8.0, 0.0, xtol=1e-14)
    assert aim_quadratic(ratio) == pytest.approx(root, rel=0, abs=1e-12)


@pytest.mark.parametrize("ratio", [1.0, 2.0, 10.0, 1e6, 1e30])
def test_swapping_the_sides_mirrors_the_aim(ratio):
    assert aim_quadratic(1.0 / ratio) == pytest.approx(-aim_quadratic(ratio), rel=0, abs=1e-12)
    over = aim_linear(cost_below=1.0, cost_above=ratio)
    under = aim_linear(cost_below=ratio, cost_above=1.0)
    assert over == pytest.approx(-under, rel=1e-9, abs=1e-12)


def test_where_over_costs_more_the_aim_is_under():
    assert aim_linear(cost_below=1.0, cost_above=2.0) < 0.0 < aim_linear(cost_below=2.0, cost_above=1.0)
    assert aim_quadratic(2.0) < 0.0 < aim_quadratic(0.5)


def test_planned_cuts_are_the_cheapest_of_all_numbers_of_cuts():
    rng = np.random.default_rng(7)
    found = set()
    for loss, test, prior, cost in np.exp(rng.uniform(-2.0, 3.0, (200, 4))):
        costs = [risk_after(n, loss, test, prior, cost) for n in range(200)]
        assert planned_cuts(loss, test, prior, cost) == int(np.argmin(costs))
        found.add(int(np.argmin(costs)))
    assert {0, 1, 2, 3} <= found  # the draws do ask the question


def test_when_nothing_is_known_at_least_one_test_is_planned():
    assert risk_after(0, 1.0, 0.01, math.inf, 5.0) == math.inf
    assert planned_cuts(1.0, 0.01, math.inf, 5.0) == 1


def test_one_more_test_is_worth_the_fall_of_the_risk():
    for n in range(4):
        belief = 1.0 / (n / 0.0064 + 1.0 / 0.04)
        fall = risk_after(n, 100.0, 0.0064, 0.04, 0.0) - risk_after(n + 1, 100.0, 0.0064, 0.04, 0.0)
        assert value_of_one_more(100.0, belief, 0.0064) == pytest.approx(fall, rel=1e-12)


@pytest.mark.parametrize("u", [-3.0, -0.4, 0.0, 1.7, 8.0, 25.0])
def test_the_unit_normal_loss_is_its_integral(u):
    integrate, stats = pytest.importorskip("scipy.integrate"), pytest.importorskip("scipy.stats")
    area, _ = integrate.quad(lambda t: t * stats.norm.pdf(u + t), 0.0, 15.0, points=[0.1, 1.0], epsrel=1e-12)
    assert unit_normal_loss(u) == pytest.approx(area, rel=1e-10)


@pytest.mark.parametrize("gap", [-0.1, 0.0, 0.2])
def test_a_test_between_two_actions_is_worth_what_drawn_tests_are_worth(gap):
    """Truth and reading are drawn; the posterior mean chooses; three standard errors of the mean."""
    rng = np.random.default_rng(4)
    truth = rng.normal(gap, 0.2, 400_000)
    reading = truth + rng.normal(0.0, 0.08, truth.size)
    posterior_mean = (gap / 0.04 + reading / 0.0064) / (1.0 / 0.04 + 1.0 / 0.0064)
    gains = 7.0 * (np.where(posterior_mean > 0.0, truth, 0.0) - (truth if gap > 0.0 else 0.0))
    error = gains.std() / math.sqrt(gains.size)
    assert abs(two_action_value(7.0, gap, 0.04, 0.0064) - gains.mean()) < 3.0 * error


def test_the_loss_of_a_band_is_the_share_of_drawn_pieces_outside():
    rng = np.random.default_rng(5)
    pieces = rng.normal(0.0, 0.05, 400_000) + rng.normal(0.0, 0.03, 400_000)
    outside = float(np.mean(np.abs(pieces) > 0.10))
    error = math.sqrt(outside * (1.0 - outside) / pieces.size)
    assert abs(step_loss(40.0, 0.10, 0.05**2, 0.03**2) / 40.0 - outside) < 3.0 * error


def test_looking_one_test_ahead_undervalues_tests_on_a_band():
    """Not concave: from a wide belief the first test saves less a unit of variance than a later one."""
    loss = [step_loss(40.0, 0.10, p, 0.0009) for p in (0.04, 0.02, 0.01, 0.005)]
    slopes = [(a - b) / dp for a, b, dp in zip(loss, loss[1:], (0.02, 0.01, 0.005), strict=False)]
    assert slopes[0] < slopes[1] < slopes[2]


def test_the_rule_with_a_prior_is_the_posterior_mean_of_all_that_was_logged():
    """Settings and readings are kept; a batch fit of the offset gives where the moves should have led."""
    rng = np.random.default_rng(6)
    offset, setting, readings, settings = 0.25, 0.0, [], []
    for n in range(6):
        settings.append(setting)
        readings.append(offset + setting + rng.normal(0.0, 0.08))
        moves, sds = extended_moves(readings, 0.08, 0.20)
        setting += moves[-1]
        precision = (n + 1) / 0.08**2 + 1.0 / 0.20**2
        batch = sum(y - x for x, y in zip(settings, readings, strict=True)) / 0.08**2 / precision
        assert setting == pytest.approx(-batch, rel=0, abs=1e-12)
        assert sds[-1] == pytest.approx(precision**-0.5, rel=1e-12)


def test_without_a_prior_the_harmonic_rule_is_left():
    readings = [0.30, -0.06, 0.09, 0.02]
    moves, sds = extended_moves(readings, 0.08, math.inf)
    assert moves == pytest.approx(harmonic_moves(readings), rel=1e-15)
    assert sds == pytest.approx([0.08 / math.sqrt(n) for n in range(1, 5)], rel=1e-15)


def test_no_cuts_no_moves():
    assert harmonic_moves([]) == []
    assert extended_moves([], 0.08, 0.2) == ([], [])


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_number_that_cannot_be_is_refused_by_its_name(bad):
    for call, name in (
        (lambda: aim_quadratic(bad), "ratio"),
        (lambda: aim_linear(cost_below=1.0, cost_above=bad), "cost above"),
        (lambda: planned_cuts(1.0, 1.0, 1.0, bad), "test cost"),
        (lambda: value_of_one_more(1.0, bad, 1.0), "variance"),
        (lambda: two_action_value(bad, 0.0, 1.0, 1.0), "slope"),
        (lambda: step_loss(1.0, bad, 1.0, 1.0), "half width"),
        (lambda: extended_moves([0.1], bad, 1.0), "test sd"),
    ):
        with pytest.raises(CalibError, match=f"^{name}: .* is no number above 0"):
            call()


def test_a_band_without_any_spread_and_a_negative_count_are_refused():
    with pytest.raises(CalibError, match="variance in all: 0"):
        step_loss(1.0, 0.1, 0.0, 0.0)
    with pytest.raises(CalibError, match="tests: -1 is no number from 0 up"):
        risk_after(-1, 1.0, 1.0, 1.0, 0.1)


def test_the_costs_of_the_two_sides_cannot_be_swapped_by_position():
    with pytest.raises(TypeError):
        aim_linear(1.0, 3.0)  # type: ignore[misc]

"""Combining uncertainties, quantiles without scipy, and the chance of a band."""

from __future__ import annotations

import math
import subprocess
import sys

import numpy as np
import pytest

from calib.errors import CalibError
from calib.measurement import (
    combine,
    display_step,
    f_upper_tail,
    grade_tolerance,
    probability_in_band,
    t_cdf,
    t_quantile,
    type_a,
    type_b,
)


@pytest.mark.parametrize("dof", [0.5, 1, 1.5, 2, 3, 5, 9.7, 16, 100, 1000, 9999, 10001, 1e6, math.inf])
def test_t_quantiles_agree_with_scipy(dof: float) -> None:
    stats = pytest.importorskip("scipy.stats")
    p = [1e-9, 1e-4, 0.005, 0.025, 0.1, 0.4, 0.6, 0.9, 0.975, 0.995, 0.99999]
    referee = stats.norm if math.isinf(dof) else stats.t(dof)
    # scipy's own quantile is off by up to 1e-9 far out at many degrees of freedom
    np.testing.assert_allclose([t_quantile(q, dof) for q in p], referee.ppf(p), rtol=1e-9)
    t = [-30.0, -2.0, -0.1, 0.0, 0.5, 4.0]
    np.testing.assert_allclose([t_cdf(v, dof) for v in t], referee.cdf(t), rtol=1e-9, atol=1e-16)


def test_t_quantiles_of_one_and_two_degrees_of_freedom_have_their_closed_forms() -> None:
    for p in (0.001, 0.3, 0.5, 0.9, 0.9999):
        assert t_quantile(p, 1) == pytest.approx(math.tan(math.pi * (p - 0.5)), rel=1e-12, abs=1e-14)
        expected = (2 * p - 1) * math.sqrt(2.0 / (4 * p * (1 - p)))
        assert t_quantile(p, 2) == pytest.approx(expected, rel=1e-11, abs=1e-14)


def test_tails_of_f_agree_with_scipy() -> None:
    stats = pytest.importorskip("scipy.stats")
    rng = np.random.default_rng(3)
    for _ in range(300):
        top, bottom = (int(n) for n in rng.integers(1, 60, 2))
        f = float(rng.gamma(1.0, 1.5))
        assert f_upper_tail(f, top, bottom) == pytest.approx(stats.f.sf(f, top, bottom), rel=1e-11)
    assert f_upper_tail(0.0, 2, 3) == 1.0


def test_parts_in_another_order_or_unit_combine_alike() -> None:
    parts = [(0.01, 5.0), (0.02, math.inf), (0.005, 2.0)]
    one, other = combine(parts), combine([(u / 25.4, dof) for u, dof in reversed(parts)])
    assert other.u * 25.4 == pytest.approx(one.u, rel=1e-14)
    assert other.dof == pytest.approx(one.dof, rel=1e-12)


def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum() -> None:
    assert combine([(1.0, 4.0), (1.0, 4.0)]).dof == pytest.approx(8.0, rel=1e-14)
    assert combine([(1.0, 4.0)]).dof == pytest.approx(4.0, rel=1e-14)
    assert combine([(1.0, math.inf), (2.0, math.inf)]).dof == math.inf
    assert combine([(0.0, 3.0)]).u == 0.0


def test_expanded_uncertainty_uses_whole_degrees_of_freedom() -> None:
    assert combine([(1.0, 4.0)]).expanded(0.95) == pytest.approx(t_quantile(0.975, 4), rel=1e-14)
    assert combine([(1.0, 4.9)]).expanded(0.95) == pytest.approx(t_quantile(0.975, 4), rel=1e-14)
    assert combine([(1.0, math.inf)]).expanded(0.95) == pytest.approx(1.959963984540054, rel=1e-13)


def test_a_band_far_away_keeps_its_small_probability() -> None:
    far = probability_in_band(0.0, 1.0, 10.0, 11.0)
    assert far == pytest.approx(probability_in_band(0.0, 1.0, -11.0, -10.0), rel=1e-14)
    assert far == pytest.approx(7.6198e-24, rel=1e-4)


def test_an_estimate_without_uncertainty_is_inside_or_not() -> None:
    assert probability_in_band(0.1, 0.0, 0.0, 0.1) == 1.0
    assert probability_in_band(0.2, 0.0, 0.0, 0.1) == 0.0
    assert probability_in_band(0.2, 0.1, -math.inf, math.inf) == 1.0


def test_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(CalibError, match="half-width"):
        type_b(-0.1)
    with pytest.raises(CalibError, match='Did you mean "triangular"'):
        type_b(0.1, "triangle")
    with pytest.raises(CalibError, match="half-width"):
        display_step(math.nan)
    with pytest.raises(CalibError, match="too few"):
        type_a([1.0])
    with pytest.raises(CalibError, match="no uncertainty"):
        combine([])
    with pytest.raises(CalibError, match="part 2 has u -1"):
        combine([(1.0, 3.0), (-1.0, 3.0)])
    with pytest.raises(CalibError, match="0 degrees of freedom"):
        combine([(1.0, 0.0)])
    with pytest.raises(CalibError, match="coverage"):
        combine([(1.0, 3.0)]).expanded(95)
    with pytest.raises(CalibError, match="u -1"):
        probability_in_band(0.0, -1.0, 0.0, 1.0)
    with pytest.raises(CalibError, match="not below"):
        probability_in_band(0.0, 1.0, 1.0, 0.0)
    with pytest.raises(CalibError, match="grade 5"):
        grade_tolerance(18, 30, 5)
    with pytest.raises(CalibError, match="rising sizes"):
        grade_tolerance(30, 18, 7)
    with pytest.raises(CalibError, match="above 0"):
        t_quantile(0.9, 0.0)


def test_importing_measurement_monitor_and_wood_loads_nothing_heavy() -> None:
    code = (
        "import sys, calib.measurement, calib.monitor, calib.wood;"
        "sys.exit(any(m.split('.')[0] in ('scipy', 'statsmodels', 'pandas') for m in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0

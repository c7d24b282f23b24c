"""What the charts, the factors and the holding length do at their edges."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.errors import CalibError
from calib.monitor import capability, cusum, ewma, ewma_limits, holds_for, tolerance_factor

X = [0.07, 0.05, 0.09, 0.06, 0.10, 0.11, 0.12]


def test_moving_average_is_a_weighted_sum_of_all_readings() -> None:
    values = ewma(X, weight=0.4, start=0.07)
    shares = 0.4 * 0.6 ** np.arange(len(X) - 1, -1, -1.0)
    assert len(values) == len(X) + 1
    assert values[-1] == pytest.approx(float(shares @ X) + 0.6 ** len(X) * 0.07, rel=1e-13)


def test_weight_one_is_the_last_reading_alone() -> None:
    np.testing.assert_array_equal(ewma(X, weight=1.0, start=0.0)[1:], X)


def test_limits_widen_to_those_of_a_long_run() -> None:
    assert ewma_limits(0.0, 1.0, 0.3, after=1) == pytest.approx((-0.9, 0.9), rel=1e-14)
    assert ewma_limits(0.0, 1.0, 0.3, after=200) == pytest.approx(ewma_limits(0.0, 1.0, 0.3), rel=1e-14)


def test_moving_average_of_noise_has_the_spread_of_its_limits() -> None:
    noise = np.random.default_rng(4).normal(0.0, 1.0, 40_000)
    _, high = ewma_limits(0.0, 1.0, 0.3, width=1.0)
    assert float(np.std(ewma(noise, 0.3, 0.0)[50:])) == pytest.approx(high, rel=0.02)


def test_cumulative_sums_by_hand() -> None:
    sums = cusum([2.0, -1.0, 3.0, -4.0, -4.0], target=0.0, k=1.0, h=4.0)
    assert sums.high.tolist() == [1.0, 0.0, 2.0, 0.0, 0.0]
    assert sums.low.tolist() == [0.0, 0.0, 0.0, 3.0, 6.0]
    assert sums.first_signal == 4


def test_a_sum_exactly_at_the_limit_is_no_signal() -> None:
    assert cusum([4.0], target=0.0, k=1.0, h=3.0).first_signal is None
    assert cusum([], target=0.0, k=1.0, h=3.0).first_signal is None


def test_mirrored_readings_swap_the_two_sums() -> None:
    up, down = cusum(X, 0.07, 0.01, 0.05), cusum(0.14 - np.array(X), 0.07, 0.01, 0.05)
    np.testing.assert_allclose(up.high, down.low, atol=1e-15)
    assert up.first_signal == down.first_signal


def test_more_cuts_prove_more() -> None:
    factors = [tolerance_factor(n, 0.95, 0.95) for n in (2, 3, 5, 10, 100)]
    assert factors == sorted(factors, reverse=True)
    assert factors[-1] > 1.645


def test_tolerance_factor_covers_as_often_as_it_says() -> None:
    readings = np.random.default_rng(8).normal(0.0, 1.0, (4000, 5))
    reach = readings.mean(axis=1) + tolerance_factor(5, 0.9, 0.95) * readings.std(axis=1, ddof=1)
    assert float(np.mean(reach >= 1.2815515655446004)) == pytest.approx(0.95, abs=0.011)


def holds(**changes: float) -> tuple[float | None, bool]:
    given = {"level": 0.02, "slope": 0.004, "u_level": 0.01, "u_slope": 0.001, "covariance": 0.0}
    given |= {"noise": 0.015, "low": -0.10, "high": 0.10, "confidence": 0.95}
    answer = holds_for(**(given | changes))
    return answer.length, answer.established


def test_a_wear_rate_lost_in_its_uncertainty_gives_no_length() -> None:
    """z is two-sided: 1.95996 at 95 %."""
    assert holds(slope=0.00195996) == (None, False)
    assert holds(slope=0.00195997)[1]
    assert holds(slope=0.0) == (None, False)
    assert holds(slope=0.0, u_slope=0.0) == (None, False)


def test_the_direction_of_wear_does_not_matter_in_a_mirrored_band() -> None:
    length, _ = holds()
    mirrored, _ = holds(level=-0.02, slope=-0.004)
    assert mirrored == pytest.approx(length, rel=1e-12)


def test_at_the_length_the_chance_is_the_confidence() -> None:
    answer = holds_for(0.0, 0.004, 0.01, 0.001, -5e-6, 0.015, -0.10, 0.10, confidence=0.8)
    assert answer.length is not None
    assert answer.ok(answer.length) == pytest.approx(0.8, abs=1e-12)


def test_units_do_not_matter() -> None:
    length, _ = holds(covariance=4e-6)
    inch = {name: value / 25.4 for name, value in {"level": 0.02, "slope": 0.004, "u_level": 0.01}.items()}
    inch |= {"u_slope": 0.001 / 25.4, "covariance": 4e-6 / 25.4**2, "noise": 0.015 / 25.4}
    assert holds(**inch, low=-0.1 / 25.4, high=0.1 / 25.4)[0] == pytest.approx(length, rel=1e-9)


def test_a_setup_outside_its_band_holds_for_nothing() -> None:
    assert holds(level=0.11) == (0.0, True)


def test_wear_away_from_the_only_end_never_ends_it() -> None:
    assert holds(high=math.inf) == (math.inf, True)
    one_sided, _ = holds(low=-math.inf)
    assert one_sided == pytest.approx(holds()[0], rel=1e-6)


def test_without_any_scatter_it_holds_until_the_level_meets_the_end() -> None:
    assert holds(u_level=0.0, u_slope=0.0, noise=0.0)[0] == pytest.approx(20.0, rel=1e-12)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"noise": -1.0}, "not be negative"),
        ({"level": math.nan}, "finite"),
        ({"covariance": 1.0}, "covariance"),
        ({"low": 0.2}, "not below"),
        ({"confidence": 95.0}, "confidence"),
    ],
)
def test_a_holding_length_of_nonsense_is_refused(changes: dict[str, float], message: str) -> None:
    with pytest.raises(CalibError, match=message):
        holds(**changes)


def test_charts_refuse_what_they_cannot_draw() -> None:
    with pytest.raises(CalibError, match="weight 0"):
        ewma(X, 0.0, 0.0)
    with pytest.raises(CalibError, match="reading 2 is nan"):
        ewma([1.0, math.nan], 0.3, 0.0)
    with pytest.raises(CalibError, match="sd -1"):
        ewma_limits(0.0, -1.0, 0.3)
    with pytest.raises(CalibError, match="h 0 must be above 0"):
        cusum(X, 0.0, 0.5, 0.0)
    with pytest.raises(CalibError, match="one row"):
        cusum(np.zeros((2, 2)), 0.0, 0.5, 4.0)
    with pytest.raises(CalibError, match="Swap"):
        capability(1.0, 0.0, 0.5, 0.1)
    with pytest.raises(CalibError, match="sd 0"):
        capability(0.0, 1.0, 0.5, 0.0)
    with pytest.raises(CalibError, match="no scatter"):
        tolerance_factor(1, 0.95, 0.95)
    with pytest.raises(CalibError, match="coverage 95"):
        tolerance_factor(5, 95, 0.95)

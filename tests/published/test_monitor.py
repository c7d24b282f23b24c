"""Charts, capability and how long a setup holds, against printed and derived values.

Labels: S = source read or quoted in a public copy, D = derived here.
"""

from __future__ import annotations

import numpy as np
import pytest

from calib import normal
from calib.monitor import capability, cusum, ewma, ewma_limits, holds_for, tolerance_factor

HANDBOOK_X = [
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
]
HANDBOOK_EWMA = [
    *(50.00, 50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26),
    *(50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
]
DRIFTING = {
    "level": 0.02,
    "slope": 0.004,
    "u_level": 0.01,
    "u_slope": 0.001,
    "covariance": 0.0,
    "noise": 0.015,
    "low": -0.10,
    "high": 0.10,
}


def test_moving_average_gives_the_handbooks_table() -> None:
    """S: NIST/SEMATECH e-Handbook 6.3.2.4."""
    found = ewma(HANDBOOK_X, weight=0.3, start=50.0)
    np.testing.assert_allclose(found, HANDBOOK_EWMA, rtol=0.0, atol=0.00501)


def test_moving_average_has_the_handbooks_limits() -> None:
    """S: NIST/SEMATECH e-Handbook 6.3.2.4, printed as 47.4115 and 52.5884."""
    assert ewma_limits(50.0, 2.0539, 0.3) == pytest.approx((47.4115, 52.5884), abs=1e-4)


def test_capability_has_the_handbooks_values() -> None:
    """S: NIST/SEMATECH e-Handbook 6.1.6."""
    found = capability(8.0, 20.0, 16.0, 2.0)
    assert (found.cp, found.cpk) == pytest.approx((1.0, 0.6667), abs=5e-5)


@pytest.mark.parametrize(
    ("n", "coverage", "confidence", "expected"),
    [
        (43, 0.90, 0.99, 1.8740),  # S: NIST/SEMATECH e-Handbook 7.2.6.3, by the non-central t
        (3, 0.95, 0.95, 7.6559),  # D
        (5, 0.95, 0.95, 4.2027),  # D
        (10, 0.95, 0.95, 2.9110),  # D
    ],
)
def test_tolerance_factors_by_the_non_central_t(
    n: int, coverage: float, confidence: float, expected: float
) -> None:
    assert tolerance_factor(n, coverage, confidence) == pytest.approx(expected, abs=5.1e-5)


@pytest.mark.parametrize(
    ("length", "expected"),
    [(0.0, 0.9999954516), (5.0, 0.9993296794), (10.0, 0.9738274683), (15.0, 0.8031156827)],
)
def test_chance_of_the_band_falls_along_the_way(length: float, expected: float) -> None:
    """D."""
    assert holds_for(**DRIFTING).ok(length) == pytest.approx(expected, abs=1e-10)


def test_setup_holds_until_the_chance_falls_to_95_percent() -> None:
    """D."""
    answer = holds_for(**DRIFTING, confidence=0.95)
    assert answer.established
    assert answer.length == pytest.approx(11.2596201, abs=5e-8)


def run_length_by_markov_chain(k: float, h: float, shift: float, states: int = 200) -> float:
    """Average run length of both sums together (Brook and Evans 1972), unit standard deviation.

    One sum is a chain on a grid of its values; for the sums of both sides 1/L = 1/L_up + 1/L_down.
    """
    width = 2.0 * h / (2 * states - 1)
    middle = width * np.arange(states)

    def one_sided(drift: float) -> float:
        edges = middle[np.newaxis, :] - middle[:, np.newaxis] + k - drift
        upper = normal.cdf(edges + 0.5 * width)
        lower = normal.cdf(edges - 0.5 * width)
        step = upper - lower
        step[:, 0] = upper[:, 0]
        return float(np.linalg.solve(np.eye(states) - step, np.ones(states))[0])

    return 1.0 / (1.0 / one_sided(shift) + 1.0 / one_sided(-shift))


@pytest.mark.parametrize(
    ("h", "shift", "published"),
    [(4.0, 0.0, 168.0), (4.0, 1.0, 8.38), (5.0, 0.0, 465.0), (5.0, 1.0, 10.4)],
)
def test_run_lengths_by_markov_chain_are_those_published(h: float, shift: float, published: float) -> None:
    """S: Lucas 1976, k = 0.5; printed to three digits."""
    assert run_length_by_markov_chain(0.5, h, shift) == pytest.approx(published, rel=2.5e-3)


@pytest.mark.parametrize(("shift", "published", "runs"), [(0.0, 168.0, 1500), (1.0, 8.38, 4000)])
def test_cumulative_sums_run_as_long_as_published(shift: float, published: float, runs: int) -> None:
    """S: Lucas 1976, k = 0.5, h = 4; by seeded simulation through the chart itself."""
    rng = np.random.default_rng(1976)
    lengths = []
    block = int(8 * published)
    for _ in range(runs):
        seen = 0
        x = rng.normal(shift, 1.0, block)
        while (signal := cusum(x, target=0.0, k=0.5, h=4.0).first_signal) is None:
            seen += block - 40  # start again 40 readings before the end: by then the sums have forgotten
            x = np.concatenate([x[-40:], rng.normal(shift, 1.0, block - 40)])
        lengths.append(seen + signal + 1)
    error = np.std(lengths) / np.sqrt(runs)
    assert np.mean(lengths) == pytest.approx(published, abs=3.0 * float(error))

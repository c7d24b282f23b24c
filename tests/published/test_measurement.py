"""Uncertainty, gauge studies and bands against printed and certified values.

Labels: S = source read or quoted in a public copy, M = from memory, D = derived here.
"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from calib.measurement import (
    combine,
    display_step,
    gauge_study,
    grade_tolerance,
    probability_in_band,
    type_a,
    type_b,
)


def test_end_gauge_of_the_gum_has_its_expanded_uncertainty() -> None:
    """S: JCGM 100:2008, H.1, nm: u 32, 16 effective degrees of freedom, k99 2.92, U99 93."""
    combined = combine([(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)])
    assert combined.u == pytest.approx(32.0, abs=0.5)
    assert math.floor(combined.dof) == 16
    assert combined.coverage_factor(0.99) == pytest.approx(2.92, abs=0.005)
    assert combined.expanded(0.99) == pytest.approx(93.0, abs=0.5)


def test_twenty_temperatures_of_the_gum_have_mean_and_uncertainty() -> None:
    """M: JCGM 100:2008, 4.4.3: mean 100.145, s 1.489, u 0.333."""
    readings = (
        "96.90 98.18 98.25 98.61 99.03 99.49 99.56 99.74 99.89 100.07 "
        "100.33 100.42 100.68 100.95 101.11 101.20 101.57 101.84 102.36 102.72"
    )
    result = type_a([float(text) for text in readings.split()])
    assert result.mean == pytest.approx(100.145, abs=5e-4)
    assert result.sd == pytest.approx(1.489, abs=5e-4)
    assert result.u == pytest.approx(0.333, abs=5e-4)
    assert result.dof == 19


def test_limits_of_error_become_standard_uncertainties() -> None:
    """S: JCGM 100:2008, 4.3.7, 4.3.9, F.2.2.1; 4.3.4 for the normal shape; arcsine M."""
    assert type_b(1.0, "rectangular") ** 2 == pytest.approx(1.0 / 3.0, rel=1e-14)
    assert type_b(1.0, "triangular") ** 2 == pytest.approx(1.0 / 6.0, rel=1e-14)
    assert type_b(1.0, "u-shaped") ** 2 == pytest.approx(1.0 / 2.0, rel=1e-14)
    assert type_b(1.96, "normal") == pytest.approx(1.0, abs=2e-5)
    assert display_step(1.0) == pytest.approx(0.29, abs=0.002)


def test_slot_minus_finger_adds_the_limits_of_both_jaws() -> None:
    """D: slot limit 0.04 mm, finger limit 0.02 mm: u(c) = 0.0258 mm."""
    u = combine([(type_b(0.04), math.inf), (type_b(0.02), math.inf)]).u
    assert u == pytest.approx(0.0258, abs=5e-5)


def test_probability_of_conformance_has_the_value_of_the_guide() -> None:
    """Inputs S (JCGM 106:2012, section 7), result D."""
    assert probability_in_band(13.6, 1.8, 12.5, 16.3) == pytest.approx(0.6626297865, abs=5e-11)


def test_a_guard_band_of_1645_u_leaves_five_percent() -> None:
    """S: JCGM 106:2012, a reading 1.645 u inside a single limit."""
    inside = probability_in_band(10.0 - 1.645 * 0.2, 0.2, -math.inf, 10.0)
    assert 1.0 - inside == pytest.approx(0.05, abs=2e-5)


@pytest.mark.parametrize(
    ("low", "high", "expected_um"),
    [
        # S: ISO 286-1, IT6 to IT11 by formula; the standard's own table rounds these
        (18.0, 30.0, (13.1, 20.9, 32.7, 52.3, 83.7, 130.7)),
        (80.0, 120.0, (21.7, 34.8, 54.3, 86.9, 139.0, 217.3)),
    ],
)
def test_tolerance_grades_follow_the_formula(low: float, high: float, expected_um: tuple[float, ...]) -> None:
    found = [1000.0 * grade_tolerance(low, high, grade) for grade in range(6, 12)]
    assert found == pytest.approx(expected_um, abs=0.051)


def test_five_instruments_meet_the_certified_analysis_of_variance() -> None:
    """S: NIST StRD SiRstv (file in the scipy wheel, certified lines 41 to 47, data 61 to 85)."""
    scipy = pytest.importorskip("scipy")
    file = Path(scipy.__file__).parent / "stats/tests/data/nist_anova/SiRstv.dat"
    if not file.exists():
        pytest.skip("this build of scipy ships no NIST data")
    rows = [line.split() for line in file.read_text().splitlines()[60:85]]
    study = gauge_study([(instrument, "me", float(value)) for instrument, value in rows])
    between, within = study.anova
    assert (between.dof, within.dof) == (4, 20)
    assert between.sum_of_squares == pytest.approx(5.11462616e-2, rel=1e-10)
    assert within.sum_of_squares == pytest.approx(2.1663656e-1, rel=1e-10)
    assert between.mean_square == pytest.approx(1.27865654e-2, rel=1e-10)
    assert within.mean_square == pytest.approx(1.0831828e-2, rel=1e-10)
    assert between.f == pytest.approx(1.18046237440255, rel=1e-10)
    assert study.repeatability == pytest.approx(1.04076068334656e-1, rel=1e-10)
    assert between.against == "repeat"

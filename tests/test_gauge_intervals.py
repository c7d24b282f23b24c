"""Intervals of a gauge study: quantiles against scipy, coverage by simulation, exactness where known."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.errors import CalibError
from calib.measurement import gauge_study
from calib.measurement.components import Share, effective_dof, sd_interval
from calib.measurement.quantiles import chi2_quantile, f_quantile, incomplete_gamma

#: sds of part, operator, interaction, repeat, and the numbers of parts, operators, repeats.
TRUTHS = [
    ((0.5, 0.3, 0.2, 0.1), (5, 3, 2)),
    ((0.3, 0.01, 0.005, 0.01), (10, 3, 3)),
    ((0.3, 0.002, 0.002, 0.01), (5, 2, 3)),
    ((0.02, 0.02, 0.02, 0.02), (4, 4, 2)),
]


@pytest.mark.parametrize("p", [0.01, 0.05, 0.3, 0.5, 0.95, 0.999])
@pytest.mark.parametrize("dof", [1, 2, 3.5, 10, 57, 400])
def test_quantiles_agree_with_scipy(p: float, dof: float) -> None:
    stats = pytest.importorskip("scipy.stats")
    assert chi2_quantile(p, dof) == pytest.approx(stats.chi2.ppf(p, dof), rel=1e-9)
    for other in (1, 4, 30):
        assert f_quantile(p, dof, other) == pytest.approx(stats.f.ppf(p, dof, other), rel=1e-8)


def test_the_incomplete_gamma_function_agrees_with_scipy() -> None:
    special = pytest.importorskip("scipy.special")
    for a in (0.5, 1.0, 7.25, 80.0):
        for x in (1e-6, 0.3, 1.0, 7.0, 79.0, 150.0):
            assert incomplete_gamma(a, x) == pytest.approx(special.gammainc(a, x), rel=1e-11)
    assert incomplete_gamma(1.0, 0.0) == 0.0
    with pytest.raises(CalibError, match="between 0 and 1"):
        chi2_quantile(1.0, 3)


def test_a_single_mean_square_has_the_exact_interval() -> None:
    """D: dof s^2 / chi2 on both sides."""
    low, high = sd_interval([Share(1.0, 4.0, 12)], 0.95)
    assert low == pytest.approx(math.sqrt(12 * 4.0 / chi2_quantile(0.975, 12)), rel=1e-12)
    assert high == pytest.approx(math.sqrt(12 * 4.0 / chi2_quantile(0.025, 12)), rel=1e-12)


def test_a_difference_begins_above_nought_just_when_f_is_significant() -> None:
    """D: at F equal to its quantile the lower limit of s1 - s2 is 0: the construction's own fixed point."""
    f = f_quantile(0.95, 4, 12)
    low, _ = sd_interval([Share(1.0, f * (1 + 1e-6), 4), Share(-1.0, 1.0, 12)], 0.90)
    assert low < 5e-3
    above, _ = sd_interval([Share(1.0, 1.2 * f, 4), Share(-1.0, 1.0, 12)], 0.90)
    below, _ = sd_interval([Share(1.0, 0.9 * f, 4), Share(-1.0, 1.0, 12)], 0.90)
    assert above > 0.1
    assert below == 0.0


@pytest.mark.parametrize(("sds", "shape"), TRUTHS)
def test_nine_intervals_in_ten_hold_the_truth(sds: tuple[float, ...], shape: tuple[int, int, int]) -> None:
    """4000 studies each, mean squares drawn: 88.5 to 91.5 % for parts and repeats, not less for sums."""
    rng, runs = np.random.default_rng(4), 4000
    (p, o, r), (vp, vo, vi, ve) = shape, (sd**2 for sd in sds)
    means = {"P": ve + r * vi + o * r * vp, "O": ve + r * vi + p * r * vo, "I": ve + r * vi, "E": ve}
    dofs = {"P": p - 1, "O": o - 1, "I": (p - 1) * (o - 1), "E": p * o * (r - 1)}
    n = p * r
    wanted = {
        "part": (vp, {"P": 1 / (o * r), "I": -1 / (o * r)}),
        "operator": (vo, {"O": 1 / n, "I": -1 / n}),
        "interaction": (vi, {"I": 1 / r, "E": -1 / r}),
        "repeat": (ve, {"E": 1.0}),
        "reproducibility": (vo + vi, {"O": 1 / n, "I": (p - 1) / n, "E": -1 / r}),
        "gauge": (vo + vi + ve, {"O": 1 / n, "I": (p - 1) / n, "E": (r - 1) / r}),
    }
    hits = dict.fromkeys(wanted, 0)
    for _ in range(runs):
        drawn = {k: means[k] * rng.chisquare(dofs[k]) / dofs[k] for k in means}
        for name, (true, factors) in wanted.items():
            low, high = sd_interval([Share(c, drawn[k], dofs[k]) for k, c in factors.items()], 0.90)
            hits[name] += low <= math.sqrt(true) <= high
    for name, hit in hits.items():
        assert hit / runs >= 0.885, name
        assert hit / runs <= (0.965 if name in ("reproducibility", "gauge") else 0.92), name


@pytest.mark.parametrize("interaction", [0.0, 0.015])
def test_the_whole_study_covers_too_with_its_pooling(interaction: float) -> None:
    """1500 simulated studies from values to intervals: between 86 and 95 % at nominal 90 %."""
    rng, runs = np.random.default_rng(6), 1500
    p, o, r = 6, 3, 3
    cells = [(i, j, k) for i in range(p) for j in range(o) for k in range(r)]
    true = {"repeatability": 0.01, "part": 0.1, "gauge": math.sqrt(0.01**2 + 0.02**2 + interaction**2)}
    hits = dict.fromkeys(true, 0)
    for _ in range(runs):
        values = rng.normal(0, 0.1, (p, 1, 1)) + rng.normal(0, 0.02, (1, o, 1))
        values = values + interaction * rng.normal(0, 1, (p, o, 1)) + rng.normal(0, 0.01, (p, o, r))
        study = gauge_study([(i, j, float(values[i, j, k])) for i, j, k in cells])
        for name, sd in true.items():
            low, high = study.intervals[name]
            hits[name] += low <= sd <= high
    for name, hit in hits.items():
        assert 0.86 <= hit / runs <= 0.95, (name, hit / runs)


def test_the_intervals_hold_their_estimates_and_widen_with_confidence() -> None:
    rows = [
        (i, j, 6.0 + 0.1 * i + 0.02 * j + 0.011 * ((3 * i + 5 * j + 7 * k) % 4))
        for i in range(5)
        for j in range(3)
        for k in range(2)
    ]
    usual, wide = gauge_study(rows), gauge_study(rows, confidence=0.99)
    assert set(usual.intervals) >= {"repeatability", "part", "operator", "reproducibility", "gauge"}
    for name, (low, high) in usual.intervals.items():
        estimate = getattr(usual, name)
        assert low <= estimate <= high
        assert wide.intervals[name][0] <= low
        assert wide.intervals[name][1] >= high


def test_one_hand_s_spread_holds_the_interaction_with_its_own_degrees_of_freedom() -> None:
    """D: (I + (r - 1) E) / r, Satterthwaite."""
    rng = np.random.default_rng(9)
    both = rng.normal(0, 0.2, (8, 4))
    rows = [
        (i, j, float(both[i, j] + 0.01 * rng.normal())) for i in range(8) for j in range(4) for _ in range(3)
    ]
    study = gauge_study(rows)
    crossed, repeat = study.anova[2], study.anova[3]
    assert study.hand**2 == pytest.approx((crossed.mean_square + 2 * repeat.mean_square) / 3, rel=1e-9)
    shares = [Share(1 / 3, crossed.mean_square, crossed.dof), Share(2 / 3, repeat.mean_square, repeat.dof)]
    assert study.hand_dof == effective_dof(shares)
    assert study.hand_dof <= crossed.dof + 1


def test_one_person_is_told_what_cannot_be_separated() -> None:
    study = gauge_study([(part, "me", 6.0 + 0.1 * part + 0.01 * k) for part in range(4) for k in range(3)])
    assert study.reproducibility is None
    assert "reproducibility" not in study.intervals
    assert study.intervals["gauge"] == study.intervals["repeatability"]
    assert any("cannot be separated" in note for note in study.notes)

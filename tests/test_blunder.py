"""Slips: the closed form against fitting again, and what is named."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from calib.regression import posterior, solve
from calib.regression.blunder import enumerate_bad, posterior_without
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, Setup


def fitted(extra: dict[int, float] | None = None) -> tuple[solve.GaussianFit, np.ndarray]:
    """Three hypotheses on five rows and two terms; extra variance on some rows."""
    rng = np.random.default_rng(8)
    X = np.tile(np.column_stack([np.ones(5), rng.standard_normal(5)]), (3, 1, 1))
    y = np.tile(rng.standard_normal(5), (3, 1))
    noise = np.array([0.2, 0.5, 1.0])[:, None] * np.ones(5)
    for row, variance in (extra or {}).items():
        noise[:, row] += variance
    return solve.fit(X, y, noise, np.array([[2.0, 1.0]] * 3)), np.full(5, 3.0)


def test_the_closed_form_is_fitting_again_with_a_wide_row():
    """Evidence ratios, means and covariances of every set of one or two bad rows, three hypotheses."""
    plain, wide = fitted()
    found = enumerate_bad(plain, wide, 0.1)
    odds = np.log(0.1 / 0.9)
    everything = [(), *[(i,) for i in range(5)], *itertools.combinations(range(5), 2)]
    assert list(found.sets) == everything
    for s, bad in enumerate(found.sets):
        again, _ = fitted(dict.fromkeys(bad, 9.0))
        ratio = again.log_evidence - plain.log_evidence + len(bad) * odds
        np.testing.assert_allclose(found.log_ratio[:, s], ratio, rtol=1e-9, atol=1e-10)
        mean, covariance = posterior_without(plain, np.arange(3), bad, wide)
        np.testing.assert_allclose(mean, again.mean, rtol=1e-9, atol=1e-12)
        np.testing.assert_allclose(covariance, again.covariance(), rtol=1e-9, atol=1e-12)


def test_without_a_probability_nothing_is_doubted():
    plain, wide = fitted()
    assert enumerate_bad(plain, wide, 0.0).sets == ((),)


def gaps(values: list[float]) -> list[Cut]:
    return [Cut(n, "test", {"lever": 0.0}, {"gap": (v,)}) for n, v in enumerate(values, 1)]


SETUP = Setup(
    "gaps", Joint("plain"), (Band("gap", 0.0, -0.1, 0.1),), (Adjuster("lever", moves={"gap": -1.0}),),
    knowledge=Knowledge(),
)  # fmt: skip


@pytest.mark.parametrize("slip", range(4))
def test_a_reading_ten_times_too_large_is_named_and_hardly_counts(slip):
    values = [0.06, 0.05, 0.07, 0.06, 0.05]
    without = posterior(SETUP, gaps([v for i, v in enumerate(values) if i != slip])).size("gap")
    values[slip] *= 10
    found = posterior(SETUP, gaps(values))
    chance = {row.cut: p for row, p in found.blocks[0].bad}
    assert chance[slip + 1] > 0.9
    assert max(p for cut, p in chance.items() if cut != slip + 1) < 0.2
    assert found.size("gap").expected == pytest.approx(without.expected, abs=0.005)


def test_two_slips_are_found_together():
    found = posterior(SETUP, gaps([0.06, 0.9, 0.05, 0.07, -0.8, 0.06]))
    chance = {row.cut: p for row, p in found.blocks[0].bad}
    assert chance[2] > 0.9
    assert chance[5] > 0.9


def test_weights_sum_to_one():
    block = posterior(SETUP, gaps([0.06, 0.5, 0.05])).blocks[0]
    assert block.weights.sum() == pytest.approx(1.0, rel=1e-12)

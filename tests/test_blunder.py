"""Slips: the closed form against fitting again, and what is named."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from setups import MOVES_BEFORE, NOISE, OFFSET_SD, X, Y, condition_densely, gap_log, of_sum, plain

from calib.regression import posterior, solve
from calib.regression.blunder import enumerate_bad, posterior_without
from calib.regression.hypotheses import WIDE
from calib.shop import Adjuster, Band, Cut, FeelScale, Joint, Knowledge, Setup


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


def test_a_log_is_mixed_over_every_set_of_slips():
    """Every set of none, one or two bad readings, conditioned densely with the wide variance (D).

    Components below a millionth of the whole are left out, hence the tolerance.
    """
    p, y = 0.05, np.array(Y) + np.array(X)
    y[2] += 0.4
    H = np.array([[1.0, *[-1.0 * (k < moved) for k in range(4)]] for moved in MOVES_BEFORE])
    weight, chance, means, squares = 0.0, np.zeros(6), 0.0, 0.0
    for size in (0, 1, 2):
        for bad in itertools.combinations(range(6), size):
            noise = np.full(6, NOISE)
            noise[list(bad)] += WIDE**2 * NOISE
            exact = condition_densely(H, [OFFSET_SD, *[0.04] * 4], noise, y)
            share = math.exp(exact.log_density) * p**size * (1 - p) ** (6 - size)
            mean, sd = of_sum(exact, H[-1])
            weight, means, squares = weight + share, means + share * mean, squares + share * (sd**2 + mean**2)
            chance[list(bad)] += share
    cuts = gap_log(X, (y - np.array(X)).tolist())
    found = posterior(plain(blunder_probability=p, move_sd_mm=0.04), cuts)
    np.testing.assert_allclose([q for _, q in found.blocks[0].bad], chance / weight, rtol=1e-4, atol=2e-5)
    now = found.size("gap")
    assert now.expected == pytest.approx(means / weight - X[-1], abs=1e-6)
    assert now.u == pytest.approx(math.sqrt(squares / weight - (means / weight) ** 2), rel=1e-4)


def test_without_doubt_there_is_one_answer():
    """Probability 0: a wild reading counts like every other one, and none is named."""
    found = posterior(plain(), gap_log([0.0] * 4, [0.06, 0.05, 0.9, 0.06]))
    assert len(found.blocks[0].weights) == 1
    assert [p for _, p in found.blocks[0].bad] == [0.0] * 4
    exact = condition_densely([[1]] * 4, [OFFSET_SD], NOISE, [0.06, 0.05, 0.9, 0.06])
    assert found.offset("gap").expected == pytest.approx(exact.mean[0], rel=1e-9)


def test_of_two_readings_far_apart_either_may_be_the_slip():
    """As far above what was expected as below: by symmetry neither is blamed more."""
    first, last = (p for _, p in posterior(SETUP, gaps([-0.4, 0.4])).blocks[0].bad)
    assert first == pytest.approx(last, rel=1e-6)
    assert 0.4 < first < 0.7


def test_a_word_tells_which_of_two_numbers_is_the_slip():
    """0.06 and 0.60 contradict each other; a third cut that only felt tight sides with the first."""
    tight = dataclasses.replace(SETUP, feel=FeelScale({"tight": (-0.1, 0.1)}, 0.04))
    cuts = [*gaps([0.06, 0.6]), Cut(3, "test", {"lever": 0.0}, feel="tight")]
    first, last = (p for _, p in posterior(tight, cuts).blocks[0].bad)
    assert last > 0.9
    assert first < 0.1

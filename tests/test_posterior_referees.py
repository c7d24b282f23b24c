"""The posterior against independent referees: exact conditioning, least squares, one cut at a time.

All with the scales known, so that there is one hypothesis and nothing is approximate.
"""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest
from setups import GAP, LEVER, MOVES_BEFORE, NOISE, RISE, X, Y, assert_same, condition_densely, gap_log, plain

from calib.errors import CalibError
from calib.regression import hypotheses, knowledge, posterior
from calib.shop import Adjuster, Cut, FeelScale, Scales

TIGHT = {"rtol": 1e-9, "atol": 1e-12}
DOUBTED = {"scales_known": False, "move_sd_mm": 0.03, "scale_sd": 0.03, "blunder_probability": 0.02}


@pytest.mark.parametrize("landing", ["adds", "renews"])
def test_moves_scale_and_offset_equal_dense_conditioning(landing):
    """Offset, scale error and an error for each move, conditioned as one joint normal distribution."""
    lever = Adjuster("lever", moves={"gap": -1.0}, landing=landing)
    found = posterior(plain(lever, move_sd_mm=0.04, scale_sd=0.05), gap_log()).blocks[0]
    columns = []
    for x, m in zip(X, MOVES_BEFORE, strict=True):
        errors = [0.0] * 4
        for k in range(m) if landing == "adds" else range(max(m - 1, 0), m):
            errors[k] = -1.0
        columns.append([1.0, -x, *errors])
    exact = condition_densely(columns, [0.2, 0.05, *[0.04] * 4], NOISE, np.array(Y) + np.array(X))
    order = ["span:gap:0", "scale:lever", *(f"move:lever:{k}" for k in (1, 2, 3, 4))]
    at = [found.names.index(name) for name in order]
    np.testing.assert_allclose(found.mean[0][at], exact.mean, **TIGHT)
    np.testing.assert_allclose(found.covariance[0][np.ix_(at, at)], exact.covariance, **TIGHT)


def test_one_cut_at_a_time_equals_all_at_once():
    """The Kalman recursion of (size now), landing adds, written out by hand."""
    setup = plain(move_sd_mm=0.04)
    mean, P = 0.0, 0.2**2
    for n, (x, y) in enumerate(zip(X, Y, strict=True)):
        if n and x != X[n - 1]:
            mean, P = mean - (x - X[n - 1]), P + 0.04**2
        gain = P / (P + NOISE)
        mean, P = mean + gain * (y - mean), (1.0 - gain) * P
        size = posterior(setup, gap_log(X[: n + 1], Y[: n + 1])).size("gap")
        assert size.expected == pytest.approx(mean, rel=1e-9)
        assert size.u == pytest.approx(math.sqrt(P), rel=1e-9)


def test_a_vague_prior_is_least_squares():
    """Offset infinitely wide and the slope to be learned: statsmodels OLS with the known noise."""
    import statsmodels.api as sm

    setup = plain(Adjuster("lever", moves={"gap": "learn"}), offset_sd_mm=math.inf)
    found = posterior(setup, gap_log(X, Y)).blocks[0]
    design = sm.add_constant(np.array(X))
    # the slope has a prior of sd 3; it enters as one more row
    rows = np.vstack([design, [0.0, math.sqrt(NOISE) / 3.0]])
    fit = sm.OLS(np.append(Y, 0.0), rows).fit()
    at = [found.names.index(name) for name in ("span:gap:0", "slope:gap:lever")]
    np.testing.assert_allclose(found.mean[0][at], fit.params, **TIGHT)
    np.testing.assert_allclose(
        found.covariance[0][np.ix_(at, at)], np.asarray(fit.normalized_cov_params) * NOISE, rtol=1e-9
    )


def test_an_informative_prior_is_mixed_estimation():
    """Offset and scale error with their priors: statsmodels TheilGLS."""
    from statsmodels.sandbox.regression.penalized import TheilGLS

    setup = plain(scale_sd=0.05)
    found = posterior(setup, gap_log(X, Y)).blocks[0]
    exog = np.column_stack([np.ones(len(X)), -np.array(X)])
    theil = TheilGLS(
        np.array(Y) + np.array(X),
        exog,
        r_matrix=np.eye(2),
        q_matrix=np.zeros(2),
        sigma_prior=np.diag([0.2**2, 0.05**2]),
        sigma=NOISE * np.ones(len(X)),
    )
    theil.fit()
    fit = theil.fit(pen_weight=1.0 / theil.sigma2_e, cov_type="data-prior")  # it scales by its own estimate
    at = [found.names.index(name) for name in ("span:gap:0", "scale:lever")]
    np.testing.assert_allclose(found.mean[0][at], fit.params, **TIGHT)
    np.testing.assert_allclose(found.covariance[0][np.ix_(at, at)], fit.normalized_cov_params, **TIGHT)


def test_row_after_row_is_recursive_least_squares():
    """statsmodels RecursiveLS, started diffuse, with our noise, against an infinitely wide offset."""
    from statsmodels.regression.recursive_ls import RecursiveLS

    setup = plain(offset_sd_mm=math.inf)
    y = np.array(Y) + np.array(X)
    fit = RecursiveLS(y, np.ones((len(y), 1))).fit()
    recursive = fit.recursive_coefficients
    for n in range(1, len(y) + 1):
        offset = posterior(setup, gap_log(X[:n], Y[:n])).offset("gap")
        variance = recursive.filtered_cov[0, 0, n - 1] / fit.scale * NOISE
        assert offset.expected == pytest.approx(recursive.filtered[0][n - 1], rel=1e-9)
        assert offset.u == pytest.approx(math.sqrt(variance), rel=1e-9)


def test_the_evidence_of_hypotheses_is_the_density_of_the_readings():
    """Weights of the grid follow from the exact density of all readings under each pair of scales."""
    setup = plain(scales_known=False, move_sd_mm=0.04, log_sd=0.6)
    found = posterior(setup, gap_log(X, Y)).blocks[0]
    y = np.array(Y) + np.array(X)
    moved = np.array(MOVES_BEFORE)
    together = np.minimum.outer(moved, moved)
    expected = []
    for scatter, move in zip(found.scatter, found.move, strict=True):
        V = 0.2**2 + (0.04 * move) ** 2 * together + scatter**2 * NOISE * np.eye(len(y))
        log_density = -0.5 * (np.linalg.slogdet(V)[1] + y @ np.linalg.solve(V, y))
        log_prior = -0.5 * (math.log(scatter) ** 2 + math.log(move) ** 2) / 0.6**2
        expected.append(log_density + log_prior)
    weights = np.exp(np.array(expected) - max(expected))
    np.testing.assert_allclose(found.weights, weights / weights.sum(), rtol=1e-9)


def write_log(folder: Path, unit: str, per_mm: float) -> Path:
    """Write the same numbers and words in a unit, to the last digit, and return the log's path."""

    def of(mm: float) -> str:
        return repr(mm * per_mm)

    path = folder / f"{unit}.toml"
    path.write_text(
        f'schema = "calib.log/1"\nname = "{unit}"\nunits = "{unit}"\n'
        '[joint]\nkind = "plain"\n'
        f"[readings.gap]\ntarget = {of(0.0)}\nlow = {of(-0.1)}\nhigh = {of(0.1)}\n"
        "[adjusters.lever]\nmoves = { gap = -1.0 }\n"
        f"[knowledge]\noffset_sd = {of(0.2)}\nmove_sd = {of(0.03)}\ncut_sd = {of(0.02)}\n"
        f"reading_sd = {of(0.01)}\n"
        f"[feel]\nspread = {of(0.04)}\n"
        f"[feel.words]\ntight = [{of(-5.0)}, {of(0.0)}]\nloose = [{of(0.05)}, {of(5.0)}]\n"
    )
    words = ["", "tight", "", "loose", "", ""]
    rows = [f"test,{of(x)},{of(y)},{word}\n" for x, y, word in zip(X, Y, words, strict=True)]
    path.with_suffix(".csv").write_text("kind,lever,gap,feel\n" + "".join(rows))
    return path


def test_mm_and_inch_logs_say_the_same(tmp_path):
    """The same log written in inches, to the last digit, gives the same posterior in mm."""
    from calib.logfile import load_log

    metric = posterior(*load_log(write_log(tmp_path, "mm", 1.0)))
    inches = posterior(*load_log(write_log(tmp_path, "in", 1.0 / 25.4)))
    assert_same(metric.next_reading("gap"), inches.next_reading("gap"))
    assert_same(metric.offset("gap"), inches.offset("gap"))


def test_the_order_of_readings_and_adjusters_does_not_matter():
    lever, screw = Adjuster("lever", moves={"gap": -1.0, "rise": 0.5}), Adjuster("screw", moves={"rise": 1.0})
    cuts = [
        Cut(1, "test", {"lever": 0.0, "screw": 0.0}, {"gap": (0.3,), "rise": (0.2, 0.23)}),
        Cut(2, "test", {"lever": 0.3, "screw": 0.2}, {"gap": (0.02,), "rise": (0.55,)}),
    ]
    one = posterior(plain(lever, screw, bands=(GAP, RISE), **DOUBTED), cuts)
    other = posterior(plain(screw, lever, bands=(RISE, GAP), **DOUBTED), cuts)
    assert_same(one.next_reading("gap"), other.next_reading("gap"))
    assert_same(one.next_reading("rise"), other.next_reading("rise"))
    assert_same(one.position_error("screw"), other.position_error("screw"))


def test_the_order_of_repeats_does_not_matter():
    setup = plain(scales_known=False, blunder_probability=0.02, feel=FeelScale({"tight": (-0.5, 0.1)}))
    answers = [
        posterior(setup, [Cut(1, "test", {"lever": 0.0}, {"gap": repeats}, feel="tight")]).next_reading("gap")
        for repeats in ((0.1, 0.14, 0.11), (0.14, 0.11, 0.1))
    ]
    assert_same(*answers)


def test_readings_that_share_nothing_are_as_two_setups():
    screw = Adjuster("screw", moves={"rise": 1.0})
    cuts = [
        Cut(1, "test", {"lever": 0.0, "screw": 0.0}, {"gap": (0.3,), "rise": (0.2,)}),
        Cut(2, "test", {"lever": 0.3, "screw": 0.3}, {"gap": (0.02,), "rise": (0.55,)}),
    ]
    together = posterior(plain(LEVER, screw, bands=(GAP, RISE), **DOUBTED), cuts)
    assert len(together.blocks) == 2
    for adjuster, band in ((LEVER, GAP), (screw, RISE)):
        alone = [
            Cut(c.number, "test", {adjuster.name: c.settings_mm[adjuster.name]},
                {band.name: c.readings[band.name]})
            for c in cuts
        ]  # fmt: skip
        found = posterior(plain(adjuster, bands=(band,), **DOUBTED), alone)
        assert_same(together.next_reading(band.name), found.next_reading(band.name))
        assert_same(together.position_error(adjuster.name), found.position_error(adjuster.name))


def test_repeats_of_one_cut_shrink_the_measuring_error_but_not_the_cut():
    """n repeats: variance cut^2 + reading^2 / n, by exact conditioning."""
    setup = plain()
    for n in (1, 2, 5):
        found = posterior(setup, [Cut(1, "test", {"lever": 0.0}, {"gap": (0.12,) * n})]).offset("gap")
        noise = 0.06**2 + 0.03**2 / n
        assert found.u**2 == pytest.approx(1.0 / (1.0 / 0.2**2 + 1.0 / noise), rel=1e-9)


@pytest.mark.parametrize("n", [8, 12, 40])
@pytest.mark.parametrize("shop", [0.5, 1.0, 2.0])
def test_many_cuts_narrow_the_grid_without_changing_the_answer(monkeypatch, n, shop):
    """From 8 numbers on the narrowed grid agrees with one of 61 nodes within 3 % of u.

    `shop` is how many times the scatter is what was expected.
    """
    rng = np.random.default_rng(n)
    setup = plain(scales_known=False, move_sd_mm=0.03)
    settings = [0.0, *[0.05] * (n - 1)]
    gaps = 0.05 + shop * math.sqrt(NOISE) * rng.standard_normal(n) - np.array(settings)
    narrowed = posterior(setup, gap_log(settings, gaps.tolist())).next_reading("gap")
    monkeypatch.setattr(knowledge, "SCATTER_NODES", 61)
    monkeypatch.setattr(hypotheses, "_NARROW_FROM", 10_000)
    fine = posterior(setup, gap_log(settings, gaps.tolist())).next_reading("gap")
    for p in (0.05, 0.5, 0.95):
        assert narrowed.quantile(p) == pytest.approx(fine.quantile(p), abs=0.03 * fine.u)


def test_a_scale_that_counts_the_other_way_is_noticed():
    setup = plain(scales_known=False, scale_sd=0.03, cut_sd_mm=0.02, reading_sd_mm=0.01)
    wrong = posterior(setup, gap_log([0.0, 0.3], [0.3, 0.6])).blocks[0]
    assert wrong.reversed_scales["lever"] > 0.5
    right = posterior(setup, gap_log([0.0, 0.3], [0.3, 0.01])).blocks[0]
    assert right.reversed_scales["lever"] < 0.01
    assert posterior(setup, gap_log([0.0], [0.3])).blocks[0].reversed_scales == {}


def test_overrides_belong_to_their_reading_and_adjuster():
    own = {"gap": Scales(offset_sd_mm=0.5), "lever": Scales(move_sd_mm=0.07)}
    setup = plain(LEVER, Adjuster("screw", moves={"rise": 1.0}), bands=(GAP, RISE), move_sd_mm=0.01, of=own)
    at = {"lever": 0.0, "screw": 0.0}
    moved = {"lever": 0.1, "screw": 0.1}
    found = posterior(setup, [Cut(n, "test", x, pieces=0) for n, x in enumerate((at, moved))])
    assert found.offset("gap").u == pytest.approx(0.5, rel=1e-9)
    assert found.offset("rise").u == pytest.approx(0.2, rel=1e-9)
    assert found.position_error("lever").u == pytest.approx(0.07, rel=1e-9)
    assert found.position_error("screw").u == pytest.approx(0.01, rel=1e-9)


@pytest.mark.parametrize(
    ("cut", "found"),
    [
        (Cut(1, "test", {}, {"gap": (0.1,)}), "does not say where lever stood"),
        (Cut(1, "test", {"lever": 0.0}, {"width": (0.1,)}), 'no reading "width"'),
        (Cut(1, "test", {"lever": 0.0}, feel="mushy"), '"mushy" is not a word'),
    ],
)
def test_a_cut_that_does_not_fit_is_refused_in_one_line(cut, found):
    setup = dataclasses.replace(plain(), feel=FeelScale({"tight": (-1.0, 0.0)}))
    with pytest.raises(CalibError, match=found) as caught:
        posterior(setup, [cut])
    assert "\n" not in str(caught.value)

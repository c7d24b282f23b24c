"""The posterior against independent referees: exact conditioning, least squares, one cut at a time.

All with the scales known, so that there is one hypothesis and nothing is approximate.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from calib.errors import CalibError
from calib.regression import posterior
from calib.regression.infer import Posterior
from calib.shop import Adjuster, Band, Cut, FeelScale, Joint, Knowledge, Scales, Setup

TIGHT = {"rtol": 1e-9, "atol": 1e-12}


def setup_of(
    *adjusters: Adjuster, bands: tuple[Band, ...] = (Band("gap", 0.0, -0.1, 0.1),), **known: object
) -> Setup:
    exact: dict[str, object] = {
        "offset_sd_mm": 0.2, "move_sd_mm": 0.0, "cut_sd_mm": 0.06, "reading_sd_mm": 0.03, "scale_sd": 0.0,
        "blunder_probability": 0.0, "scales_known": True,
    }  # fmt: skip
    return Setup(
        "gaps",
        Joint("plain"),
        bands,
        adjusters or (Adjuster("lever", moves={"gap": -1.0}),),
        knowledge=Knowledge(**{**exact, **known}),  # type: ignore[arg-type]
    )


def log(settings: list[float], gaps: list[float], **more: object) -> list[Cut]:
    return [
        Cut(n, "test", {"lever": x}, {"gap": (y,)}, **more)  # type: ignore[arg-type]
        for n, (x, y) in enumerate(zip(settings, gaps, strict=True), 1)
    ]


X = [0.0, 0.25, 0.22, 0.22, 0.31, 0.28]
Y = [0.30, -0.02, 0.09, 0.05, -0.03, 0.01]


def dense(setup: Setup, H: np.ndarray, prior: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Exact multivariate normal conditioning: unknowns ~ N(0, prior), y = H unknowns + noise."""
    known = setup.knowledge
    noise = known.cut_sd_mm**2 + known.reading_sd_mm**2
    V = H @ prior @ H.T + noise * np.eye(len(y))
    gain = prior @ H.T @ np.linalg.inv(V)
    return gain @ y, prior - gain @ H @ prior


@pytest.mark.parametrize("landing", ["adds", "renews"])
def test_moves_scale_and_offset_equal_dense_conditioning(landing):
    """Offset, scale error and an error for each move, conditioned as one joint normal distribution."""
    lever = Adjuster("lever", moves={"gap": -1.0}, landing=landing)
    setup = setup_of(lever, move_sd_mm=0.04, scale_sd=0.05)
    found = posterior(setup, log(X, Y)).blocks[0]
    moved = [0, 1, 2, 2, 3, 4]  # moves made before each cut
    columns = []
    for x, m in zip(X, moved, strict=True):
        errors = [0.0] * 4
        for k in range(m) if landing == "adds" else range(max(m - 1, 0), m):
            errors[k] = -1.0
        columns.append([1.0, -x, *errors])
    H, y = np.array(columns), np.array(Y) + np.array(X)
    prior = np.diag([0.2**2, 0.05**2, *[0.04**2] * 4])
    mean, covariance = dense(setup, H, prior, y)
    order = ["span:gap:0", "scale:lever", *(f"move:lever:{k}" for k in (1, 2, 3, 4))]
    at = [found.names.index(name) for name in order]
    np.testing.assert_allclose(found.mean[0][at], mean, **TIGHT)
    np.testing.assert_allclose(found.covariance[0][np.ix_(at, at)], covariance, rtol=1e-9, atol=1e-12)


def test_one_cut_at_a_time_equals_all_at_once():
    """The Kalman recursion of (size now), landing adds, written out by hand."""
    setup = setup_of(move_sd_mm=0.04)
    mean, P, noise = 0.0, 0.2**2, 0.06**2 + 0.03**2
    for n, (x, y) in enumerate(zip(X, Y, strict=True)):
        if n and x != X[n - 1]:
            mean, P = mean - (x - X[n - 1]), P + 0.04**2
        gain = P / (P + noise)
        mean, P = mean + gain * (y - mean), (1.0 - gain) * P
        size = posterior(setup, log(X[: n + 1], Y[: n + 1])).size("gap")
        assert size.expected == pytest.approx(mean, rel=1e-9)
        assert size.u == pytest.approx(math.sqrt(P), rel=1e-9)


def test_a_vague_prior_is_least_squares():
    """Offset infinitely wide and the slope to be learned: statsmodels OLS with the known noise."""
    import statsmodels.api as sm

    setup = setup_of(Adjuster("lever", moves={"gap": "learn"}), offset_sd_mm=math.inf)
    found = posterior(setup, log(X, Y)).blocks[0]
    design = sm.add_constant(np.array(X))
    noise = 0.06**2 + 0.03**2
    # the slope has a prior of sd 3; it enters as one more row
    rows = np.vstack([design, [0.0, math.sqrt(noise) / 3.0]])
    fit = sm.OLS(np.append(Y, 0.0), rows).fit()
    at = [found.names.index(name) for name in ("span:gap:0", "slope:gap:lever")]
    np.testing.assert_allclose(found.mean[0][at], fit.params, **TIGHT)
    np.testing.assert_allclose(
        found.covariance[0][np.ix_(at, at)], np.asarray(fit.normalized_cov_params) * noise, rtol=1e-9
    )


def test_an_informative_prior_is_mixed_estimation():
    """Offset and scale error with their priors: statsmodels TheilGLS."""
    from statsmodels.sandbox.regression.penalized import TheilGLS

    setup = setup_of(scale_sd=0.05)
    found = posterior(setup, log(X, Y)).blocks[0]
    noise = (0.06**2 + 0.03**2) * np.ones(len(X))
    exog = np.column_stack([np.ones(len(X)), -np.array(X)])
    theil = TheilGLS(
        np.array(Y) + np.array(X),
        exog,
        r_matrix=np.eye(2),
        q_matrix=np.zeros(2),
        sigma_prior=np.diag([0.2**2, 0.05**2]),
        sigma=noise,
    )
    theil.fit()
    fit = theil.fit(pen_weight=1.0 / theil.sigma2_e, cov_type="data-prior")  # it scales by its own estimate
    at = [found.names.index(name) for name in ("span:gap:0", "scale:lever")]
    np.testing.assert_allclose(found.mean[0][at], fit.params, **TIGHT)


def test_row_after_row_is_recursive_least_squares():
    """statsmodels RecursiveLS, started diffuse, against an infinitely wide offset."""
    from statsmodels.regression.recursive_ls import RecursiveLS

    setup = setup_of(offset_sd_mm=math.inf)
    y = np.array(Y) + np.array(X)
    recursive = RecursiveLS(y, np.ones((len(y), 1))).fit().recursive_coefficients.filtered[0]
    for n in range(2, len(y) + 1):
        offset = posterior(setup, log(X[:n], Y[:n])).offset("gap").expected
        assert offset == pytest.approx(recursive[n - 1], rel=1e-7)


def test_the_evidence_of_hypotheses_is_the_density_of_the_readings():
    """Weights of the grid follow from the exact density of all readings under each pair of scales."""
    setup = setup_of(scales_known=False, move_sd_mm=0.04, log_sd=0.6)
    found = posterior(setup, log(X, Y)).blocks[0]
    y = np.array(Y) + np.array(X)
    moved = np.array([0, 1, 2, 2, 3, 4])
    together = np.minimum.outer(moved, moved)
    expected = []
    for scatter, move in zip(found.scatter, found.move, strict=True):
        V = 0.2**2 + (0.04 * move) ** 2 * together + scatter**2 * (0.06**2 + 0.03**2) * np.eye(len(y))
        log_density = -0.5 * (np.linalg.slogdet(V)[1] + y @ np.linalg.solve(V, y))
        log_prior = -0.5 * (math.log(scatter) ** 2 + math.log(move) ** 2) / 0.6**2
        expected.append(log_density + log_prior)
    weights = np.exp(np.array(expected) - max(expected))
    np.testing.assert_allclose(found.weights, weights / weights.sum(), rtol=1e-9)


def both(one: Posterior, other: Posterior, reading: str = "gap") -> None:
    a, b = one.next_reading(reading), other.next_reading(reading)
    assert a.expected == pytest.approx(b.expected, rel=1e-9, abs=1e-12)
    assert a.u == pytest.approx(b.u, rel=1e-9)
    assert a.interval(0.9) == pytest.approx(b.interval(0.9), rel=1e-8, abs=1e-10)


def test_mm_and_inch_logs_say_the_same(tmp_path):
    """The same log written in inches, to the last digit, gives the same posterior in mm."""
    from calib.logfile import load_log

    def write(name: str, unit: str, per_mm: float) -> None:
        def of(mm: float) -> str:
            return repr(mm * per_mm)

        (tmp_path / f"{name}.toml").write_text(
            f'schema = "calib.log/1"\nname = "{name}"\nunits = "{unit}"\n'
            '[joint]\nkind = "plain"\n'
            f"[readings.gap]\ntarget = {of(0.0)}\nlow = {of(-0.1)}\nhigh = {of(0.1)}\n"
            "[adjusters.lever]\nmoves = { gap = -1.0 }\n"
            f"[knowledge]\noffset_sd = {of(0.2)}\nmove_sd = {of(0.03)}\ncut_sd = {of(0.02)}\n"
            f"reading_sd = {of(0.01)}\n"
        )
        rows = "".join(f"test,{of(x)},{of(y)}\n" for x, y in zip(X, Y, strict=True))
        (tmp_path / f"{name}.csv").write_text("kind,lever,gap\n" + rows)

    write("metric", "mm", 1.0)
    write("inches", "in", 1.0 / 25.4)
    both(posterior(*load_log(tmp_path / "metric.toml")), posterior(*load_log(tmp_path / "inches.toml")))


def test_the_order_of_readings_and_adjusters_does_not_matter():
    bands = (Band("gap", 0.0, -0.1, 0.1), Band("rise", 0.5, 0.4, 0.6))
    lever, screw = Adjuster("lever", moves={"gap": -1.0, "rise": 0.5}), Adjuster("screw", moves={"rise": 1.0})
    cuts = [
        Cut(1, "test", {"lever": 0.0, "screw": 0.0}, {"gap": (0.3,), "rise": (0.2, 0.23)}),
        Cut(2, "test", {"lever": 0.3, "screw": 0.2}, {"gap": (0.02,), "rise": (0.55,)}),
    ]
    known = {"scales_known": False, "move_sd_mm": 0.03, "scale_sd": 0.03, "blunder_probability": 0.02}
    one = posterior(setup_of(lever, screw, bands=bands, **known), cuts)
    other = posterior(setup_of(screw, lever, bands=bands[::-1], **known), cuts)
    both(one, other, "gap")
    both(one, other, "rise")


def test_the_order_of_repeats_does_not_matter():
    setup = setup_of(scales_known=False, blunder_probability=0.02)
    one = posterior(setup, [Cut(1, "test", {"lever": 0.0}, {"gap": (0.1, 0.14, 0.11)})])
    other = posterior(setup, [Cut(1, "test", {"lever": 0.0}, {"gap": (0.14, 0.11, 0.1)})])
    both(one, other)


def test_readings_that_share_nothing_are_as_two_setups():
    bands = (Band("gap", 0.0, -0.1, 0.1), Band("rise", 0.5, 0.4, 0.6))
    lever, screw = Adjuster("lever", moves={"gap": -1.0}), Adjuster("screw", moves={"rise": 1.0})
    cuts = [
        Cut(1, "test", {"lever": 0.0, "screw": 0.0}, {"gap": (0.3,), "rise": (0.2,)}),
        Cut(2, "test", {"lever": 0.3, "screw": 0.3}, {"gap": (0.02,), "rise": (0.55,)}),
    ]
    known = {"scales_known": False, "move_sd_mm": 0.03, "scale_sd": 0.03, "blunder_probability": 0.02}
    together = posterior(setup_of(lever, screw, bands=bands, **known), cuts)
    alone = [
        Cut(c.number, "test", {"lever": c.settings_mm["lever"]}, {"gap": c.readings["gap"]}) for c in cuts
    ]
    one = setup_of(Adjuster("lever", moves={"gap": -1.0}), bands=bands[:1], **known)
    both(together, posterior(one, alone))


def test_repeats_of_one_cut_shrink_the_measuring_error_but_not_the_cut():
    """n repeats: variance cut^2 + reading^2 / n, by exact conditioning."""
    setup = setup_of()
    for n in (1, 2, 5):
        found = posterior(setup, [Cut(1, "test", {"lever": 0.0}, {"gap": (0.12,) * n})]).offset("gap")
        noise = 0.06**2 + 0.03**2 / n
        assert found.u**2 == pytest.approx(1.0 / (1.0 / 0.2**2 + 1.0 / noise), rel=1e-9)


def test_a_zero_error_of_the_gauge_does_not_average_out():
    """A zero error of sd 0.05 on a thousand cuts leaves the offset no better known than 0.05 mm."""
    setup = setup_of(zero_sd_mm=0.05, offset_sd_mm=10.0)
    cuts = log([0.0] * 400, [0.1] * 400)
    assert posterior(setup, cuts).offset("gap").u == pytest.approx(0.05, rel=0.01)


def test_another_stock_adds_twice_its_variance_until_it_is_cut():
    setup = dataclasses.replace(setup_of(stock_sd_mm=0.1, offset_sd_mm=10.0), stock="ash")
    cuts = log([0.0] * 300, [0.1] * 300, stock="pine")
    from calib.regression.prospect import prospect

    future = prospect(posterior(setup, cuts).blocks[0])
    _, covariance = future.after(np.zeros((1, 1)), np.zeros((1, 1), dtype=bool))
    assert math.sqrt(covariance[0, 0, 0, 0]) == pytest.approx(0.1 * math.sqrt(2.0), rel=0.02)


def test_each_mounting_has_its_own_offset_and_they_teach_each_other_when_told_to():
    first = log([0.0] * 30, [0.2] * 30, mounting="one")
    again = Cut(0, "test", {"lever": 0.0}, pieces=0, mounting="two")
    apart = posterior(setup_of(), [*first, again]).offset("gap")
    assert apart.u == pytest.approx(0.2, rel=1e-9)
    linked = posterior(setup_of(mounting_sd_mm=0.05), [*first, again]).offset("gap")
    assert linked.expected == pytest.approx(0.2, abs=0.02)
    assert linked.u == pytest.approx(0.05 * math.sqrt(2.0), rel=0.1)


def test_creep_counts_pieces_since_the_last_adjustment():
    """A creep of 0.004 mm a piece, seen over 100 good pieces, is found; a move starts it again."""
    setup = setup_of(creep_sd_mm=0.01, cut_sd_mm=0.001, reading_sd_mm=0.001, offset_sd_mm=1.0)
    cuts = [
        Cut(n, "good", {"lever": 0.0}, {"gap": (0.1 + 0.004 * (20 * n - 1),)}, pieces=20) for n in range(1, 6)
    ]
    found = posterior(setup, cuts)
    assert found.size("gap").expected == pytest.approx(0.1 + 0.004 * 100, abs=0.002)
    moved = [*cuts, Cut(0, "test", {"lever": 0.05}, pieces=0)]
    assert posterior(setup, moved).size("gap").expected == pytest.approx(0.05, abs=0.005)


def test_wear_is_never_negative_and_is_found():
    """A finger joint with the axis held: play falls by three times the recession."""
    setup = Setup(
        "fingers", Joint("finger"), (Band("play", 0.1, 0.0, 0.2),), (Adjuster("key"),),
        metres_per_piece_m=10.0,
        knowledge=Knowledge(
            wear_sd_mm_per_m=0.0005, cut_sd_mm=0.002, reading_sd_mm=0.002, blunder_probability=0.0,
            scales_known=True,
        ),
    )  # fmt: skip
    setup = dataclasses.replace(setup, cutter=dataclasses.replace(setup.cutter, nominal_mm=6.0))
    falls = [Cut(n, "test", {"key": 5.9}, {"play": (0.1 - 3 * 0.0003 * 10 * n,)}) for n in range(12)]
    rises = [Cut(n, "test", {"key": 5.9}, {"play": (0.1 + 3 * 0.0003 * 10 * n,)}) for n in range(12)]
    found = posterior(setup, falls).blocks[0]
    assert float(found.weights @ found.wear_mm_per_m) == pytest.approx(0.0003, abs=0.0001)
    none = posterior(setup, rises).blocks[0]
    assert float(none.weights @ none.wear_mm_per_m) < 0.0001


def test_many_cuts_narrow_the_grid_without_changing_the_answer(monkeypatch):
    """The narrowed grid agrees with one of 61 nodes within 3 % of u."""
    from calib.regression import hypotheses, knowledge

    rng = np.random.default_rng(2)
    setup = setup_of(scales_known=False)
    cuts = log([0.0] * 40, list(0.05 + 0.03 * rng.standard_normal(40)))
    narrowed = posterior(setup, cuts).next_reading("gap")
    monkeypatch.setattr(knowledge, "SCATTER_NODES", 61)
    monkeypatch.setattr(hypotheses, "_NARROW_FROM", 10_000)
    fine = posterior(setup, cuts).next_reading("gap")
    for p in (0.05, 0.5, 0.95):
        assert narrowed.quantile(p) == pytest.approx(fine.quantile(p), abs=0.03 * fine.u)


def test_a_scale_that_counts_the_other_way_is_noticed():
    setup = setup_of(scales_known=False, scale_sd=0.03, cut_sd_mm=0.02, reading_sd_mm=0.01)
    wrong = posterior(setup, log([0.0, 0.3], [0.3, 0.6])).blocks[0]
    assert wrong.reversed_scales["lever"] > 0.5
    right = posterior(setup, log([0.0, 0.3], [0.3, 0.01])).blocks[0]
    assert right.reversed_scales["lever"] < 0.01
    assert posterior(setup, log([0.0], [0.3])).blocks[0].reversed_scales == {}


def test_overrides_belong_to_their_reading_and_adjuster():
    known = setup_of().knowledge
    setup = dataclasses.replace(
        setup_of(), knowledge=dataclasses.replace(known, of={"gap": Scales(offset_sd_mm=0.5)})
    )
    assert posterior(setup, []).offset("gap").u == pytest.approx(0.5, rel=1e-9)


@pytest.mark.parametrize(
    ("cut", "found"),
    [
        (Cut(1, "test", {}, {"gap": (0.1,)}), "does not say where lever stood"),
        (Cut(1, "test", {"lever": 0.0}, {"width": (0.1,)}), 'no reading "width"'),
        (Cut(1, "test", {"lever": 0.0}, feel="mushy"), '"mushy" is not a word'),
    ],
)
def test_a_cut_that_does_not_fit_is_refused_in_one_line(cut, found):
    setup = dataclasses.replace(setup_of(), feel=FeelScale({"tight": (-1.0, 0.0)}))
    with pytest.raises(CalibError, match=found) as caught:
        posterior(setup, [cut])
    assert "\n" not in str(caught.value)

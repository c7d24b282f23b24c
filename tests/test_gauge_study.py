"""The gauge study: against REML on the same rows, and what it says when it cannot tell."""

from __future__ import annotations

import itertools
import math
import warnings

import numpy as np
import pytest

from calib.errors import CalibError
from calib.measurement import GaugeStudy, gauge_study

Rows = list[tuple[str, str, float]]


def crossed(
    seed: int, sds: tuple[float, float, float, float], shape: tuple[int, int, int] = (8, 4, 3)
) -> Rows:
    """Simulate a study; sds of part, operator, interaction, repeat."""
    rng = np.random.default_rng(seed)
    part, operator, both, repeat = sds
    p, o, r = shape
    values = 6.0 + rng.normal(0, part, (p, 1, 1)) + rng.normal(0, operator, (1, o, 1))
    values = values + rng.normal(0, both, (p, o, 1)) + rng.normal(0, repeat, shape)
    cells = itertools.product(range(p), range(o), range(r))
    return [(f"p{i}", f"o{j}", float(values[i, j, k])) for i, j, k in cells]


def variances_by_reml(rows: Rows, interaction: bool) -> dict[str, float]:
    """Return variance components by statsmodels' mixed model (everything crossed within one group)."""
    pd = pytest.importorskip("pandas")
    mixed = pytest.importorskip("statsmodels.regression.mixed_linear_model")
    frame = pd.DataFrame(rows, columns=["part", "operator", "value"]).assign(all=1)
    frame["cell"] = frame.part + frame.operator
    formulas = {"part": "0 + C(part)", "operator": "0 + C(operator)"}
    if interaction:
        formulas["cell"] = "0 + C(cell)"
    model = mixed.MixedLM.from_formula("value ~ 1", groups="all", vc_formula=formulas, data=frame)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the referee warns about its single group
        fit = model.fit(reml=True)
    found = dict(zip(model.exog_vc.names, fit.vcomp, strict=True))
    return {**found, "repeat": float(fit.scale)}


def test_kept_interaction_agrees_with_reml_on_a_balanced_study() -> None:
    rows = crossed(7, sds=(0.5, 0.3, 0.2, 0.1))
    study, referee = gauge_study(rows), variances_by_reml(rows, interaction=True)
    assert not study.pooled
    assert study.operator is not None
    assert study.interaction is not None
    assert study.part is not None
    assert study.repeatability**2 == pytest.approx(referee["repeat"], rel=2e-3)
    assert study.part**2 == pytest.approx(referee["part"], rel=2e-3)
    assert study.operator**2 == pytest.approx(referee["operator"], rel=2e-3)
    assert study.interaction**2 == pytest.approx(referee["cell"], rel=2e-3)
    assert study.reproducibility == pytest.approx(math.hypot(study.operator, study.interaction), rel=1e-12)


def test_pooled_interaction_agrees_with_reml_without_it() -> None:
    rows = crossed(11, sds=(0.5, 0.3, 0.0, 0.2))
    study, referee = gauge_study(rows), variances_by_reml(rows, interaction=False)
    assert study.pooled
    assert study.interaction is None
    assert study.part is not None
    assert study.reproducibility is not None
    assert study.repeatability**2 == pytest.approx(referee["repeat"], rel=2e-3)
    assert study.part**2 == pytest.approx(referee["part"], rel=2e-3)
    assert study.reproducibility**2 == pytest.approx(referee["operator"], rel=2e-3)
    assert any("pooled" in note for note in study.notes)


def test_the_table_says_which_mean_square_each_effect_was_tested_against() -> None:
    kept = {line.source: line.against for line in gauge_study(crossed(7, (0.5, 0.3, 0.2, 0.1))).anova}
    assert kept == {"part": "interaction", "operator": "interaction", "interaction": "repeat", "repeat": None}
    pooled = {line.source: line.against for line in gauge_study(crossed(11, (0.5, 0.3, 0.0, 0.2))).anova}
    rest = "repeat + interaction"
    assert pooled == {"part": rest, "operator": rest, rest: None}


def test_sums_of_squares_and_p_values_agree_with_a_linear_model() -> None:
    pd = pytest.importorskip("pandas")
    formula = pytest.importorskip("statsmodels.formula.api")
    anova = pytest.importorskip("statsmodels.stats.anova")
    stats = pytest.importorskip("scipy.stats")
    rows = crossed(7, sds=(0.5, 0.3, 0.2, 0.1), shape=(4, 3, 2))
    frame = pd.DataFrame(rows, columns=["part", "operator", "value"])
    referee = anova.anova_lm(formula.ols("value ~ C(part) * C(operator)", frame).fit())
    lines = {line.source: line for line in gauge_study(rows).anova}
    for source, term in (("part", "C(part)"), ("operator", "C(operator)"), ("repeat", "Residual")):
        assert lines[source].sum_of_squares == pytest.approx(referee.loc[term, "sum_sq"], rel=1e-9)
        assert lines[source].dof == referee.loc[term, "df"]
    assert lines["interaction"].p == pytest.approx(referee.loc["C(part):C(operator)", "PR(>F)"], rel=1e-9)
    f = lines["part"].mean_square / lines["interaction"].mean_square
    assert lines["part"].p == pytest.approx(stats.f.sf(f, 3, 6), rel=1e-9)


def test_a_negative_variance_is_set_to_zero_and_said() -> None:
    rows = [(part, who, 6.0 + d) for part in "abc" for who in "xy" for d in (-0.1, 0.1)]
    study = gauge_study(rows)
    assert (study.part, study.operator) == (0.0, 0.0)
    assert sum("below 0" in note for note in study.notes) == 2


def test_one_operator_leaves_reproducibility_open() -> None:
    study = gauge_study([("a", "me", 1.0), ("a", "me", 1.2), ("b", "me", 3.0), ("b", "me", 3.2)])
    assert (study.reproducibility, study.operator, study.interaction) == (None, None, None)
    assert study.repeatability == pytest.approx(math.sqrt(0.02), rel=1e-12)
    assert study.part == pytest.approx(math.sqrt((4.0 - 0.02) / 2.0), rel=1e-12)
    assert study.gauge == study.repeatability
    assert any("reproducibility cannot be told" in note for note in study.notes)


def test_one_part_leaves_the_spread_between_parts_open() -> None:
    study = gauge_study([("a", "x", 1.0), ("a", "x", 1.2), ("a", "y", 3.0), ("a", "y", 3.2)])
    assert study.part is None
    assert study.reproducibility == pytest.approx(math.sqrt((4.0 - 0.02) / 2.0), rel=1e-12)


def test_without_repeats_interaction_and_repeatability_are_one() -> None:
    study = gauge_study(crossed(3, (0.5, 0.3, 0.0, 0.1), shape=(5, 3, 1)))
    assert study.pooled
    assert study.dof == 8
    assert any("no repeats" in note for note in study.notes)


def test_row_order_and_a_shift_of_the_scale_do_not_matter() -> None:
    rows = crossed(7, sds=(0.5, 0.3, 0.2, 0.1))
    shifted = [(part, who, value + 1000.0) for part, who, value in reversed(rows)]

    def numbers(study: GaugeStudy) -> list[float | None]:
        return [study.repeatability, study.reproducibility, study.part]

    assert numbers(gauge_study(shifted)) == pytest.approx(numbers(gauge_study(rows)), rel=1e-9)


def test_a_gauge_that_never_varies_has_no_spread() -> None:
    study = gauge_study([(part, who, 6.0) for part in "ab" for who in "xy" for _ in range(2)])
    assert (study.repeatability, study.reproducibility, study.part) == (0.0, 0.0, 0.0)


def test_components_are_found_again_on_a_large_study() -> None:
    study = gauge_study(crossed(5, sds=(0.5, 0.3, 0.2, 0.1), shape=(40, 40, 3)))
    assert study.repeatability == pytest.approx(0.1, rel=0.05)
    assert study.interaction == pytest.approx(0.2, rel=0.1)
    assert study.operator == pytest.approx(0.3, rel=0.3)
    assert study.part == pytest.approx(0.5, rel=0.3)


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([], "no rows"),
        ([("a", "x", 1.0), ("b", "x", 2.0)], "nothing was measured twice"),
        ([("a", "x", 1.0), ("a", "x", 1.1), ("b", "x", 2.0)], "part b by operator x has 1 values"),
        ([("a", "x", 1.0), ("a", "y", 1.1), ("b", "x", 2.0)], "part b by operator y has 0 values"),
        ([("a", "x", 1.0), ("a", "x", math.nan)], "row 2 has value nan"),
    ],
)
def test_studies_that_do_not_balance_are_refused(rows: Rows, message: str) -> None:
    with pytest.raises(CalibError, match=message):
        gauge_study(rows)

"""Ordered probit against published results, and against a reference library."""

from __future__ import annotations

import csv
from importlib.resources import files

import numpy as np
import pytest

from calib.errors import CalibError
from calib.regression.ordered import fit_ordered

WORDS = ["unlikely", "somewhat likely", "very likely"]


def college() -> tuple[np.ndarray, np.ndarray]:
    """Return covariates and words of the 400 rows that the library ships (never copied here)."""
    path = files("statsmodels") / "miscmodels/tests/results/ologit_ucla.csv"
    rows = list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))
    x = np.array([[float(row[name]) for name in ("pared", "public", "gpa")] for row in rows])
    return x, np.array([WORDS.index(row["apply"]) for row in rows])


def test_limits_slopes_and_errors_are_those_of_r():
    """S: R 3.4.4, MASS::polr(method = 'probit'), as kept in statsmodels' results_ordinal_model.py."""
    found = fit_ordered(*college(), words=3)
    np.testing.assert_allclose(found.slopes, [0.59811, 0.01016, 0.35815], rtol=0, atol=2e-5)
    np.testing.assert_allclose(found.slopes_u, [0.1579, 0.1728, 0.1568], rtol=0, atol=1e-4)
    np.testing.assert_allclose(found.limits, [1.2968, 2.5028], rtol=0, atol=6e-5)
    np.testing.assert_allclose(found.slopes / found.slopes_u, [3.78881, 0.05878, 2.28479], rtol=0, atol=2e-3)


def test_first_predictions_are_those_of_r():
    """S: predict(r, type = 'prob') of the same fit, first rows."""
    from calib.normal import cdf

    x, word = college()
    found = fit_ordered(x, word, words=3)
    below = cdf(found.limits - (x[:3] @ found.slopes)[:, None])
    chances = np.column_stack([below[:, 0], below[:, 1] - below[:, 0], 1 - below[:, 1]])
    published = [
        [0.5514181, 0.3576848, 0.09089707],
        [0.3260107, 0.4488799, 0.22510933],
        [0.2349733, 0.4506351, 0.31439162],
    ]
    np.testing.assert_allclose(chances, published, rtol=0, atol=2e-5)


def test_the_fit_of_felt_joints_is_that_of_the_reference_library():
    """Simulated words of a clearance; statsmodels' OrderedModel maximises the same likelihood."""
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    rng = np.random.default_rng(4)
    size = rng.normal(0.04, 0.1, 300)
    felt = size + 0.04 * rng.standard_normal(300)
    word = np.searchsorted([-0.1, -0.03, 0.03, 0.1, 0.2], felt)
    own = fit_ordered(10.0 * size[:, None], word, words=6)
    model = OrderedModel(word, 10.0 * size[:, None], distr="probit")
    theirs = model.fit(method="bfgs", gtol=1e-5, disp=False)
    limits = model.transform_threshold_params(theirs.params)[1:-1]
    assert own.log_likelihood == pytest.approx(theirs.llf, abs=1e-6)
    assert own.log_likelihood > theirs.llf - 1e-9
    np.testing.assert_allclose(own.slopes, theirs.params[:1], rtol=5e-5)
    np.testing.assert_allclose(own.limits, limits, rtol=0, atol=5e-4)
    np.testing.assert_allclose(own.slopes_u, theirs.bse[:1], rtol=1e-3)


def test_words_that_never_overlap_or_were_never_said_have_no_fit():
    size = np.array([[-1.0], [-0.5], [0.5], [1.0]])
    with pytest.raises(CalibError, match="without any overlap"):
        fit_ordered(size, np.array([0, 0, 1, 1]), words=2)
    with pytest.raises(CalibError, match="every word"):
        fit_ordered(size, np.array([0, 0, 1, 1]), words=3)

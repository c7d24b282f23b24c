"""How likely the rows of a block are under each course of wear: the rest of its unknowns summed over.

A course only takes something off the readings, y - worn, so all courses share the factors of the solver.
With A the whitened inverse covariance of the readings of one hypothesis,

    r = A y,   log evidence = constant - y' A y / 2

and slips follow from r and A as in `blunder`. Words make it nonlinear: courses are then solved one by one.

Symbols
-------
G hypotheses without the wear, W courses, n numbers
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from calib.regression import knowledge
from calib.regression.hypotheses import Solver
from calib.regression.recession import WearAxis, unworn
from calib.regression.terms import Block

Array = NDArray[np.float64]

#: Courses that are solved at once where there are words; more would only fill the memory.
_AT_ONCE = 25
#: Pairs of slips are made of so many readings: those that look worst alone.
_DOUBTFUL = 8


def wear_evidence(variants: list[Block], wear: WearAxis, scatter: knowledge.Axis) -> Array:
    """Return the log evidence of a block's rows under each course of wear, shape (W,), up to a constant.

    Parameters
    ----------
    variants : list of Block
        As stated, then with each scale that may count the other way turned.
    scatter : Axis
        The same for every call whose answers are compared.
    """
    if any(not row.is_number for row in variants[0].rows):
        return _with_words(variants, wear, scatter)
    solver = Solver(variants, scatter, unworn())
    rows = variants[0].rows
    start, end = np.array([row.from_m for row in rows]), np.array([row.to_m for row in rows])
    worn = np.array([row.recession for row in rows]) * wear.recession.between(start, end)
    factors = solver.factors
    noise_sd = np.sqrt(factors.noise_variance)[:, None, :]
    y = (solver.y[:, None, :] - worn) / noise_sd
    r = y @ factors.freedom
    of_noise, of_root, of_prior = factors.log_scales.T
    known = of_prior - of_noise - of_root + solver.grid.log_prior
    log_weight = known[:, None] - 0.5 * np.sum(y * r, axis=2)
    probability = variants[0].setup.knowledge.blunder_probability
    log_weight = log_weight + _log_slips(factors.freedom, r, solver.wide / noise_sd[:, 0], probability)
    return _log_sum(log_weight, axis=0)


def _log_slips(freedom: Array, r: Array, wide: Array, probability: float) -> Array:
    """Return the log of what none, one or two slips make of the evidence, shape (G, W).

    Parameters
    ----------
    freedom : ndarray of shape (G, n, n); r : ndarray of shape (G, W, n)
    wide : ndarray of shape (G, n)
        sd of a slip over that of the noise.
    """
    G, W, n = r.shape
    if probability <= 0.0 or n == 0:
        return np.zeros((G, W))
    odds = np.log(probability) - np.log1p(-probability)
    A = np.diagonal(freedom, axis1=1, axis2=2)
    m = 1.0 / wide**2 + A
    single = odds - 0.5 * np.log(wide**2 * m)[:, None, :] + 0.5 * r**2 / m[:, None, :]
    worst = np.argsort(-single.max(axis=(0, 1)), kind="stable")[:_DOUBTFUL]
    sets = [np.zeros((G, W, 1)), single]
    pairs = list(itertools.combinations(worst.tolist(), 2))
    if pairs:
        i, j = (np.array(side) for side in zip(*pairs, strict=True))
        m_ij = freedom[:, i, j]
        determinant = np.maximum(m[:, i] * m[:, j] - m_ij**2, 1e-300)
        r_i, r_j = r[:, :, i], r[:, :, j]
        quadratic = m[:, None, j] * r_i**2 - 2.0 * m_ij[:, None] * r_i * r_j + m[:, None, i] * r_j**2
        spread = np.log(wide[:, i] ** 2 * wide[:, j] ** 2 * determinant)
        sets.append(2.0 * odds - 0.5 * spread[:, None] + 0.5 * quadratic / determinant[:, None])
    return _log_sum(np.concatenate(sets, axis=2), axis=2)


def _with_words(variants: list[Block], wear: WearAxis, scatter: knowledge.Axis) -> Array:
    total = np.full(len(wear), -np.inf)
    for start in range(0, len(wear), _AT_ONCE):
        part = wear.recession.take(slice(start, start + _AT_ONCE))
        course, log_weight = Solver(variants, scatter, WearAxis(part, np.zeros(len(part)))).weights_by_wear()
        np.logaddexp.at(total, course + start, log_weight)
    return total


def _log_sum(values: Array, axis: int) -> Array:
    """Return log sum exp along an axis."""
    most = values.max(axis=axis, keepdims=True)
    total: Array = np.log(np.exp(values - most).sum(axis=axis)) + np.squeeze(most, axis=axis)
    return total

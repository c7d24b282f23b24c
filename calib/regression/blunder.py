"""Slips: none, one or two bad readings, enumerated and mixed with the grid in closed form.

A bad reading is its true value plus a shift from N(0, wide^2). Making rows B bad adds wide^2 to
their variance, a change of rank one or two, so evidence, means and covariances follow from the
factors that the solver already has:

    M = diag(noise_variance / wide^2) + A[B, B]
    log evidence ratio = -1/2 log|I + W A_BB| + 1/2 r_B' M^-1 r_B
    mean' = mean - T_B M^-1 r_B,  covariance' = covariance + T_B M^-1 T_B'

Symbols
-------
A whitened inverse covariance of the readings, r whitened residuals, T pull (see `solve`)
W (K, n) wide^2 over the noise variance

Source: the matrix determinant and inversion lemmas; the mixture is that of Box and Tiao 1968 (M).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.regression.solve import GaussianFit

Array = NDArray[np.float64]
BadSet = tuple[int, ...]

#: sets whose weight is below this share of the best are dropped
LEAST_SHARE = 1e-7


@dataclass(frozen=True, eq=False)
class Candidates:
    """Which readings may be bad together, with the log weight of each under each hypothesis.

    Parameters
    ----------
    sets : tuple of tuples of row numbers
        The first one is empty: nothing is bad.
    log_ratio : ndarray of shape (K, len(sets))
        Of evidence times prior odds against nothing being bad.
    """

    sets: tuple[BadSet, ...]
    log_ratio: Array


def enumerate_bad(
    fit: GaussianFit, wide_sd: Array, probability: float, most_in_pairs: int | None = None
) -> Candidates:
    """Weigh every set of none, one or two bad readings.

    Parameters
    ----------
    wide_sd : ndarray of shape (n,), mm
    probability : float
        Of any one reading being bad; 0 leaves only the empty set.
    most_in_pairs : int, optional
        Only so many readings, those that look worst alone, are looked at in pairs.
    """
    K, n = fit.residual.shape
    nothing = np.zeros((K, 1))
    if probability <= 0.0 or n == 0:
        return Candidates(((),), nothing)
    odds = np.log(probability) - np.log1p(-probability)
    W = wide_sd**2 / fit.noise_variance
    A_diagonal = np.diagonal(fit.freedom, axis1=1, axis2=2)
    spread = 1.0 + W * A_diagonal
    single = odds - 0.5 * np.log(spread) + 0.5 * W * fit.residual**2 / spread
    suspects = list(range(n))
    if most_in_pairs is not None and n > most_in_pairs:
        suspects = sorted(np.argsort(-single.max(axis=0))[:most_in_pairs].tolist())
    pairs = list(itertools.combinations(suspects, 2))
    sets: tuple[BadSet, ...] = ((), *((i,) for i in range(n)), *pairs)
    double = 2 * odds + _pair_ratio(fit, W, A_diagonal, pairs)
    return Candidates(sets, np.concatenate([nothing, single, double], axis=1))


def _pair_ratio(fit: GaussianFit, W: Array, A_diagonal: Array, pairs: list[tuple[int, int]]) -> Array:
    if not pairs:
        return np.zeros((len(W), 0))
    i, j = (np.array(side) for side in zip(*pairs, strict=True))
    m_ii, m_jj = 1.0 / W[:, i] + A_diagonal[:, i], 1.0 / W[:, j] + A_diagonal[:, j]
    m_ij = fit.freedom[:, i, j]
    determinant = np.maximum(m_ii * m_jj - m_ij**2, 1e-300)
    r_i, r_j = fit.residual[:, i], fit.residual[:, j]
    quadratic = (m_jj * r_i**2 - 2 * m_ij * r_i * r_j + m_ii * r_j**2) / determinant
    ratio: Array = -0.5 * np.log(W[:, i] * W[:, j] * determinant) + 0.5 * quadratic
    return ratio


def posterior_without(
    fit: GaussianFit, k: NDArray[np.intp], bad: BadSet | NDArray[np.intp], wide_sd: Array
) -> tuple[Array, Array]:
    """Return means (len(k), p) and covariances (len(k), p, p) of hypotheses k with some rows bad.

    Parameters
    ----------
    k : ndarray of shape (C,)
    bad : tuple of row numbers, or ndarray of shape (C, b)
        The same rows bad under all of them, or b rows of its own under each.
    """
    mean = fit.mean[k]
    root = fit.root[k]
    covariance = root @ np.swapaxes(root, 1, 2)
    b = np.asarray(bad, dtype=np.intp)
    b = np.broadcast_to(b, (len(k), b.shape[-1]))
    if not b.shape[1]:
        return mean, covariance
    each = k[:, None]
    pull = np.swapaxes(fit.pull[each, :, b], 1, 2)
    M = fit.freedom[k[:, None, None], b[:, :, None], b[:, None, :]]
    own = np.arange(b.shape[1])
    M[:, own, own] += fit.noise_variance[each, b] / wide_sd[b] ** 2
    weighted = pull @ np.linalg.inv(M)
    mean = mean - np.einsum("cpb,cb->cp", weighted, fit.residual[each, b])
    return mean, covariance + weighted @ np.swapaxes(pull, 1, 2)

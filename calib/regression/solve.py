"""One exact Gaussian posterior per hypothesis, all hypotheses at once.

Each hypothesis fixes what is not linear: the scale of the scatter, the scale of the moves, the rate
of wear, and which scale might count the other way. What is left is least squares with a prior:

    minimise |(y - X theta) / noise_sd|^2 + |theta / prior_sd|^2

solved by QR of the stacked matrix [X / noise_sd; diag(1 / prior_sd)], never by inverting a
covariance. An infinite prior sd is a row of zeros. The evidence falls out of the same factors.

Symbols
-------
K hypotheses, n numeric rows, p terms
X (K, n, p), y (K, n) mm, noise_variance (K, n) mm^2, prior_sd (K, p)
Q, R factors; T = R^-1 Q1' (K, p, n): how the posterior means follow each whitened reading
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Noise below this (mm^2) is taken as this: a millionth of a millimetre, squared.
LEAST_VARIANCE_MM2 = 1e-12


@dataclass(frozen=True, eq=False)
class GaussianFit:
    """The exact posteriors of K hypotheses.

    Parameters
    ----------
    mean : ndarray of shape (K, p)
    root : ndarray of shape (K, p, p)
        R^-1; the covariance is root @ root'.
    pull : ndarray of shape (K, p, n)
        T, change of the means per whitened reading.
    residual : ndarray of shape (K, n)
        Whitened residuals, V^-1 (y - X prior_mean) in whitened units.
    freedom : ndarray of shape (K, n, n)
        I - Q1 Q1', the whitened inverse covariance of the readings.
    noise_variance : ndarray of shape (K, n), mm^2
    log_evidence : ndarray of shape (K,)
        Up to a constant shared by all hypotheses.
    """

    mean: Array
    root: Array
    pull: Array
    residual: Array
    freedom: Array
    noise_variance: Array
    log_evidence: Array

    def covariance(self) -> Array:
        """Return the posterior covariances, shape (K, p, p)."""
        covariance: Array = self.root @ np.swapaxes(self.root, 1, 2)
        return covariance


@dataclass(frozen=True, eq=False)
class Factors:
    """What the posteriors of K hypotheses are made of, whatever was read (names: see the module).

    Parameters
    ----------
    whitened : ndarray of shape (K, n, p)
        X over the noise's sd.
    log_scales : ndarray of shape (K, 3)
        What the log evidence has of the noise, of R and of the prior, whatever was read.
    prior_root : ndarray of shape (K, p, p) or None
        T of the prior's precision where it is not diagonal.
    """

    whitened: Array
    noise_variance: Array
    precision_root: Array
    root: Array
    pull: Array
    freedom: Array
    log_scales: Array
    prior_root: Array | None = None

    def take(self, which: NDArray[np.intp]) -> Factors:
        """Return the factors of some hypotheses."""
        parts: dict[str, Any] = {}
        for field in fields(self):
            part = getattr(self, field.name)
            parts[field.name] = None if part is None else part[which]
        return Factors(**parts)


def fit(
    X: Array, y: Array, noise_variance: Array, prior_sd: Array, prior_root: Array | None = None
) -> GaussianFit:
    """Return the posterior of every hypothesis; y has shape (K, n), mm, the rest see `factor`."""
    return explain(factor(X, noise_variance, prior_sd, prior_root), y)


def factor(X: Array, noise_variance: Array, prior_sd: Array, prior_root: Array | None = None) -> Factors:
    """Return the factors of every hypothesis.

    Parameters
    ----------
    X : ndarray of shape (K, n, p)
    noise_variance : ndarray of shape (K, n), mm^2
    prior_sd : ndarray of shape (K, p)
        Prior means are 0; a term may be infinitely wide when some reading speaks of it.
    prior_root : ndarray of shape (K, p, p), optional
        Lower triangular T with T' T the prior's precision, in place of `prior_sd`: terms that are
        correlated by what earlier mountings taught.

    Raises
    ------
    numpy.linalg.LinAlgError
        When an infinitely wide term is not determined by the readings.
    """
    variance = np.maximum(noise_variance, LEAST_VARIANCE_MM2)
    n, p = X.shape[1], X.shape[2]
    noise_sd = np.sqrt(variance)
    precision_root = 1.0 / prior_sd if prior_root is None else np.diagonal(prior_root, axis1=1, axis2=2)
    prior_rows = precision_root[:, :, None] * np.eye(p) if prior_root is None else prior_root
    stacked = np.concatenate([X / noise_sd[:, :, None], prior_rows], axis=1)
    Q, R = np.linalg.qr(stacked)
    data = Q[:, :n, :]
    root = np.linalg.inv(R)
    pull = root @ np.swapaxes(data, 1, 2)
    diagonal = np.abs(np.diagonal(R, axis1=1, axis2=2))
    prior_part = np.sum(np.log(np.where(precision_root > 0, precision_root, 1.0)), axis=1)
    log_scales = np.stack([np.log(noise_sd).sum(axis=1), np.log(diagonal).sum(axis=1), prior_part], axis=1)
    freedom = np.eye(n) - data @ np.swapaxes(data, 1, 2)
    return Factors(
        stacked[:, :n, :], variance, precision_root, root, pull, freedom, log_scales, prior_root
    )


def explain(factors: Factors, y: Array) -> GaussianFit:
    """Return the posterior of every hypothesis after the readings y, shape (K, n), mm."""
    whitened = y / np.sqrt(factors.noise_variance)
    mean = np.einsum("kpn,kn->kp", factors.pull, whitened)
    residual = whitened - np.einsum("knp,kp->kn", factors.whitened, mean)
    T = factors.prior_root
    pulled = factors.precision_root * mean if T is None else np.einsum("kqp,kp->kq", T, mean)
    misfit = np.sum(residual**2, axis=1) + np.sum(pulled**2, axis=1)
    of_noise, of_root, of_prior = factors.log_scales.T
    log_evidence = -0.5 * misfit - of_noise - of_root + of_prior
    return GaussianFit(
        mean, factors.root, factors.pull, residual, factors.freedom, factors.noise_variance, log_evidence
    )

"""Ordered words against measurements: probit likelihood, and its fit where nothing is known beforehand.

A word k is said when a latent value lies between two limits:

    P(word k | x) = Phi(limit_k - x' slope) - Phi(limit_{k-1} - x' slope)

with limit_0 = -inf and limit_K = +inf. The log likelihood is concave (Pratt 1981, M), so Newton's steps
with halving reach its only maximum.

Symbols
-------
n pairs, K words, p covariates
word (n,) 0 .. K-1, x (n, p), limits (K-1,), slopes (p,)
lo, hi (n,) limits of the word that was said, in sds of the latent noise

Source: McKelvey and Zavoina 1975 (M).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib import normal
from calib.errors import CalibError

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

MOST_STEPS = 100
_STILL = 1e-12
_LOG_ROOT_2PI = 0.5 * np.log(2.0 * np.pi)


class Between(NamedTuple):
    """log P(lo < z < hi) and the density at each limit over that probability."""

    log_probability: Array
    at_low: Array
    at_high: Array


class OrderedFit(NamedTuple):
    """Limits, slopes and their standard errors (observed information), and the log likelihood."""

    limits: Array
    slopes: Array
    limits_u: Array
    slopes_u: Array
    log_likelihood: float


def between(lo: Array, hi: Array) -> Between:
    """Return the log probability that a standard normal lies between two limits, and its slopes.

    Parameters
    ----------
    lo, hi : ndarray, in sds; infinite where a side is open

    Notes
    -----
    d log P / d hi = at_high, d log P / d lo = -at_low. Computed in the lower tail, so that a word far from
    the middle loses no digits.
    """
    flip = lo + hi > 0
    a, b = np.where(flip, -hi, lo), np.where(flip, -lo, hi)
    log_b = normal.log_cdf(b)
    log_p = log_b + np.log1p(-np.exp(np.minimum(normal.log_cdf(a) - log_b, -1e-300)))
    return Between(log_p, _density_over(lo, log_p), _density_over(hi, log_p))


def _density_over(z: Array, log_p: Array) -> Array:
    open_side = ~np.isfinite(z)
    safe = np.where(open_side, 0.0, z)
    log_ratio = np.where(open_side, -np.inf, -0.5 * safe**2 - _LOG_ROOT_2PI - log_p)
    ratio: Array = np.exp(np.minimum(log_ratio, 700.0))
    return ratio


def fit_ordered(x: Array, word: Indices, words: int) -> OrderedFit:
    """Fit the limits of the words and the slopes of the covariates by maximum likelihood.

    Parameters
    ----------
    x : ndarray of shape (n, p)
    word : ndarray of shape (n,), 0 .. words - 1
    words : int
        How many words there are; every one has to have been said.

    Raises
    ------
    CalibError
        When a word was never said, or the words split the measurements without any overlap.
    """
    if len(set(word.tolist())) < words or words < 2:
        raise CalibError("every word has to have been said at least once, of two words or more.")
    shares = np.cumsum(np.bincount(word, minlength=words))[:-1] / len(word)
    theta = np.concatenate([normal.quantile(shares), np.zeros(x.shape[1])])
    value, gradient, information = _at(theta, x, word, words)
    for _ in range(MOST_STEPS):
        step = np.asarray(np.linalg.solve(information + 1e-12 * np.eye(len(theta)), gradient))
        theta, now = _uphill(theta, step, value, x, word, words)
        gained, (value, gradient, information) = now[0] - value, now
        if gained <= _STILL * (1.0 + abs(value)):
            break
    if value > -1e-6 * len(word):
        raise CalibError("the words split the measurements without any overlap: no spread can be fitted.")
    u = np.sqrt(np.diagonal(np.linalg.inv(information)))
    cut = words - 1
    return OrderedFit(theta[:cut], theta[cut:], u[:cut], u[cut:], value)


def _uphill(
    theta: Array, step: Array, value: float, x: Array, word: Indices, words: int
) -> tuple[Array, tuple[float, Array, Array]]:
    """Take the longest halving of a Newton step that does not lose likelihood."""
    for halvings in range(60):
        found = theta + step * 0.5**halvings
        if np.all(np.diff(found[: words - 1]) > 0):
            now = _at(found, x, word, words)
            if now[0] >= value:
                return found, now
    return theta, _at(theta, x, word, words)


def _at(theta: Array, x: Array, word: Indices, words: int) -> tuple[float, Array, Array]:
    """Return log likelihood, gradient and information (minus the second derivative)."""
    limits, slopes = theta[: words - 1], theta[words - 1 :]
    edges = np.concatenate([[-np.inf], limits, [np.inf]])
    eta = x @ slopes
    lo, hi = edges[word] - eta, edges[word + 1] - eta
    found = between(lo, hi)
    d_lo = _rows(word - 1, words - 1, x)
    d_hi = _rows(word, words - 1, x)
    gradient = d_hi.T @ found.at_high - d_lo.T @ found.at_low
    hh = _times(hi, found.at_high) + found.at_high**2
    ll = found.at_low**2 - _times(lo, found.at_low)
    hl = found.at_high * found.at_low
    information = (d_hi * hh[:, None]).T @ d_hi + (d_lo * ll[:, None]).T @ d_lo
    mixed = (d_hi * hl[:, None]).T @ d_lo
    return float(found.log_probability.sum()), gradient, information - mixed - mixed.T


def _rows(limit: Indices, limits: int, x: Array) -> Array:
    """Return the derivative of each pair's limit: 1 at the limit's own column, -x at the slopes."""
    own = np.zeros((len(limit), limits))
    inside = (limit >= 0) & (limit < limits)
    own[np.flatnonzero(inside), limit[inside]] = 1.0
    return np.concatenate([own, -x], axis=1)


def _times(z: Array, ratio: Array) -> Array:
    finite = np.isfinite(z)
    return np.where(finite, np.where(finite, z, 0.0) * ratio, 0.0)

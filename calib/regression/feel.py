"""Words and go/no-go: interval likelihoods, brought to Gaussian form by expectation propagation.

A word says that u + noise lies between two limits, where u is linear in the unknowns and the noise
is Gaussian. Each word becomes a Gaussian *site* with the moments of the exact one-word answer, and
the sites are iterated until they stand still, because one pass depends on the order of the words.
The evidence that goes with the sites is returned too: words must move the weights of hypotheses as
numbers do.

Symbols
-------
C mixture components, w words
m (C, w), S (C, w, w)   mean and covariance of u before the words, mm and mm^2
tau, nu (C, w)          precision and precision times mean of the sites

Source: Minka 2001; Rasmussen and Williams 2006, Gaussian Processes for Machine Learning,
section 3.6 and eq. 3.65, 3.73 (M: named from memory). The likelihood is that of McKelvey and
Zavoina 1975 (M).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib import normal

Array = NDArray[np.float64]

#: The sites stand still when no site mean-times-precision moves by more than this, relatively.
STILL = 1e-12
MOST_SWEEPS = 200
_LEAST_PRECISION = 1e-9  # 1/mm^2: a word that says nothing at all


class Sites(NamedTuple):
    """Gaussian stand-ins for the words of each component, and the evidence of the words.

    `inverse` (C, w, w) is that of I + sqrt(tau) S sqrt(tau).
    """

    precision: Array
    weighted_mean: Array
    log_evidence: Array
    inverse: Array


class Moments(NamedTuple):
    """log P(low < N(mean, variance) < high) and its first two derivatives with respect to the mean."""

    log_probability: Array
    slope: Array
    curvature: Array


def interval_moments(mean: Array, variance: Array, low: Array, high: Array) -> Moments:
    """Return the log probability of an interval and its derivatives in the mean.

    Parameters
    ----------
    mean, low, high : ndarray, mm
    variance : ndarray, mm^2

    Notes
    -----
    With a, b the limits in sds: d1 = (phi(a) - phi(b)) / (Z sd),
    d2 = (a phi(a) - b phi(b)) / (Z variance) - d1^2. Everything is computed in the lower tail, so that
    a word far from what was expected loses no digits.
    """
    sd = np.sqrt(variance)
    flip, lo, hi = _in_the_lower_tail(mean, sd, low, high)
    log_z = _log_between(lo, hi)
    ratio_lo, ratio_hi = _density_ratio(lo, log_z), _density_ratio(hi, log_z)
    first = (ratio_lo - ratio_hi) / sd
    second = (_times(lo, ratio_lo) - _times(hi, ratio_hi)) / variance - first**2
    return Moments(log_z, np.where(flip, -first, first), second)


def log_probability(mean: Array, variance: Array, low: Array, high: Array) -> Array:
    """Return log P(low < N(mean, variance) < high) alone; arrays as for `interval_moments`."""
    _, lo, hi = _in_the_lower_tail(mean, np.sqrt(variance), low, high)
    return _log_between(lo, hi)


def _in_the_lower_tail(
    mean: Array, sd: Array, low: Array, high: Array
) -> tuple[NDArray[np.bool_], Array, Array]:
    """Return whether the interval was turned over, and its limits in sds."""
    a, b = (low - mean) / sd, (high - mean) / sd
    flip: NDArray[np.bool_] = a + b > 0
    return flip, np.where(flip, -b, a), np.where(flip, -a, b)


def _log_between(lo: Array, hi: Array) -> Array:
    log_hi = normal.log_cdf(hi)
    gap = normal.log_cdf(lo) - log_hi
    log_z: Array = log_hi + np.log1p(-np.exp(np.minimum(gap, -1e-300)))
    return log_z


def _density_ratio(z: Array, log_z: Array) -> Array:
    finite = np.isfinite(z)
    safe = np.where(finite, z, 0.0)
    ratio: Array = np.exp(np.where(finite, -0.5 * safe**2 - 0.5 * np.log(2 * np.pi) - log_z, -np.inf))
    return ratio


def _times(z: Array, ratio: Array) -> Array:
    return np.where(np.isfinite(z), np.where(np.isfinite(z), z, 0.0) * ratio, 0.0)


def fit_sites(m: Array, S: Array, low: Array, high: Array, noise_variance: Array) -> Sites:
    """Iterate the sites of all components to their fixed point.

    Parameters
    ----------
    m : ndarray of shape (C, w), mm
    S : ndarray of shape (C, w, w), mm^2
    low, high : ndarray of shape (C, w), mm
    noise_variance : ndarray of shape (C, w), mm^2

    Returns
    -------
    Sites
        precision (C, w) 1/mm^2, weighted_mean (C, w) 1/mm, log_evidence (C,)
    """
    tau = np.full(m.shape, _LEAST_PRECISION)
    nu = tau * m
    moving = np.arange(len(m))  # the components whose sites do not stand still yet
    damping, previous = np.ones(len(m)), np.full(len(m), np.inf)
    for sweep in range(MOST_SWEEPS):
        of = [part[moving] for part in (m, S, low, high, noise_variance, tau, nu)]
        new_tau, new_nu = _renewed(*of)
        change = np.maximum(_relative(tau[moving], new_tau, 0.0), _relative(nu[moving], new_nu, 1e-9))
        if sweep > 3:  # sites that chase each other
            damping = np.where(change > previous, np.maximum(0.5 * damping, 0.2), damping)
        tau[moving] += damping[:, None] * (new_tau - tau[moving])
        nu[moving] += damping[:, None] * (new_nu - nu[moving])
        go_on = change >= STILL
        moving, damping, previous = moving[go_on], damping[go_on], change[go_on]
        if not len(moving):
            break
    root, B, inverse = _root_and_inverse(S, tau)
    cavity = _cavity(m, S, tau, nu, root, inverse)
    log_evidence = _log_evidence(m, low, high, noise_variance, tau, nu, cavity, root, B, inverse)
    return Sites(tau, nu, log_evidence, inverse)


def _renewed(
    m: Array, S: Array, low: Array, high: Array, noise_variance: Array, tau: Array, nu: Array
) -> tuple[Array, Array]:
    """Return the sites that give each word's exact moments, the other words' sites held."""
    root, _, inverse = _root_and_inverse(S, tau)
    cavity_mean, cavity_variance = _cavity(m, S, tau, nu, root, inverse)
    moments = interval_moments(cavity_mean, cavity_variance + noise_variance, low, high)
    shrink = np.maximum(1.0 + cavity_variance * moments.curvature, 1e-12)
    new_tau = np.maximum(-moments.curvature / shrink, _LEAST_PRECISION)
    return new_tau, (moments.slope - moments.curvature * cavity_mean) / shrink


def _relative(old: Array, new: Array, floor: float) -> Array:
    """Return the largest relative change of each component, shape (C,)."""
    change: Array = (np.abs(new - old) / (np.abs(new) + np.abs(old) + floor)).max(axis=1)
    return change


def _root_and_inverse(S: Array, tau: Array) -> tuple[Array, Array, Array]:
    """Return sqrt(tau), B = I + sqrt(tau) S sqrt(tau) and its inverse."""
    root: Array = np.sqrt(tau)
    B = np.eye(S.shape[-1]) + root[:, :, None] * S * root[:, None, :]
    return root, B, np.asarray(np.linalg.inv(B), dtype=np.float64)


def condition(mean: Array, cross: Array, m: Array, S: Array, sites: Sites) -> tuple[Array, Array]:
    """Return the mean shift and the covariance reduction of unknowns that are correlated with u.

    Parameters
    ----------
    mean : ndarray of shape (C, p)
    cross : ndarray of shape (C, p, w)
        Covariance of the unknowns with u.

    Returns
    -------
    mean : ndarray of shape (C, p)
        After the words.
    reduction : ndarray of shape (C, p, p)
        To be taken off the covariance.
    """
    root, inverse = np.sqrt(sites.precision), sites.inverse
    weighted = cross * root[:, None, :]
    gap = sites.weighted_mean / root - root * m
    shift = np.einsum("cpw,cwv,cv->cp", weighted, inverse, gap)
    reduction = weighted @ inverse @ np.swapaxes(weighted, 1, 2)
    return mean + shift, reduction


def _cavity(m: Array, S: Array, tau: Array, nu: Array, root: Array, inverse: Array) -> tuple[Array, Array]:
    """Return mean and variance of each u without its own site."""
    weighted = S * root[:, None, :]
    variance = np.diagonal(S - weighted @ inverse @ np.swapaxes(weighted, 1, 2), axis1=1, axis2=2)
    gap = nu / root - root * m
    mean = m + np.einsum("cuw,cwv,cv->cu", weighted, inverse, gap)
    cavity_variance = 1.0 / np.maximum(1.0 / variance - tau, 1e-300)
    return cavity_variance * (mean / variance - nu), cavity_variance


def _log_evidence(
    m: Array, low: Array, high: Array, noise_variance: Array, tau: Array, nu: Array,
    cavity: tuple[Array, Array], root: Array, B: Array, inverse: Array,
) -> Array:  # fmt: skip
    cavity_mean, cavity_variance = cavity
    own = log_probability(cavity_mean, cavity_variance + noise_variance, low, high)
    spread = 1.0 + cavity_variance * tau
    own = own + 0.5 * np.log(spread) + 0.5 * tau * (cavity_mean - nu / tau) ** 2 / spread
    gap = root * m - nu / root
    together = -0.5 * np.linalg.slogdet(B)[1] - 0.5 * np.einsum("cw,cwv,cv->c", gap, inverse, gap)
    total: Array = own.sum(axis=1) + together
    return total

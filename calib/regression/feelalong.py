"""Expectation propagation corrected along the one direction in which words leave most unknown.

The sites of `feel` are exact for one word. Two words that are open to far sides ("loose" here, "tight" there)
leave a shape that no Gaussian has, and the sites alone give a u that is some per cent too wide. Nearly all of
that lies in one direction, the offset that all words share. Along it the posterior is integrated exactly:

    p(z) ~ phi(z) prod_i g_i(z) / c_i,  g_i(z) = E[t_i(u_i) / s_i(u_i) | z],  c_i = E[t_i(u_i) / s_i(u_i)]

with expectations under the Gaussian that the sites make; what is left beside z is taken word by word. Where
all words share one unknown the answer is exact; with one word nothing changes.

Symbols
-------
C components, w words, J nodes of z
t word's likelihood, s its site (precision tau, precision times mean nu), z in sds along the direction
mu (C, w), V (C, w, w) mean and covariance of u under the sites; a (C, w) its share of z, r (C, w) the rest

Source: the sites' own normalisers, Opper, Paquet and Winther 2013 (M); the rest derived here (D).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from calib.regression.feel import Sites, log_probability

Array = NDArray[np.float64]

#: Evenly spaced: for what dies away at both ends like a normal curve no rule of as many nodes does better.
#: Beyond the ends lies less than 1e-7 of it.
NODES = np.linspace(-5.4, 5.4, 19)
_LOG_WEIGHTS = math.log(0.6 / math.sqrt(2.0 * math.pi)) - 0.5 * NODES**2


def along(
    m: Array, S: Array, cross: Array, sites: Sites, low: Array, high: Array, noise_variance: Array
) -> tuple[Array, Array, Array]:
    """Return what the words still change beyond their sites.

    Parameters
    ----------
    m, S : ndarray of shape (C, w), (C, w, w)
        Mean and covariance of u before the words, mm and mm^2.
    cross : ndarray of shape (C, p, w)
        Covariance of the unknowns with u, before the words.
    low, high, noise_variance : ndarray of shape (C, w)

    Returns
    -------
    shift : ndarray of shape (C, p)
        To be added to the mean of the unknowns.
    change : ndarray of shape (C, p, p)
        To be added to their covariance.
    log_gain : ndarray of shape (C,)
        To be added to the log evidence.
    """
    C, p, w = cross.shape
    if w < 2:
        return np.zeros((C, p)), np.zeros((C, p, p)), np.zeros(C)
    mu, V, C_after = _under_the_sites(m, S, cross, sites)
    a, of_unknowns = _direction(V, C_after)
    rest = np.maximum(np.diagonal(V, axis1=1, axis2=2) - a**2, 0.0)
    at = mu[:, None, :] + a[:, None, :] * NODES[:, None]
    given = _log_ratio(at, rest[:, None, :], sites, low, high, noise_variance)
    whole = _log_ratio(
        mu[:, None, :], np.diagonal(V, axis1=1, axis2=2)[:, None, :], sites, low, high, noise_variance
    )
    log_p = _LOG_WEIGHTS + (given - whole).sum(axis=2)
    top = log_p.max(axis=1, keepdims=True)
    weight = np.exp(log_p - top)
    total = weight.sum(axis=1)
    weight /= total[:, None]
    mean = weight @ NODES
    variance = weight @ NODES**2 - mean**2
    change = of_unknowns[:, :, None] * of_unknowns[:, None, :] * (variance - 1.0)[:, None, None]
    return of_unknowns * mean[:, None], change, top[:, 0] + np.log(total)


def _under_the_sites(m: Array, S: Array, cross: Array, sites: Sites) -> tuple[Array, Array, Array]:
    """Return mean and covariance of u, and the covariance of the unknowns with u, after the sites."""
    root, inverse = np.sqrt(sites.precision), sites.inverse
    gap = sites.weighted_mean / root - root * m
    kept = root[:, :, None] * inverse * root[:, None, :]
    mu = m + np.einsum("cuw,cwv,cv->cu", S * root[:, None, :], inverse, gap)
    return mu, S - S @ kept @ S, cross - cross @ kept @ S


def _direction(V: Array, C_after: Array) -> tuple[Array, Array]:
    """Return the covariance of u, and of the unknowns, with z: the widest direction of u, scaled to sd 1."""
    _, vectors = np.linalg.eigh(V)
    e = vectors[:, :, -1]
    sd = np.sqrt(np.maximum(np.einsum("cu,cuv,cv->c", e, V, e), 1e-300))
    return np.einsum("cuv,cv->cu", V, e) / sd[:, None], np.einsum("cpv,cv->cp", C_after, e) / sd[:, None]


def _log_ratio(at: Array, rest: Array, sites: Sites, low: Array, high: Array, noise_variance: Array) -> Array:
    """Return log E[t / s] of u ~ N(at, rest), shape (C, J, w); a constant of each word is left out."""
    tau, nu = sites.precision[:, None, :], sites.weighted_mean[:, None, :]
    left = np.maximum(1.0 - rest * tau, 1e-9)
    mean, variance = (at - rest * nu) / left, rest / left + noise_variance[:, None, :]
    shape = np.broadcast_shapes(mean.shape, variance.shape)
    log_t = log_probability(
        np.broadcast_to(mean, shape), np.broadcast_to(variance, shape), low[:, None, :], high[:, None, :]
    )
    total: Array = log_t + 0.5 * (tau * at**2 - 2.0 * nu * at + rest * nu**2) / left - 0.5 * np.log(left)
    return total

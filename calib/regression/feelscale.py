"""What a hand's words mean, learned from cuts that were both felt and measured.

The scale that a setup starts with is the prior; pairs of a word and a measurement move its limits. The
measured side has an error too: the true size of a measured cut is not the reading but

    m = mean + rho (y - mean),  variance rho u^2,  rho = s^2 / (s^2 + u^2)

with s the spread of the sizes that were cut. So a word k is said with

    P(word k | y) = Phi((t_k - m) / s_k) - Phi((t_{k-1} - m) / s_k),  s_k^2 = w^2 + rho u^2

The unknowns are one limit, the logarithms of the gaps to the others and the logarithm of the hand's own
spread w, so that the limits stay in order. The posterior is found by Newton's steps and then integrated by
importance sampling with a fixed seed (a normal stand-in alone would miss the skew of few pairs).

Symbols
-------
n pairs, K words, t (K-1,) limits mm, w spread mm, theta = (anchor, log gaps (K-2,), log w)

Assumed: the prior's widths (no source): the anchor is known to 0.6 of the scale's spread, a gap to 30 %, and
the hand's own spread is 0.7 of it, known to 35 %; together they give back about the spread as it was stated,
which holds the differences between makers too.
Not handled: words that overlap or leave gaps, or that are not open at both ends; then the scale stays.

Source: ordered probit, McKelvey and Zavoina 1975 (M); the error of the covariate, Fuller 1987, Measurement
Error Models, section 1.2 (M).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.feel import BETWEEN_SHARE, way_into
from calib.normal import quantile
from calib.regression.lattice import lattice
from calib.regression.ordered import Between, between
from calib.shop import FeelPair, FeelScale

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

ANCHOR_SHARE, OWN_SHARE = 0.6, 0.7
LOG_GAP_SD, LOG_SPREAD_SD = 0.3, 0.35
#: The sizes of a dial-in spread by about this (mm), as if seen on so many cuts.
USUAL_SPREAD_MM, USUAL_PAIRS = 0.1, 4
_T_DOF = 7
_MOST_STEPS = 60


@dataclass(frozen=True)
class Limit:
    """Where one word ends and the next begins, mm: as the scale said, and as the pairs say.

    Parameters
    ----------
    below, above : str
        The words on either side.
    before_mm, mean_mm, low_mm, high_mm : float, mm
        The scale's own; then mean and ends of the 90 % interval of the re-fitted one.
    u_mm : float, mm
    """

    below: str
    above: str
    before_mm: float
    mean_mm: float
    u_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class FeelFit:
    """A re-fitted scale.

    Parameters
    ----------
    limits : tuple of Limit
    spread_mm, spread_low_mm, spread_high_mm : float, mm
        The hand's own spread, median and 90 % interval.
    pairs : int
    effective_draws : float
        Of the importance sample; small when the normal stand-in fitted badly.
    """

    scale: FeelScale
    limits: tuple[Limit, ...]
    spread_mm: float
    spread_low_mm: float
    spread_high_mm: float
    pairs: int
    effective_draws: float


class _Pairs(NamedTuple):
    """Pairs as arrays: the number of what was said, mean and variance of the true size.

    A finer hand also says what lies between words: then every other number is such a zone.
    """

    word: Indices
    mean: Array
    variance: Array
    finer: bool


class _Prior(NamedTuple):
    mean: Array
    precision: Array
    anchor: int


def words_in_order(scale: FeelScale) -> tuple[str, ...]:
    """Return the words from tight to loose; empty when they do not tile the whole line.

    >>> words_in_order(FeelScale({"loose": (0.1, math.inf), "tight": (-math.inf, 0.1)}))
    ('tight', 'loose')
    """
    order = sorted(scale.words, key=lambda word: scale.words[word])
    ends = [scale.words[word] for word in order]
    if len(order) < 2 or ends[0][0] != -math.inf or ends[-1][1] != math.inf:
        return ()
    meets = all(abs(a[1] - b[0]) < 1e-9 for a, b in itertools.pairwise(ends))
    return tuple(order) if meets else ()


def refit(scale: FeelScale, pairs: Sequence[FeelPair]) -> FeelFit | None:
    """Return a scale re-fitted to pairs of feel and measurement, or None where that cannot be.

    Parameters
    ----------
    scale : FeelScale
        As stated: the prior.
    pairs : sequence of FeelPair
        Of one person. Words that the scale does not have are left out.

    Returns
    -------
    FeelFit or None
        None without pairs, or when the words do not tile the line. `scale` of the answer has the mean limits,
        and a spread that holds both the hand's own and what is still unknown of the limits.

    Examples
    --------
    >>> scale = FeelScale({"tight": (-math.inf, 0.0), "loose": (0.0, math.inf)}, 0.04)
    >>> found = refit(scale, [FeelPair("tight", 0.06, 0.01)] * 6)
    >>> 0.0 < found.limits[0].mean_mm < 0.1
    True
    """
    order = words_in_order(scale)
    kept = tuple(pair for pair in pairs if scale.knows(pair.word))
    if not kept or not order:
        return None
    limits = tuple(scale.words[word][1] for word in order[:-1])
    return _refit(order, limits, scale.spread_mm, kept)


@lru_cache(maxsize=256)
def _refit(
    order: tuple[str, ...], before: tuple[float, ...], spread_mm: float, pairs: tuple[FeelPair, ...]
) -> FeelFit:
    prior = _prior(np.array(before), max(spread_mm, 1e-4))
    stated = itertools.pairwise((-math.inf, *before, math.inf))
    data = _true_sizes(FeelScale(dict(zip(order, stated, strict=True)), spread_mm), pairs)
    mode, precision = _mode(prior, data)
    theta, weight = _weighed(mode, precision, prior, data)
    t, w = _limits(theta, prior.anchor), np.exp(theta[:, -1])
    mean = weight @ t
    u = np.sqrt(weight @ (t - mean) ** 2)
    ends = [_quantiles(t[:, k], weight, (0.05, 0.95)) for k in range(t.shape[1])]
    low, middle, high = _quantiles(w, weight, (0.05, 0.5, 0.95))
    edges = [-math.inf, *mean.tolist(), math.inf]
    scale = FeelScale(
        {word: (edges[k], edges[k + 1]) for k, word in enumerate(order)},
        math.sqrt(middle**2 + float(np.mean(u**2))),
        finer=data.finer,
    )
    found = tuple(
        Limit(order[k], order[k + 1], before[k], float(mean[k]), float(u[k]), *ends[k])
        for k in range(len(mean))
    )
    return FeelFit(scale, found, middle, low, high, len(pairs), float(1.0 / (weight @ weight)))


def _prior(limits: Array, spread: float) -> _Prior:
    anchor = (len(limits) - 1) // 2
    mean = np.concatenate([[limits[anchor]], np.log(np.diff(limits)), [math.log(OWN_SHARE * spread)]])
    sd = np.full(len(mean), LOG_GAP_SD)
    sd[0], sd[-1] = ANCHOR_SHARE * spread, LOG_SPREAD_SD
    return _Prior(mean, 1.0 / sd**2, anchor)


def _true_sizes(scale: FeelScale, pairs: tuple[FeelPair, ...]) -> _Pairs:
    """Return the true sizes as believed from the readings and from how the sizes spread."""
    y = np.array([pair.value_mm for pair in pairs])
    variance = np.array([pair.u_mm for pair in pairs]) ** 2
    n = len(y)
    own = max(float(np.mean((y - y.mean()) ** 2 - variance)), 0.0)
    spread = (n * own + USUAL_PAIRS * USUAL_SPREAD_MM**2) / (n + USUAL_PAIRS)
    rho = spread / (spread + variance)
    finer = any(pair.word not in scale.words for pair in pairs)
    said = sorted(replace(scale, finer=finer).all_said(), key=scale.limits_of)
    limits = [scale.limits_of(one) for one in said]
    word = np.array([limits.index(scale.limits_of(pair.word)) for pair in pairs])
    return _Pairs(word, y.mean() + rho * (y - y.mean()), rho * variance, finer)


def _limits(theta: Array, anchor: int) -> Array:
    """Return the limits (..., K-1) of unknowns (..., K)."""
    gaps = np.exp(theta[..., 1:-1])
    steps = np.concatenate([np.zeros_like(theta[..., :1]), np.cumsum(gaps, axis=-1)], axis=-1)
    limits: Array = theta[..., :1] + steps - steps[..., anchor : anchor + 1]
    return limits


def _zones(limits: Array, spread: Array) -> Array:
    """Return the ends (..., 2 (K-1)) of what lies between words (see `calib.feel`), rising."""
    reach = BETWEEN_SHARE * spread
    into = way_into(np.diff(limits, axis=-1), reach)
    below = limits - np.concatenate([reach, into], axis=-1)
    above = limits + np.concatenate([into, reach], axis=-1)
    ends: Array = np.stack([below, above], axis=-1).reshape(*limits.shape[:-1], -1)
    return ends


def _in_sds(theta: Array, anchor: int, data: _Pairs) -> tuple[Array, Array, Array]:
    """Return the limits (..., n) of the word that was said, and the sd they are counted in."""
    t = _limits(theta, anchor)
    if data.finer:
        t = _zones(t, np.exp(theta[..., -1:]))
    open_end = np.full_like(t[..., :1], np.inf)
    edges = np.concatenate([-open_end, t, open_end], axis=-1)
    sd = np.sqrt(np.exp(2.0 * theta[..., -1:]) + data.variance)
    return (edges[..., data.word] - data.mean) / sd, (edges[..., data.word + 1] - data.mean) / sd, sd


def _log_posterior(theta: Array, prior: _Prior, data: _Pairs) -> Array:
    lo, hi, _ = _in_sds(theta, prior.anchor, data)
    away = theta - prior.mean
    total: Array = between(lo, hi).log_probability.sum(axis=-1) - 0.5 * (away**2 @ prior.precision)
    return total


def _mode(prior: _Prior, data: _Pairs) -> tuple[Array, Array]:
    """Return the most probable unknowns and their precision there, by Gauss and Newton's steps."""
    theta = prior.mean.copy()
    value = float(_log_posterior(theta, prior, data))
    precision = np.diag(prior.precision)
    for _ in range(_MOST_STEPS):
        gradient, precision = _slopes(theta, prior, data)
        step = np.linalg.solve(precision, gradient)
        now = value
        for halvings in range(40):
            found = theta + step * 0.5**halvings
            now = float(_log_posterior(found, prior, data))
            if now >= value:
                theta = found
                break
        if now - value < 1e-10:
            break
        value = now
    return theta, precision


def _slopes(theta: Array, prior: _Prior, data: _Pairs) -> tuple[Array, Array]:
    """Return gradient and (positive) precision of the log posterior; curvature of the limits is left out."""
    lo, hi, _ = _in_sds(theta, prior.anchor, data)
    found = between(lo, hi)
    d_lo, d_hi = _derivatives(theta, prior.anchor, data)
    gradient = d_hi.T @ found.at_high - d_lo.T @ found.at_low - prior.precision * (theta - prior.mean)
    return gradient, np.diag(prior.precision) + _curvature(found, lo, hi, d_lo, d_hi)


def _curvature(found: Between, lo: Array, hi: Array, d_lo: Array, d_hi: Array) -> Array:
    hh = np.where(np.isfinite(hi), hi, 0.0) * found.at_high + found.at_high**2
    ll = found.at_low**2 - np.where(np.isfinite(lo), lo, 0.0) * found.at_low
    mixed = (d_hi * (found.at_high * found.at_low)[:, None]).T @ d_lo
    total: Array = (d_hi * hh[:, None]).T @ d_hi + (d_lo * ll[:, None]).T @ d_lo - mixed - mixed.T
    return total


def _derivatives(theta: Array, anchor: int, data: _Pairs) -> tuple[Array, Array]:
    """Return how each pair's limits (in sds) go with the unknowns, each of shape (n, K); open ends do not.

    By central differences: they steer the search and shape the stand-in, and need no more digits.
    """
    steps = 1e-5 * np.eye(len(theta))
    low_up, high_up, _ = _in_sds(theta + steps, anchor, data)
    low_down, high_down, _ = _in_sds(theta - steps, anchor, data)

    def slope(up: Array, down: Array) -> Array:
        known = np.isfinite(up)
        found: Array = (np.where(known, up, 0.0) - np.where(known, down, 0.0)).T / 2e-5
        return found

    return slope(low_up, low_down), slope(high_up, high_down)


def _weighed(mode: Array, precision: Array, prior: _Prior, data: _Pairs) -> tuple[Array, Array]:
    """Return points (N, K) around the mode and their weights (Student's t on 7 dof as the stand-in).

    The t's chi-squared is the square of one normal number and -2 log of three even ones.
    """
    K = len(mode)
    root = np.linalg.inv(np.linalg.cholesky(precision)).T
    points = lattice(K + 4)
    normals = quantile(points[:, : K + 1])
    chi_squared = normals[:, K] ** 2 - 2.0 * np.log(points[:, K + 1 :]).sum(axis=1)
    z = normals[:, :K] / np.sqrt(chi_squared / _T_DOF)[:, None]
    theta = mode + z @ root.T
    log_stand_in = -0.5 * (_T_DOF + K) * np.log1p(np.sum(z**2, axis=1) / _T_DOF)
    log_weight = _log_posterior(theta, prior, data) - log_stand_in
    weight = np.exp(log_weight - log_weight.max())
    return theta, weight / weight.sum()


def _quantiles(values: Array, weight: Array, at: tuple[float, ...]) -> tuple[float, ...]:
    order = np.argsort(values)
    below = np.cumsum(weight[order]) - 0.5 * weight[order]
    return tuple(float(q) for q in np.interp(at, below, values[order]))

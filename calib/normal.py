"""The standard normal distribution on whole arrays, with numpy alone.

numpy has no normal distribution function and scipy doubles the start-up, so this module
keeps a table of Mills' ratio and steps from the nearest node with a Taylor series.
Mills' ratio R(x) = (1 - Phi(x)) / phi(x) falls smoothly from 1.25 to 1/x, so one table serves the
middle and the tail with the same relative accuracy (1e-14; the factor phi(x) adds x^2/2 ulp).

Symbols
-------
z, x : float or ndarray of any shape, in standard deviations.
phi, Phi : the density and the distribution function.
R : Mills' ratio.

Every function takes a float (and returns a float) or an array (and returns an array of that
shape). NaN stays NaN; infinities are limits. Not handled: complex numbers and extended precision.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import wraps
from typing import Any, Protocol, overload

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LOG_SQRT_2PI = 0.5 * math.log(2.0 * math.pi)

_NODES_PER_UNIT = 64
_TABLE_END = 36.0  # from here on eight terms of the asymptotic series are exact to the last digit
_TERMS = 7
_FAR = 1e150  # squares of anything beyond would overflow


class Elementwise(Protocol):
    """A function of one number that also works on every element of an array."""

    @overload
    def __call__(self, value: float) -> float: ...
    @overload
    def __call__(self, value: Array) -> Array: ...


def _elementwise(function: Callable[[Array], Array]) -> Elementwise:
    @wraps(function)
    def on_float_or_array(value: Any) -> Any:
        values = np.asarray(value, dtype=np.float64)
        if values.ndim:
            return function(values)
        return float(function(values.reshape(1))[0])

    return on_float_or_array


@_elementwise
def pdf(z: Array) -> Array:
    """Return the density phi(z) = exp(-z^2/2) / sqrt(2 pi).

    >>> round(pdf(0.0), 10)
    0.3989422804
    """
    return _density(z)


@_elementwise
def cdf(z: Array) -> Array:
    """Return Phi(z), the probability of a value below z.

    Absolute error below 1e-15; relative error below 1e-12 in the lower tail down to z = -37.

    >>> cdf(0.0), round(cdf(1.959963984540054), 12)
    (0.5, 0.975)
    """
    tail = _density(z) * _mills(np.abs(z))
    return np.where(z < 0.0, tail, 1.0 - tail)


@_elementwise
def log_cdf(z: Array) -> Array:
    """Return log Phi(z), accurate where Phi itself has long been 0.

    >>> round(log_cdf(-30.0), 6)
    -454.321244
    """
    far = np.minimum(np.abs(z), _FAR)
    ratio = _mills(far)
    below = -0.5 * far * far - LOG_SQRT_2PI + np.log(ratio)
    above = np.log1p(-_density(z) * ratio)
    return np.where(np.isneginf(z), -np.inf, np.where(z < 0.0, below, above))


@_elementwise
def hazard(z: Array) -> Array:
    """Return phi(z) / Phi(z), the slope of log Phi; it tends to -z in the lower tail.

    It gives the moments of a normal that is cut off on one side, as by a one-sided word of feel.

    >>> round(hazard(0.0), 10), round(hazard(-1000.0), 6)
    (0.7978845608, 1000.001)
    """
    density = _density(z)
    ratio = _mills(np.abs(z))
    with np.errstate(divide="ignore"):
        return np.where(z < 0.0, 1.0 / ratio, density / (1.0 - density * ratio))


@_elementwise
def quantile(p: Array) -> Array:
    """Return z with Phi(z) = p.

    A start good to 4.5e-4 (Hastings 1955, in Abramowitz and Stegun 1964, eq. 26.2.23), then two
    Halley steps on log Phi, each of which cubes the error.

    Parameters
    ----------
    p : float or ndarray
        Probabilities; 0 and 1 give minus and plus infinity.

    Raises
    ------
    ValueError
        When a probability is outside 0 to 1.

    >>> round(quantile(0.975), 12)
    1.95996398454
    """
    if np.any((p < 0.0) | (p > 1.0)):
        raise ValueError("a probability must lie between 0 and 1")
    lower = np.minimum(p, 1.0 - p)
    inside = lower > 0.0
    z = np.full(p.shape, -np.inf)
    z[inside] = _lower_quantile(lower[inside])
    z[np.isnan(p)] = np.nan
    return np.where(p > 0.5, -z, z)


def _lower_quantile(p: Array) -> Array:
    log_p = np.log(p)
    t = np.sqrt(-2.0 * log_p)
    top = 2.515517 + t * (0.802853 + t * 0.010328)
    bottom = 1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308))
    z = top / bottom - t
    for _ in range(2):
        miss = log_cdf(z) - log_p
        slope = hazard(z)
        z = z - 2.0 * miss / (2.0 * slope + miss * (z + slope))
    return np.where(p == 0.5, 0.0, z)


def _density(z: Array) -> Array:
    near = np.minimum(np.abs(z), _FAR)
    return np.exp(-0.5 * near * near - LOG_SQRT_2PI)


def _mills_at_nodes(x: Array) -> Array:
    """Return R(x) by erfc below 2, else by Laplace's fraction 1/(x + 1/(x + 2/(x + 3/(x + ...)))).

    erfc alone will not do: rounding its argument x/sqrt(2) costs x^2 ulp of the answer.
    """
    small = x[x < 2.0]
    erfc = np.array([math.erfc(value / math.sqrt(2.0)) for value in small.tolist()])
    large = x[small.size :]
    fraction = large
    for k in range(80, 0, -1):
        fraction = large + k / fraction
    return np.concatenate([0.5 * erfc / np.exp(-0.5 * small * small - LOG_SQRT_2PI), 1.0 / fraction])


def _taylor_table() -> Array:
    """Return R^(k)(x_i) / k! for k = 0..6 (rows) at every node x_i (columns).

    R' = x R - 1, and by differentiating it R^(k+1) = x R^(k) + k R^(k-1).
    """
    nodes = np.arange(int(_TABLE_END * _NODES_PER_UNIT) + 1) / _NODES_PER_UNIT
    derivative = [_mills_at_nodes(nodes)]
    derivative.append(nodes * derivative[0] - 1.0)
    for k in range(1, _TERMS - 1):
        derivative.append(nodes * derivative[k] + k * derivative[k - 1])
    return np.array([row / math.factorial(k) for k, row in enumerate(derivative)])


_TABLE = _taylor_table()


def _mills(x: Array) -> Array:
    """Return R(x) for x >= 0."""
    near = np.fmin(x, _TABLE_END)  # fmin: a NaN must not become an index
    node = np.rint(near * _NODES_PER_UNIT).astype(np.intp)
    step = near - node / _NODES_PER_UNIT
    ratio = _TABLE[-1].take(node)
    for row in _TABLE[-2::-1]:
        ratio = ratio * step + row.take(node)
    far = x > _TABLE_END
    if far.any():
        ratio[far] = _mills_far(x[far])
    return np.where(np.isnan(x), np.nan, ratio)


def _mills_far(x: Array) -> Array:
    """Return R(x) = (1 - 1/x^2 + 1*3/x^4 - 1*3*5/x^6 + ...) / x, for x > 36."""
    inverse = 1.0 / x
    square = inverse * inverse
    total = np.ones_like(x)
    for odd in (15, 13, 11, 9, 7, 5, 3, 1):
        total = 1.0 - odd * square * total
    return inverse * total

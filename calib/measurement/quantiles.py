"""Quantiles of chi-squared and F on single numbers, without scipy.

Symbols
-------
a, x : parameter and argument of the regularised incomplete gamma function P(a, x).
p : probability below the quantile, between 0 and 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

from calib.errors import CalibError
from calib.measurement.student import f_upper_tail

_TINY = 1e-300


def incomplete_gamma(a: float, x: float) -> float:
    """Return P(a, x), the regularised lower incomplete gamma function (DLMF 8.11.4, 8.9.2, from memory).

    >>> round(incomplete_gamma(1.0, 2.0), 12) == round(1.0 - math.exp(-2.0), 12)
    True
    """
    if x <= 0.0:
        return 0.0
    front = math.exp(a * math.log(x) - x - math.lgamma(a))
    if x < a + 1.0:
        term = total = 1.0 / a
        n = a
        while abs(term) > 1e-17 * abs(total):
            n += 1.0
            term *= x / n
            total += term
        return front * total
    return 1.0 - front * _gamma_fraction(a, x)


def _gamma_fraction(a: float, x: float) -> float:
    """Return 1/(x + 1 - a - 1(1 - a)/(x + 3 - a - ...)) by Lentz's method."""
    b = x + 1.0 - a
    top, bottom = 1.0 / _TINY, 1.0 / b
    value = bottom
    for i in range(1, 10_000):
        step = -i * (i - a)
        b += 2.0
        bottom = 1.0 / (step * bottom + b or _TINY)
        top = b + step / top or _TINY
        value *= top * bottom
        if abs(top * bottom - 1.0) < 1e-16:
            break
    return value


@lru_cache(maxsize=1000)
def chi2_quantile(p: float, dof: float) -> float:
    """Return the value that chi-squared with `dof` degrees of freedom stays below with probability p.

    >>> round(chi2_quantile(0.95, 10), 6)
    18.307038
    """
    return _root(lambda x: incomplete_gamma(0.5 * dof, 0.5 * x), p, dof)


@lru_cache(maxsize=1000)
def f_quantile(p: float, dof_top: float, dof_bottom: float) -> float:
    """Return the value that a ratio of two like mean squares stays below with probability p.

    >>> round(f_quantile(0.95, 1, 10), 6)
    4.964603
    """
    return _root(lambda f: 1.0 - f_upper_tail(f, dof_top, dof_bottom), p, 1.0)


def _root(below: Callable[[float], float], p: float, start: float) -> float:
    """Return the x > 0 with below(x) = p of a function that grows, by halving in the logarithm."""
    if not 0.0 < p < 1.0:
        raise CalibError(f"a confidence of {p:g} is not between 0 and 1. Give 0.95 for 95 %.")
    low = high = start
    while below(low) > p:
        low *= 0.25
    while below(high) < p:
        high *= 4.0
    for _ in range(80):
        middle = math.sqrt(low * high)
        if below(middle) < p:
            low = middle
        else:
            high = middle
    return math.sqrt(low * high)

"""Student's t and Fisher's F on single numbers, without scipy.

Both are the regularised incomplete beta function I_x(a, b), summed here as a continued fraction.

Symbols
-------
a, b : parameters of the beta function.
x : its argument, 0 to 1.
t, dof : value and degrees of freedom of Student's t; dof is real and may be infinite.

Relative error of a quantile below 1e-10 for probabilities from 1e-9 to 0.4 and their mirror images.
"""

from __future__ import annotations

import math

from calib import normal
from calib.errors import CalibError

_TINY = 1e-300
_MANY_DOF = 1e4  # beyond, four terms in 1/dof are closer than the rounding of lgamma


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Return I_x(a, b), the regularised incomplete beta function (DLMF 8.17.22, named from memory).

    >>> round(incomplete_beta(2.0, 3.0, 0.5), 12)
    0.6875
    """
    if x <= 0.0:
        return 0.0
    if x >= 1.0:
        return 1.0
    log_front = math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b) + a * math.log(x) + b * math.log1p(-x)
    if x < (a + 1.0) / (a + b + 2.0):
        return math.exp(log_front) / (a * _beta_fraction(a, b, x))
    return 1.0 - math.exp(log_front) / (b * _beta_fraction(b, a, 1.0 - x))


def _beta_fraction(a: float, b: float, x: float) -> float:
    """Return 1 + d1/(1 + d2/(1 + ...)) by Lentz's method."""
    value, top, bottom = 1.0, 1.0, 0.0
    for j in range(1, 10_000):
        m = j // 2
        if j % 2:
            term = -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            term = m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m))
        bottom = 1.0 / (1.0 + term * bottom or _TINY)
        top = 1.0 + term / top or _TINY
        value *= top * bottom
        if abs(top * bottom - 1.0) < 1e-16:
            break
    return value


def f_upper_tail(f: float, dof_top: float, dof_bottom: float) -> float:
    """Return the probability that a ratio of two like mean squares exceeds f by chance.

    >>> round(f_upper_tail(4.964602743730711, 1, 10), 9)
    0.05
    """
    if f <= 0.0:
        return 1.0
    return incomplete_beta(0.5 * dof_bottom, 0.5 * dof_top, dof_bottom / (dof_bottom + dof_top * f))


def _t_upper_tail(t: float, dof: float) -> float:
    """Return P(T > t) for t > 0."""
    ratio = t * t / dof
    return 0.5 * incomplete_beta(0.5 * dof, 0.5, 1.0 / (1.0 + ratio))


def t_cdf(t: float, dof: float) -> float:
    """Return the probability that Student's t with `dof` degrees of freedom is below t.

    >>> round(t_cdf(1.0, 1.0), 12)
    0.75
    """
    _check_dof(dof)
    if math.isinf(dof):
        return normal.cdf(t)
    tail = _t_upper_tail(abs(t), dof) if t else 0.5
    return tail if t < 0.0 else 1.0 - tail


def t_quantile(p: float, dof: float) -> float:
    """Return the value that Student's t stays below with probability p.

    Newton's method on log tail against log t, a concave curve: from the normal quantile, which is
    always nearer to 0, the first step may pass the root and the rest come back to it one-sidedly.

    Parameters
    ----------
    p : float
        Between 0 and 1, ends excluded.
    dof : float
        Above 0; need not be whole; infinite means the normal distribution.

    Raises
    ------
    CalibError
        When p or dof is out of range.

    >>> round(t_quantile(0.975, 10), 9)
    2.228138852
    """
    _check_dof(dof)
    if not 0.0 < p < 1.0:
        raise CalibError(f"a confidence of {p:g} is not between 0 and 1. Give 0.95 for 95 %.")
    if p == 0.5:
        return 0.0
    z = -normal.quantile(min(p, 1.0 - p))  # the lower tail keeps its digits
    if math.isinf(dof):
        t = z
    elif dof > _MANY_DOF:
        t = _many_dof_quantile(z, dof)
    else:
        t = _few_dof_quantile(z, min(p, 1.0 - p), dof)
    return t if p > 0.5 else -t


def _many_dof_quantile(z: float, dof: float) -> float:
    """Expand t in 1/dof around z (Abramowitz and Stegun 1964, eq. 26.7.5, named from memory)."""
    g1 = (z**3 + z) / 4.0
    g2 = (5.0 * z**5 + 16.0 * z**3 + 3.0 * z) / 96.0
    g3 = (3.0 * z**7 + 19.0 * z**5 + 17.0 * z**3 - 15.0 * z) / 384.0
    return z + (g1 + (g2 + g3 / dof) / dof) / dof


def _few_dof_quantile(z: float, tail: float, dof: float) -> float:
    log_scale = math.lgamma(0.5 * (dof + 1.0)) - math.lgamma(0.5 * dof) - 0.5 * math.log(dof * math.pi)
    t = z
    for _ in range(100):
        reached = _t_upper_tail(t, dof)
        density = math.exp(log_scale - 0.5 * (dof + 1.0) * math.log1p(t * t / dof))
        step = math.log(reached / tail) * reached / (t * density)
        t *= math.exp(step)
        if abs(step) < 1e-14:
            break
    return t


def _check_dof(dof: float) -> None:
    if not dof > 0.0:
        raise CalibError(f"degrees of freedom {dof:g} must be above 0. Measure at least twice.")

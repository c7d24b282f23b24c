"""Intervals for variances that are sums and differences of mean squares.

A single mean square has an exact interval by chi-squared. For the others the limits are of the kind
gamma -+ sqrt V, where V is put together so that the interval is exact when one mean square stands alone
and nearly so otherwise (modified large samples: Graybill and Wang 1980, J. American Statistical
Association 75:869; with differences Ting, Burdick, Graybill, Jeyaratnam and Lu 1990, J. Statistical
Computation and Simulation 35:135; both from memory). Coverage is checked by simulation.

Symbols
-------
c, s, v : coefficient, mean square and degrees of freedom of one line; gamma = sum c s.
alpha : probability on each side.
G, H : how far below and above 1 the ratio of a mean square to its mean lies with probability alpha.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, product

from calib.measurement.quantiles import chi2_quantile, f_quantile


@dataclass(frozen=True)
class Share:
    """One mean square in a variance: its coefficient (may be negative), its value and its dof."""

    coefficient: float
    mean_square: float
    dof: float

    @property
    def size(self) -> float:
        """Coefficient times mean square, without its sign."""
        return abs(self.coefficient) * self.mean_square


def sd_interval(shares: Sequence[Share], confidence: float = 0.90) -> tuple[float, float]:
    """Return the limits of a standard deviation whose variance is a sum of mean squares times coefficients.

    Parameters
    ----------
    shares : sequence of Share
    confidence : float
        Of both sides together.

    Returns
    -------
    (float, float)
        In the unit of the root of a mean square; a variance that may be below 0 has a lower limit of 0.

    >>> low, high = sd_interval([Share(1.0, 4.0, 10)], 0.90)
    >>> round(low, 4), round(high, 4)
    (1.4782, 3.1861)
    """
    alpha = 0.5 * (1.0 - confidence)
    plus = [share for share in shares if share.coefficient > 0.0]
    minus = [share for share in shares if share.coefficient < 0.0]
    gamma = sum(share.size for share in plus) - sum(share.size for share in minus)
    low = gamma - math.sqrt(max(_below(plus, minus, alpha), 0.0))
    high = gamma + math.sqrt(max(_above(plus, minus, alpha), 0.0))
    return math.sqrt(max(low, 0.0)), math.sqrt(max(high, 0.0))


def effective_dof(shares: Sequence[Share]) -> int:
    """Return the degrees of freedom of a sum of mean squares (Satterthwaite), cut down to a whole number.

    >>> effective_dof([Share(0.5, 2.0, 6), Share(0.5, 2.0, 6)])
    12
    """
    total = math.fsum(share.coefficient * share.mean_square for share in shares)
    spent = math.fsum(share.size**2 / share.dof for share in shares)
    if spent == 0.0:
        return int(min(share.dof for share in shares))
    return max(1, math.floor(total**2 / spent * (1.0 + 1e-12)))


def _g(dof: float, alpha: float) -> float:
    return 1.0 - dof / chi2_quantile(1.0 - alpha, dof)


def _h(dof: float, alpha: float) -> float:
    return dof / chi2_quantile(alpha, dof) - 1.0


def _below(plus: Sequence[Share], minus: Sequence[Share], alpha: float) -> float:
    """V of the lower limit."""
    total = sum((_g(one.dof, alpha) * one.size) ** 2 for one in plus)
    total += sum((_h(one.dof, alpha) * one.size) ** 2 for one in minus)
    for one, other in product(plus, minus):
        f = f_quantile(1.0 - alpha, one.dof, other.dof)
        cross = ((f - 1.0) ** 2 - (_g(one.dof, alpha) * f) ** 2 - _h(other.dof, alpha) ** 2) / f
        total += cross * one.size * other.size
    return total + (_alike(plus, alpha) if minus else 0.0)


def _above(plus: Sequence[Share], minus: Sequence[Share], alpha: float) -> float:
    """V of the upper limit."""
    total = sum((_h(one.dof, alpha) * one.size) ** 2 for one in plus)
    total += sum((_g(one.dof, alpha) * one.size) ** 2 for one in minus)
    for one, other in product(plus, minus):
        f = f_quantile(alpha, one.dof, other.dof)
        cross = ((1.0 - f) ** 2 - (_h(one.dof, alpha) * f) ** 2 - _g(other.dof, alpha) ** 2) / f
        total += cross * one.size * other.size
    return total + (_alike(minus, alpha) if plus else 0.0)


def _alike(shares: Sequence[Share], alpha: float) -> float:
    """The cross terms of mean squares of one sign, where a difference is taken of more than one."""
    if len(shares) < 2:
        return 0.0
    total = 0.0
    for one, other in combinations(shares, 2):
        both = one.dof + other.dof
        cross = _g(both, alpha) ** 2 * both**2 / (one.dof * other.dof)
        cross -= _g(one.dof, alpha) ** 2 * one.dof / other.dof
        cross -= _g(other.dof, alpha) ** 2 * other.dof / one.dof
        total += cross / (len(shares) - 1) * one.size * other.size
    return total

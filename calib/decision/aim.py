"""Textbook answers to parts of the decision: where to aim, how many test cuts, what one more is worth.

The plan does not need them; they are its referees, and short answers for a maker who wants one number.

Symbols
-------
phi, Phi standard normal density and distribution; e error; m aim; s sd of the predictive error
P variance of the belief, sigma^2 variance of a test cut
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from calib.errors import CalibError
from calib.normal import cdf, pdf, quantile


def aim_linear(cost_above: float, cost_below: float) -> float:
    """Return the aim, in sds of the predictive error, when both sides cost in proportion to the error.

    Parameters
    ----------
    cost_above, cost_below : float
        Cost per unit of error above and below the target.

    Notes
    -----
    P(error > 0) = cost_below / (cost_below + cost_above), so m = -quantile(above / (above + below)).
    The newsvendor's rule (common textbook result).

    Examples
    --------
    >>> round(aim_linear(3.0, 1.0), 10)
    -0.6744897502
    """
    _positive(cost_above=cost_above, cost_below=cost_below)
    return -float(quantile(cost_above / (cost_above + cost_below)))


def aim_quadratic(ratio: float) -> float:
    """Return the aim, in sds, when costs rise with the square of the error.

    Parameters
    ----------
    ratio : float
        Cost above the target over cost below it.

    Notes
    -----
    Minimises ratio E[e^2; e > 0] + E[e^2; e < 0] for e ~ N(m, 1); the derivative is
    2 (ratio U(m) - U(-m)) with U(m) = m Phi(m) + phi(m). Solved by bisection.

    Examples
    --------
    >>> round(aim_quadratic(2.0), 10)
    -0.2760298048
    """
    _positive(ratio=ratio)

    def unit(m: float) -> float:
        return m * float(cdf(m)) + float(pdf(m))

    low, high = -40.0, 40.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if ratio * unit(middle) > unit(-middle):
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def risk_after(
    tests: int, loss: float, test_variance: float, prior_variance: float, test_cost: float
) -> float:
    """Return the expected cost of n tests and then setting by the posterior mean, quadratic loss.

    Notes
    -----
    cost = n c + k / (n / sigma^2 + 1 / sd^2).

    Examples
    --------
    >>> round(risk_after(3, 100.0, 0.0064, 0.04, 0.05), 10)
    0.3525316456
    """
    return tests * test_cost + loss / (tests / test_variance + 1.0 / prior_variance)


def planned_tests(loss: float, test_variance: float, prior_variance: float, test_cost: float) -> int:
    """Return the number of tests of least expected cost, quadratic loss.

    Notes
    -----
    The continuous answer is sqrt(k sigma^2 / c) - sigma^2 / sd^2; the better of its neighbours is taken.

    Examples
    --------
    >>> planned_tests(100.0, 0.0064, 0.04, 0.05)
    3
    """
    _positive(loss=loss, test_variance=test_variance, prior_variance=prior_variance, test_cost=test_cost)
    exact = math.sqrt(loss * test_variance / test_cost) - test_variance / prior_variance
    near = (max(math.floor(exact), 0), max(math.ceil(exact), 0))
    return min(near, key=lambda n: risk_after(n, loss, test_variance, prior_variance, test_cost))


def value_of_one_more(loss: float, variance: float, test_variance: float) -> float:
    """Return what one more test takes off a quadratic loss: k P^2 / (P + sigma^2)."""
    return loss * variance**2 / (variance + test_variance)


def unit_normal_loss(u: float) -> float:
    """Return G(u) = phi(u) - u Phi(-u) (Raiffa and Schlaifer 1961).

    >>> round(unit_normal_loss(0.5), 10)
    0.1977965574
    """
    return float(pdf(u)) - u * float(cdf(-u))


def value_of_information(
    slope: float, gap: float, prior_variance: float, test_variance: float
) -> float:
    """Return the expected value of one test for a choice of two actions with linear losses.

    Parameters
    ----------
    slope : float
        Difference of the losses per unit.
    gap : float
        Distance of the prior mean from the point where the actions break even.

    Notes
    -----
    b s* G(gap / s*) with s*^2 = s0^4 / (s0^2 + sigma^2) (Raiffa and Schlaifer 1961).
    """
    spread = prior_variance / math.sqrt(prior_variance + test_variance)
    return slope * spread * unit_normal_loss(abs(gap) / spread)


def step_loss(loss: float, half_width: float, variance: float, scatter_variance: float) -> float:
    """Return loss times the probability that a centred piece is outside +- half_width.

    >>> round(step_loss(40.0, 0.10, 0.04, 0.0009), 4)
    24.839
    """
    sd = math.sqrt(variance + scatter_variance)
    return loss * 2.0 * float(cdf(-half_width / sd))


def adjusting_moves(
    errors: Sequence[float], test_variance: float, prior_variance: float = math.inf
) -> tuple[list[float], list[float]]:
    """Return the moves after each cut, and the sd of the error that remains.

    Parameters
    ----------
    errors : sequence of float
        Readings less target, each at the setting that the moves before it led to.
    prior_variance : float
        Of the unknown offset; infinite gives the harmonic rule 1/n.

    Notes
    -----
    k_n = 1 / (n + sigma^2 / sd^2); move -k_n y_n; variance sigma^2 / (n + sigma^2 / sd^2)
    (Grubbs 1954 and 1983).
    """
    _positive(test_variance=test_variance, prior_variance=prior_variance)
    start = test_variance / prior_variance
    gains = [1.0 / (n + start) for n in range(1, len(errors) + 1)]
    moves = [-gain * error for gain, error in zip(gains, errors, strict=True)]
    return moves, [math.sqrt(test_variance * gain) for gain in gains]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not value > 0.0:
            raise CalibError(f"{name.replace('_', ' ')}: {value:g} is not above 0. Give a positive number.")

"""Textbook answers to parts of the decision: where to aim, how many test cuts, what one more is worth.

The plan does not need them: they check it, and they are short answers for a maker who wants one number.

Symbols
-------
phi, Phi    standard normal density and distribution
e           error of a piece, its reading less the target, in mm
m           aim: the mean that e should have, in sds of the predictive error
y_n, k_n    reading of cut n less the target; the part of it that is moved back
P           variance of the belief; sigma^2, sd^2: variance of a test cut, of the prior

Assumed: one reading, normal errors, known variances, and moves that land where they are meant to.
Not handled: errors of moves, unknown scatter, a whole batch; these are the plan's.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from calib.errors import CalibError
from calib.normal import cdf, pdf, quantile

_FARTHEST_AIM = 30.0  # sds; it would take costs that differ 1e200-fold
_HALVINGS = 60  # 2 * 30 / 2^60 is below the last digit


def aim_linear(*, cost_below: float, cost_above: float) -> float:
    """Return the aim when both sides cost in proportion to the error, in sds of the predictive error.

    Parameters
    ----------
    cost_below, cost_above : float
        Cost per unit of error under and over the target. By keyword only: swapped, the sign would turn.

    Returns
    -------
    float
        Negative = aim under the target, because over it costs more.

    Raises
    ------
    CalibError
        When a cost is not above 0.

    Notes
    -----
    P(e > 0) = cost_below / (cost_below + cost_above): the newsvendor's rule, a common textbook result.

    Examples
    --------
    >>> round(aim_linear(cost_below=1.0, cost_above=3.0), 10)
    -0.6744897502
    """
    _positive(cost_below=cost_below, cost_above=cost_above)
    # The dearer side's share is taken in its own small tail: near 1 a probability has no digits left.
    dearer, cheaper = max(cost_below, cost_above), min(cost_below, cost_above)
    aim = float(quantile((cheaper / dearer) / (1.0 + cheaper / dearer)))
    return aim if cost_above >= cost_below else -aim


def aim_quadratic(ratio: float) -> float:
    """Return the aim when costs rise with the square of the error, in sds of the predictive error.

    Parameters
    ----------
    ratio : float
        Cost over the target divided by cost under it, at errors of the same size.

    Returns
    -------
    float
        Good to 1e-12. Negative = aim under the target.

    Raises
    ------
    CalibError
        When the ratio is not above 0.

    Notes
    -----
    Minimises ratio E[e^2; e > 0] + E[e^2; e < 0] for e ~ N(m, 1). The derivative is
    2 (ratio G(-m) - G(m)) with G the unit normal loss, which rises with m: bisection (derived here).

    Examples
    --------
    >>> round(aim_quadratic(4.0), 10)
    -0.5491558211
    """
    _positive(ratio=ratio)
    low, high = -_FARTHEST_AIM, _FARTHEST_AIM
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if ratio * unit_normal_loss(-middle) > unit_normal_loss(middle):
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def unit_normal_loss(u: float) -> float:
    """Return G(u) = phi(u) - u Phi(-u) = E[max(z - u, 0)], z ~ N(0, 1) (Raiffa and Schlaifer 1961).

    >>> round(unit_normal_loss(0.5), 10)
    0.1977965574
    """
    return float(pdf(u)) - u * float(cdf(-u))


def risk_after(
    tests: int, loss: float, test_variance: float, prior_variance: float, test_cost: float
) -> float:
    """Return the expected cost of n tests and then setting by the posterior mean, quadratic loss.

    Parameters
    ----------
    tests : int
        n, 0 or more.
    loss : float, minutes per mm^2
        k: the error e costs k e^2.
    test_variance, prior_variance : float, mm^2
        Of the reading of one test cut, and of the offset before any; the latter may be infinite.
    test_cost : float, minutes
        c.

    Returns
    -------
    float, minutes
        Infinite without a test when nothing is known before.

    Raises
    ------
    CalibError
        When n or the cost is below 0, or another number is not above 0.

    Notes
    -----
    n c + k / (n / sigma^2 + 1 / sd^2), the second part being k times the posterior variance (derived here).

    Examples
    --------
    >>> round(risk_after(3, 100.0, 0.0064, 0.04, 0.05), 10)
    0.3525316456
    """
    _positive(loss=loss, test_variance=test_variance)
    _above_zero_or_infinite("prior variance", prior_variance)
    _not_below_zero(tests=tests, test_cost=test_cost)
    precision = tests / test_variance + 1.0 / prior_variance
    return tests * test_cost + (loss / precision if precision > 0.0 else math.inf)


def planned_cuts(loss: float, test_variance: float, prior_variance: float, test_cost: float) -> int:
    """Return how many test cuts cost least in all, quadratic loss.

    Parameters
    ----------
    loss, test_variance, prior_variance, test_cost : float
        As in `risk_after`; the cost of a test has to be above 0.

    Raises
    ------
    CalibError
        When a number is not above 0.

    Notes
    -----
    The continuous answer is sqrt(k sigma^2 / c) - sigma^2 / sd^2; the cost is convex in n, so the better
    of its two neighbours is taken (derived here).

    Examples
    --------
    >>> planned_cuts(100.0, 0.0064, 0.04, 0.05)
    3
    """
    _positive(loss=loss, test_variance=test_variance, test_cost=test_cost)
    _above_zero_or_infinite("prior variance", prior_variance)
    exact = math.sqrt(loss * test_variance / test_cost) - test_variance / prior_variance
    near = (max(math.floor(exact), 0), max(math.ceil(exact), 0))
    return min(near, key=lambda n: risk_after(n, loss, test_variance, prior_variance, test_cost))


def value_of_one_more(loss: float, variance: float, test_variance: float) -> float:
    """Return what one more test takes off the expected quadratic loss, its cost not counted.

    Parameters
    ----------
    loss : float, minutes per mm^2
    variance, test_variance : float, mm^2
        P of the belief now, sigma^2 of one test cut.

    Returns
    -------
    float, minutes

    Raises
    ------
    CalibError
        When a number is not above 0.

    Notes
    -----
    k P^2 / (P + sigma^2) (derived here).

    Examples
    --------
    >>> round(value_of_one_more(100.0, 0.04, 0.0064), 6)
    3.448276
    """
    _positive(loss=loss, variance=variance, test_variance=test_variance)
    return loss * variance**2 / (variance + test_variance)


def two_action_value(
    slope: float, mean_gap: float, prior_variance: float, test_variance: float
) -> float:
    """Return the expected value of one test for a choice of two actions with linear losses.

    Parameters
    ----------
    slope : float, minutes per mm
        b: how fast the difference of the two losses grows.
    mean_gap : float, mm
        From the prior mean to where the two actions break even; its sign does not matter.
    prior_variance, test_variance : float, mm^2
        The latter 0 = the test tells all.

    Returns
    -------
    float, minutes

    Raises
    ------
    CalibError
        When slope or prior variance is not above 0, or the test variance is below 0.

    Notes
    -----
    b s* G(|gap| / s*) with s*^2 = s0^4 / (s0^2 + sigma^2), the variance that the posterior mean will have
    (Raiffa and Schlaifer 1961).

    Examples
    --------
    >>> round(two_action_value(1.0, 0.0, 1.0, 0.0), 10)
    0.3989422804
    """
    _positive(slope=slope, prior_variance=prior_variance)
    _not_below_zero(test_variance=test_variance)
    spread = prior_variance / math.sqrt(prior_variance + test_variance)
    return slope * spread * unit_normal_loss(abs(mean_gap) / spread)


def step_loss(loss: float, half_width: float, variance: float, scatter_variance: float) -> float:
    """Return the expected loss of a piece aimed at the middle of a band, when any piece outside costs alike.

    Parameters
    ----------
    loss : float, minutes
        R, of a piece outside the band.
    half_width : float, mm
        T, half of the band.
    variance, scatter_variance : float, mm^2
        P of the belief, s^2 from piece to piece; one of them may be 0.

    Raises
    ------
    CalibError
        When loss or half width is not above 0, a variance is below 0, or both are 0.

    Notes
    -----
    R P(|N(0, P + s^2)| > T) = 2 R Phi(-T / sqrt(P + s^2)) (derived here). It is not concave in P, so that
    looking one test ahead undervalues testing.

    Examples
    --------
    >>> round(step_loss(40.0, 0.10, 0.04, 0.0009), 4)
    24.839
    """
    _positive(loss=loss, half_width=half_width)
    _not_below_zero(variance=variance, scatter_variance=scatter_variance)
    _positive(variance_in_all=variance + scatter_variance)
    return loss * 2.0 * float(cdf(-half_width / math.sqrt(variance + scatter_variance)))


def harmonic_moves(readings: Sequence[float]) -> list[float]:
    """Return the move after each cut by the harmonic rule: nothing is known beforehand.

    Parameters
    ----------
    readings : sequence of float, mm
        Readings less target, in order, each at the setting that the moves before it led to.

    Returns
    -------
    list of float, mm
        In the reading's sign: what has to be added to it.

    Notes
    -----
    -y_n / n; the remaining error has variance sigma^2 / n (Grubbs 1954, reprinted 1983).

    Examples
    --------
    >>> harmonic_moves([0.30, -0.06])
    [-0.3, 0.03]
    """
    return [-reading / n for n, reading in enumerate(readings, start=1)]


def extended_moves(
    readings: Sequence[float], test_sd: float, prior_sd: float
) -> tuple[list[float], list[float]]:
    """Return the move after each cut when the first offset has a prior, and the sd of what is left.

    Parameters
    ----------
    readings : sequence of float, mm
        As in `harmonic_moves`.
    test_sd, prior_sd : float, mm
        sigma of one test cut; sd of the offset around 0. An infinite prior gives the harmonic rule.

    Returns
    -------
    moves, remaining_sds : list of float, mm

    Raises
    ------
    CalibError
        When an sd is not above 0.

    Notes
    -----
    k_n = 1 / (n + sigma^2 / sd^2), move -k_n y_n, remaining variance sigma^2 k_n, the posterior variance
    (Grubbs 1983; del Castillo, Pan, Colosimo 2003).

    Examples
    --------
    >>> moves, sds = extended_moves([0.30, -0.06], 0.08, 0.20)
    >>> round(moves[0], 10), round(sds[1], 10)
    (-0.2586206897, 0.0544331054)
    """
    _positive(test_sd=test_sd)
    _above_zero_or_infinite("prior sd", prior_sd)
    start = (test_sd / prior_sd) ** 2
    gains = [1.0 / (n + start) for n in range(1, len(readings) + 1)]
    moves = [-gain * reading for gain, reading in zip(gains, readings, strict=True)]
    return moves, [test_sd * math.sqrt(gain) for gain in gains]


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not 0.0 < value < math.inf:
            raise CalibError(f"{name.replace('_', ' ')}: {value:g} is no number above 0. Give one.")


def _above_zero_or_infinite(name: str, value: float) -> None:
    if value != math.inf:
        _positive(**{name: value})


def _not_below_zero(**values: float) -> None:
    for name, value in values.items():
        if not 0.0 <= value < math.inf:
            raise CalibError(f"{name.replace('_', ' ')}: {value:g} is no number from 0 up. Give one.")

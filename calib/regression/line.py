"""A straight calibration line, read forwards (what will this setting give?) and backwards.

The fit is least squares by statsmodels around the weighted mean of x, where intercept and slope are
uncorrelated, so that scales far from 0 lose no digits; intercept and covariance are carried back to x = 0.

Symbols
-------
a, b : intercept and slope; v_b the variance of b.
x_bar : weighted mean of x (0 without an intercept); v_m the variance of the line's height there.
D : classical estimate minus x_bar.
k : coverage quantile, Student's t (scatter estimated) or normal (u given).
g : Fieller's k^2 v_b / b^2; from 1 on the data do not establish which way the line runs.

Assumed: errors in y only, independent, normal; x as set. Not handled: curves, errors in x of the fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from calib.errors import CalibError
from calib.measurement.student import t_quantile
from calib.normal import Array


@dataclass(frozen=True)
class Prediction:
    """Height of the line: `mean` and its `standard_uncertainty`, floats or arrays like x.

    The uncertainty is that of the mean line (and of x, when u_x was given); the scatter of a single new
    reading is not in it.
    """

    mean: Any
    standard_uncertainty: Any


@dataclass(frozen=True)
class Setting:
    """Which x gives the wanted y.

    Parameters
    ----------
    estimate : float or None
        (y0 - a)/b; None only when the slope is exactly 0.
    low, high : float or None
        Ends of the Fieller interval; None when the slope is not established (the interval is then
        the whole scale, or all of it but a gap).
    established : bool
        False when g >= 1.
    g : float
        Fieller's g; small means a well-known slope.
    """

    estimate: float | None
    low: float | None
    high: float | None
    established: bool
    g: float


@dataclass(frozen=True)
class SettingUncertainty:
    """Setting for a measured y0 with its standard uncertainty, by first-order propagation."""

    estimate: float
    standard_uncertainty: float


@dataclass(frozen=True, eq=False)
class FittedLine:
    """A fitted line y = intercept + slope x.

    Parameters
    ----------
    intercept, slope : float
    covariance : ndarray of shape (2, 2)
        Of (intercept, slope).
    scale : float
        Residual variance s^2 (its root is `residual_sd`); 1 when u was given, as the weights are exact.
    df_resid : int
        Points less fitted parameters.
    sum_of_squares : float
        Of the residuals, each divided by its u when u was given: then it is chi-squared on `df_resid`.
    exact_weights : bool
        True when u was given: quantiles are normal, else Student's t on `df_resid`.
    reading_variance : float or None
        Variance of one new reading: `scale`, or the common u^2; None when the u differ.
    x_bar, level_variance, slope_variance : float
        See the symbols x_bar, v_m, v_b.
    """

    intercept: float
    slope: float
    covariance: Array
    scale: float
    df_resid: int
    sum_of_squares: float
    exact_weights: bool
    reading_variance: float | None
    x_bar: float
    level_variance: float
    slope_variance: float

    @property
    def standard_uncertainties(self) -> tuple[float, float]:
        """Standard uncertainties of (intercept, slope)."""
        return math.sqrt(self.covariance[0, 0]), math.sqrt(self.covariance[1, 1])

    @property
    def residual_sd(self) -> float:
        """Root of `scale`."""
        return math.sqrt(self.scale)

    def predict(self, x: ArrayLike, u_x: ArrayLike | None = None) -> Prediction:
        """Return the height of the line at x.

        u^2 = v_m + (x - x_bar)^2 v_b + b^2 u_x^2 (the last term: ISO/TS 28037:2010, 11.2, with the
        section number from memory).

        Parameters
        ----------
        x : float or ndarray
        u_x : float or ndarray, optional
            Standard uncertainty of x.

        >>> line = fit_line([0.0, 1.0, 2.0], [1.0, 3.0, 5.0], u=[0.1, 0.1, 0.1])
        >>> round(line.predict(1.0).mean, 9), round(line.predict(1.0).standard_uncertainty, 6)
        (3.0, 0.057735)
        """
        at = np.asarray(x, dtype=float)
        variance = self.level_variance + (at - self.x_bar) ** 2 * self.slope_variance
        if u_x is not None:
            variance = variance + (self.slope * np.asarray(u_x, dtype=float)) ** 2
        mean, u = self.intercept + self.slope * at, np.sqrt(variance)
        return Prediction(mean, u) if u.ndim else Prediction(float(mean), float(u))

    def setting_for(
        self,
        y0: float,
        confidence: float = 0.95,
        of: Literal["mean", "reading"] = "mean",
        repeats: int = 1,
    ) -> Setting:
        """Return the x whose y is y0, with Fieller's interval.

        Classical estimate (Eisenhart 1939) with the limits (Fieller 1954; Graybill and Iyer 1996, ch. 6)::

            x_bar + D/(1-g) -+ k/(|b| (1-g)) sqrt(D^2 v_b + (1-g)(v_y + v_m))

        Parameters
        ----------
        y0 : float
            The wanted mean reading, or a reading that was taken.
        confidence : float
            Two-sided, such as 0.95.
        of : {"mean", "reading"}
            "mean": y0 is the line's own height, v_y = 0. "reading": y0 is the mean of `repeats` new
            readings, v_y = reading_variance / repeats.
        repeats : int

        Raises
        ------
        CalibError
            When an argument is out of range, or `of` is "reading" and the given u differ from point to
            point (then the new reading's own u is needed: `setting_uncertainty`).

        >>> line = fit_line([0.0, 1.0, 2.0, 3.0], [0.1, 0.9, 2.1, 2.9])
        >>> setting = line.setting_for(1.5)
        >>> round(setting.estimate, 6), setting.established, setting.low < 1.5 < setting.high
        (1.5, True, True)
        """
        _check_finite("y0", y0)
        k = self._quantile(confidence)
        v_y = self._new_reading_variance(of, repeats)
        b = self.slope
        if b == 0.0:
            return Setting(None, None, None, False, math.inf)
        estimate = (y0 - self.intercept) / b
        g = k * k * self.slope_variance / (b * b)
        if g >= 1.0:
            return Setting(estimate, None, None, False, g)
        d = estimate - self.x_bar
        spread = math.sqrt(d * d * self.slope_variance + (1.0 - g) * (v_y + self.level_variance))
        centre, half = self.x_bar + d / (1.0 - g), k * spread / (abs(b) * (1.0 - g))
        return Setting(estimate, centre - half, centre + half, True, g)

    def setting_uncertainty(self, y0: float, u_y0: float = 0.0) -> SettingUncertainty:
        """Return the x whose y is y0, with its standard uncertainty to first order.

        u(x)^2 = (u_y0^2 + v_m + (x - x_bar)^2 v_b) / b^2 (ISO/TS 28037:2010, 11.1, section number from
        memory). Good while g is small; otherwise use `setting_for`.

        Raises
        ------
        CalibError
            When the slope is 0 or u_y0 is negative.
        """
        _check_finite("y0", y0)
        if not 0.0 <= u_y0 < math.inf:
            raise CalibError(f"line: u of the reading is {u_y0:g}. It must be finite and not negative.")
        if self.slope == 0.0:
            raise CalibError("line: the slope is 0, so no setting can be told. Measure further apart.")
        x = (y0 - self.intercept) / self.slope
        variance = u_y0**2 + self.level_variance + (x - self.x_bar) ** 2 * self.slope_variance
        return SettingUncertainty(x, math.sqrt(variance) / abs(self.slope))

    def _quantile(self, confidence: float) -> float:
        if not 0.0 < confidence < 1.0:
            raise CalibError(f"line: confidence {confidence:g} is not between 0 and 1. Give 0.95 for 95 %.")
        return t_quantile(0.5 + 0.5 * confidence, math.inf if self.exact_weights else self.df_resid)

    def _new_reading_variance(self, of: str, repeats: int) -> float:
        if repeats < 1:
            raise CalibError(f"line: {repeats} repeats. At least one reading is needed.")
        if of == "mean":
            return 0.0
        if of != "reading":
            raise CalibError(f'line: setting for what? Found "{of}", known: mean, reading.')
        if self.reading_variance is None:
            raise CalibError(
                "line: the points have different u, so that of a new reading is not known. "
                "Use setting_uncertainty with its own u."
            )
        return self.reading_variance / repeats


def fit_line(
    x: Sequence[float] | Array,
    y: Sequence[float] | Array,
    u: float | Sequence[float] | Array | None = None,
    intercept: bool = True,
) -> FittedLine:
    """Fit y = a + b x by least squares.

    Parameters
    ----------
    x : ndarray of shape (n,)
        Settings, taken as exact.
    y : ndarray of shape (n,)
        Readings.
    u : float or ndarray of shape (n,), optional
        Standard uncertainties of y, taken as exact: weights 1/u^2, scale 1, normal quantiles. Without
        it the scatter is estimated from the residuals, and quantiles are Student's t.
    intercept : bool
        False for a line through 0.

    Returns
    -------
    FittedLine

    Raises
    ------
    CalibError
        When lengths differ, a number is not finite, a u is not above 0, all x are alike, or there are
        too few points (3 without u, 2 with; one less through 0).

    >>> line = fit_line([6.0, 6.1, 6.2], [0.21, 0.10, 0.01])
    >>> round(line.slope, 6), round(line.intercept, 6), line.df_resid
    (-1.0, 6.206667, 1)
    """
    xs, ys = _checked_points(x, y)
    us = None if u is None else _checked_uncertainties(u, len(xs))
    _check_enough(xs, intercept, exact=us is not None)
    weights = np.ones_like(xs) if us is None else us**-2.0
    x_bar = float(np.average(xs, weights=weights)) if intercept else 0.0
    y_start = float(ys[0]) if intercept else 0.0  # taken off first, so that equal y give slope 0 exactly
    height, slope, factor, scale, squares, df_resid = _least_squares(xs - x_bar, ys - y_start, us, intercept)
    level_variance, slope_variance = scale * factor[0], scale * factor[1]
    shared = 0.0 - x_bar * slope_variance
    first = level_variance + x_bar**2 * slope_variance
    return FittedLine(
        intercept=y_start + height - slope * x_bar,
        slope=slope,
        covariance=np.array([[first, shared], [shared, slope_variance]]),
        scale=scale,
        df_resid=df_resid,
        sum_of_squares=squares,
        exact_weights=us is not None,
        reading_variance=_reading_variance(us, scale),
        x_bar=x_bar,
        level_variance=level_variance,
        slope_variance=slope_variance,
    )


def _least_squares(
    x: Array, y: Array, u: Array | None, intercept: bool
) -> tuple[float, float, tuple[float, float], float, float, int]:
    """Return height at x = 0, slope, their variance factors, scale, weighted residual sum of squares, dof.

    With an intercept x is centred, so the two variance factors are the whole story.
    """
    from statsmodels.regression.linear_model import OLS, WLS  # heavy: only when a line is fitted

    exog = np.column_stack([np.ones_like(x), x]) if intercept else x[:, np.newaxis]
    if u is None:
        fit = OLS(y, exog).fit()
        scale = float(fit.scale)
    else:
        fit = WLS(y, exog, weights=u**-2.0).fit(cov_type="fixed scale")
        scale = 1.0
    params, factors = [float(p) for p in fit.params], [float(f) for f in np.diag(fit.normalized_cov_params)]
    if not intercept:
        params, factors = [0.0, *params], [0.0, *factors]
    return params[0], params[1], (factors[0], factors[1]), scale, float(fit.ssr), int(fit.df_resid)


def _reading_variance(u: Array | None, scale: float) -> float | None:
    if u is None:
        return scale
    return float(u[0] ** 2) if np.all(u == u[0]) else None


def _checked_points(x: ArrayLike, y: ArrayLike) -> tuple[Array, Array]:
    xs, ys = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    if xs.ndim != 1 or xs.shape != ys.shape:
        raise CalibError(f"line: x has {xs.size} values and y has {ys.size}. Give one y for each x.")
    for name, values in (("x", xs), ("y", ys)):
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            raise CalibError(f"line: {name} number {bad[0] + 1} is {values[bad[0]]}. Leave that point out.")
    return xs, ys


def _checked_uncertainties(u: ArrayLike, count: int) -> Array:
    us = np.asarray(u, dtype=float)
    if us.ndim == 0:
        us = np.full(count, float(us))
    if us.shape != (count,):
        raise CalibError(f"line: {count} points but {us.size} values of u. Give one each, or one for all.")
    bad = np.flatnonzero(~((us > 0.0) & np.isfinite(us)))
    if bad.size:
        raise CalibError(f"line: u number {bad[0] + 1} is {us[bad[0]]:g}. It must be finite and above 0.")
    return us


def _check_enough(x: Array, intercept: bool, exact: bool) -> None:
    needed = (2 if intercept else 1) + (0 if exact else 1)
    if len(x) < needed:
        hint = "" if exact else ", or give u"
        raise CalibError(f"line: {len(x)} points are too few. Measure at least {needed}{hint}.")
    if intercept and np.all(x == x[0]):
        raise CalibError(f"line: all x are {x[0]:g}, so no slope can be told. Measure at another setting.")
    if not intercept and not np.any(x):
        raise CalibError("line: all x are 0, so no slope can be told. Measure at another setting.")


def _check_finite(name: str, value: float) -> None:
    if not math.isfinite(value):
        raise CalibError(f"line: {name} is {value}. Give a finite number.")

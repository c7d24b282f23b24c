"""Standard uncertainties and how they add up (JCGM 100:2008, the GUM).

Symbols
-------
u : standard uncertainty, in the unit of the quantity.
dof : degrees of freedom, how well u itself is known; infinite for a u that is taken as exact.

Assumed: the parts are independent. A zero error that several readings share is one part, to be put
in once: it does not shrink by averaging, and in the difference of two readings of one gauge it cancels.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from calib.errors import CalibError, unknown

#: Half-width divided by standard uncertainty. "normal": the half-width holds 95 % (GUM 4.3.4).
_DIVISORS = {
    "rectangular": math.sqrt(3.0),  # GUM 4.3.7
    "triangular": math.sqrt(6.0),  # GUM 4.3.9
    "u-shaped": math.sqrt(2.0),  # arcsine: a reading that swings to and fro (named from memory)
    "normal": 1.959963984540054,
}


def type_b(half_width: float, shape: str = "rectangular") -> float:
    """Return the standard uncertainty of an error known only to lie within plus or minus a half-width.

    Parameters
    ----------
    half_width : float, mm
        Such as a gauge's maximum permissible error.
    shape : {"rectangular", "triangular", "u-shaped", "normal"}
        How the error is spread inside: anywhere alike; mostly near the middle; mostly near the ends
        (also called "arcsine"); or normal with 95 % inside plus or minus the half-width.

    Returns
    -------
    float, mm

    Raises
    ------
    CalibError
        When the half-width is negative or not finite, or the shape is not known.

    >>> round(type_b(0.02), 6), round(type_b(0.02, "triangular"), 6)
    (0.011547, 0.008165)
    """
    if not 0.0 <= half_width < math.inf:
        raise CalibError(f"type B: half-width {half_width:g} must be a finite number, not negative.")
    name = "u-shaped" if shape == "arcsine" else shape
    if name not in _DIVISORS:
        raise unknown("shape", shape, list(_DIVISORS))
    return half_width / _DIVISORS[name]


def display_step(step: float) -> float:
    """Return the standard uncertainty that one step of a display leaves, step / sqrt 12 (GUM F.2.2.1).

    >>> round(display_step(0.01), 6)
    0.002887
    """
    return type_b(0.5 * step, "rectangular")


@dataclass(frozen=True)
class TypeA:
    """Mean of repeats, with `sd` of one of them, standard uncertainty `u` of the mean, and its `dof`."""

    mean: float
    sd: float
    u: float
    dof: float


def type_a(values: Sequence[float]) -> TypeA:
    """Return mean, sd, and u = sd / sqrt n of repeated readings (GUM 4.2).

    Raises
    ------
    CalibError
        With fewer than two readings, or one that is not a finite number.

    >>> repeats = type_a([6.10, 6.14])
    >>> round(repeats.mean, 6), round(repeats.u, 6), repeats.dof
    (6.12, 0.02, 1.0)
    """
    n = len(values)
    if n < 2:
        raise CalibError(f"type A: {n} reading is too few to show scatter. Measure at least twice.")
    if not all(math.isfinite(value) for value in values):
        raise CalibError("type A: a reading is not a finite number. Leave it out or measure again.")
    mean = math.fsum(values) / n
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in values) / (n - 1))
    return TypeA(mean, sd, sd / math.sqrt(n), float(n - 1))


@dataclass(frozen=True)
class Combined:
    """Several uncertainties in one.

    Parameters
    ----------
    u : float
        Combined standard uncertainty.
    dof : float
        Effective degrees of freedom, not rounded; may be infinite.
    """

    u: float
    dof: float

    def coverage_factor(self, coverage: float = 0.95) -> float:
        """Return k: the two-sided t quantile at `dof` cut down to a whole number (GUM G.4.1)."""
        if not 0.0 < coverage < 1.0:
            raise CalibError(f"coverage {coverage:g} is not between 0 and 1. Give 0.95 for 95 %.")
        from calib.measurement.student import t_quantile  # numpy comes with it

        dof = self.dof if math.isinf(self.dof) else max(1.0, math.floor(self.dof * (1.0 + 1e-12)))
        return t_quantile(0.5 + 0.5 * coverage, dof)

    def expanded(self, coverage: float = 0.95) -> float:
        """Return the expanded uncertainty U = k u that holds the stated share of what may be so."""
        return self.coverage_factor(coverage) * self.u


def combine(parts: Iterable[tuple[float, float]]) -> Combined:
    """Add independent standard uncertainties in quadrature.

    u^2 = sum u_i^2, and by Welch and Satterthwaite dof = u^4 / sum(u_i^4 / dof_i) (GUM eq. G.2b).

    Parameters
    ----------
    parts : iterable of (u, dof)
        Each u already multiplied by its sensitivity; dof may be ``math.inf``.

    Raises
    ------
    CalibError
        When there is no part, a u is negative or not finite, or a dof is not above 0.

    >>> slot_minus_finger = combine([(type_b(0.04), math.inf), (type_b(0.02), math.inf)])
    >>> round(slot_minus_finger.u, 4), round(slot_minus_finger.expanded(0.95), 4)
    (0.0258, 0.0506)
    """
    listed = list(parts)
    if not listed:
        raise CalibError("combine: there is no uncertainty to combine. Give at least one (u, dof).")
    for number, (u, dof) in enumerate(listed, start=1):
        if not 0.0 <= u < math.inf:
            raise CalibError(f"combine: part {number} has u {u:g}. It must be finite and not negative.")
        if not dof > 0.0:
            raise CalibError(f"combine: part {number} has {dof:g} degrees of freedom. It must be above 0.")
    u_combined = math.hypot(*(u for u, _ in listed))
    if u_combined == 0.0:
        return Combined(0.0, math.inf)
    spent = math.fsum((u / u_combined) ** 4 / dof for u, dof in listed)
    return Combined(u_combined, 1.0 / spent if spent > 0.0 else math.inf)

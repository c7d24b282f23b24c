"""Moisture of wood in a room, and how far a board moves when it changes.

Source of equations and table: USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-190, 2010.

Symbols
-------
M, M_I, M_F : moisture content, initial and final, in percent of the dry mass.
D_I, dD : size at the initial moisture and its change, mm; positive = the board grows.
C : change of size per size and per 1 % of moisture; CT across a flat-sawn face, CR across a quarter-sawn one.
S : shrinkage from green to oven-dry, percent of the green size.
T, h : temperature in degrees C, relative humidity as a fraction.

Assumed: along the grain a board does not move; a board is purely flat- or quarter-sawn, which few are.
Not handled: imported species, for which no rule from shrinkage tables is safe: measure a coefficient.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from calib.errors import CalibError, unknown

#: Range of moisture in which eq. 13-2 holds, and above which wood no longer swells, percent.
LINEAR_RANGE = (6.0, 14.0)
FIBRE_SATURATION = 30.0


class Movement(NamedTuple):
    """Coefficients per 1 % of moisture: `radial` (quarter-sawn) and `tangential` (flat-sawn)."""

    radial: float
    tangential: float


#: Table 13-5, coefficients of native species.
COEFFICIENTS: dict[str, Movement] = {
    "red alder": Movement(0.00151, 0.00256),
    "apple": Movement(0.00205, 0.00376),
    "black ash": Movement(0.00172, 0.00274),
    "white ash": Movement(0.00169, 0.00274),
    "basswood": Movement(0.00230, 0.00330),
    "American beech": Movement(0.00190, 0.00431),
    "paper birch": Movement(0.00219, 0.00304),
    "yellow birch": Movement(0.00256, 0.00338),
    "butternut": Movement(0.00116, 0.00223),
    "black cherry": Movement(0.00126, 0.00248),
    "American chestnut": Movement(0.00116, 0.00234),
    "American elm": Movement(0.00144, 0.00338),
    "hackberry": Movement(0.00165, 0.00315),
    "pecan hickory": Movement(0.00169, 0.00315),
    "honeylocust": Movement(0.00144, 0.00230),
    "black locust": Movement(0.00158, 0.00252),
    "bigleaf maple": Movement(0.00126, 0.00248),
    "red maple": Movement(0.00137, 0.00289),
    "silver maple": Movement(0.00102, 0.00252),
    "sugar maple": Movement(0.00165, 0.00353),
    "red oak": Movement(0.00158, 0.00369),
    "white oak": Movement(0.00180, 0.00365),
    "sassafras": Movement(0.00137, 0.00216),
    "sweetgum": Movement(0.00183, 0.00365),
    "American sycamore": Movement(0.00172, 0.00296),
    "black tupelo": Movement(0.00176, 0.00308),
    "black walnut": Movement(0.00190, 0.00274),
}


def equilibrium_moisture(temperature_c: float, relative_humidity_percent: float) -> float:
    """Return the moisture content that wood settles at in a room, percent.

    Eq. 4-5 with the constants for degrees Celsius; one percentage point either way is a fair
    uncertainty in a shop (common practice, no source).

    Parameters
    ----------
    temperature_c : float, degrees C
        From -1 to 132, the range of Table 4-2 (range from memory).
    relative_humidity_percent : float, percent
        From 1 to 100; a fraction such as 0.5 is refused.

    Returns
    -------
    float, percent

    Raises
    ------
    CalibError
        Outside those ranges.

    >>> round(equilibrium_moisture(21.1, 65), 2)
    11.96
    """
    t = _in_range("temperature", temperature_c, -1.2, 132.5, "°C", "Give degrees Celsius, -1 to 132.")
    humidity = _in_range(
        "relative humidity", relative_humidity_percent, 1.0, 100.0, "%", "Give percent, 1 to 100."
    )
    w = 349.0 + 1.29 * t + 0.0135 * t**2
    kh = (0.805 + 0.000736 * t - 0.00000273 * t**2) * humidity / 100.0
    k1 = 6.27 - 0.00938 * t - 0.000303 * t**2
    k2 = 1.91 + 0.0407 * t - 0.000293 * t**2
    once, twice = k1 * kh, k1 * k2 * kh**2
    return 1800.0 / w * (kh / (1.0 - kh) + (once + 2.0 * twice) / (1.0 + once + twice))


def movement(size_mm: float, coefficient: float, from_mc: float, to_mc: float) -> float:
    """Return how far a board's width or thickness changes, mm; positive = it grows.

    dD = D_I C (M_F - M_I), eq. 13-2.

    Parameters
    ----------
    size_mm : float, mm
        Across the grain, at the initial moisture.
    coefficient : float, per 1 % of moisture
        From `coefficients`, `coefficient_from_shrinkage`, or measured.
    from_mc, to_mc : float, percent
        Both from 6 to 14.

    Raises
    ------
    CalibError
        When a moisture is outside 6 to 14 %, or size or coefficient cannot be.

    >>> round(movement(100.0, 0.00353, 8.0, 12.0), 3)
    1.412
    """
    low, high = LINEAR_RANGE
    advice = f"The coefficient holds from {low:g} to {high:g} %: use the species' shrinkage instead."
    for moisture in (from_mc, to_mc):
        _in_range("moisture content", moisture, low, high, "%", advice)
    _in_range("coefficient", coefficient, 0.0, 0.02, "", "Give the change per 1 %, such as 0.0025.")
    return _checked_size(size_mm) * coefficient * (to_mc - from_mc)


def movement_from_shrinkage(size_mm: float, shrinkage_percent: float, from_mc: float, to_mc: float) -> float:
    """Return how far a board changes between any two moistures up to fibre saturation, mm.

    dD = D_I (M_F - M_I) / (30 * 100/S - 30 + M_I), eq. 13-3 (formula from memory, its limits read).

    Parameters
    ----------
    size_mm : float, mm
        Across the grain, at the initial moisture.
    shrinkage_percent : float, percent
        S, green to oven-dry, tangential (flat-sawn) or radial (quarter-sawn).
    from_mc, to_mc : float, percent
        From 0 to 30.

    Raises
    ------
    CalibError
        When a moisture is outside 0 to 30 %, or size or shrinkage cannot be.

    >>> round(movement_from_shrinkage(100.0, 9.9, 8.0, 12.0), 3)
    1.423
    """
    for moisture in (from_mc, to_mc):
        _in_range("moisture content", moisture, 0.0, FIBRE_SATURATION, "%", "Above 30 % wood does not swell.")
    return _checked_size(size_mm) * (to_mc - from_mc) / _shrinkage_base(shrinkage_percent, from_mc)


def coefficient_from_shrinkage(shrinkage_percent: float) -> float:
    """Return the movement coefficient that goes with a shrinkage: eq. 13-3 per 1 % from 10 % moisture.

    >>> round(coefficient_from_shrinkage(7.8), 5)
    0.00274
    """
    return 1.0 / _shrinkage_base(shrinkage_percent, 10.0)


def coefficients(species: str) -> Movement:
    """Return the movement coefficients of a native species (Table 13-5).

    Parameters
    ----------
    species : str
        In any case and order: "black cherry", "Cherry, black".

    Raises
    ------
    CalibError
        When the table has no such species; names the nearest one.

    >>> coefficients("Cherry, black").tangential
    0.00248
    """
    wanted = _words(species)
    for name, values in COEFFICIENTS.items():
        if _words(name) == wanted:
            return values
    raise unknown("species", species, list(COEFFICIENTS))


def _words(name: str) -> list[str]:
    return sorted(name.lower().replace(",", " ").replace("(commercial)", " ").split())


def _shrinkage_base(shrinkage_percent: float, from_mc: float) -> float:
    s = shrinkage_percent
    if not 0.0 < s < 30.0:
        raise CalibError(f"shrinkage {s:g} % is not between 0 and 30 %. Give percent from green to oven-dry.")
    return FIBRE_SATURATION * 100.0 / s - FIBRE_SATURATION + from_mc


def _checked_size(size_mm: float) -> float:
    if not 0.0 <= size_mm < math.inf:
        raise CalibError(f"size {size_mm:g} mm must be a finite length, not negative.")
    return size_mm


def _in_range(what: str, value: float, low: float, high: float, unit: str, advice: str) -> float:
    if not low <= value <= high:
        raise CalibError(f"{what} {value:g}{' ' if unit else ''}{unit} is out of range. {advice}")
    return value

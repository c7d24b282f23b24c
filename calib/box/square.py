"""Square by the diagonals: how far out, the gap it makes, and which diagonal to squeeze.

Symbols: L, W  sides;  d1, d2  diagonals;  theta  how far the corner is from 90 degrees.

sin(theta) = (d1^2 - d2^2) / (4 L W), exact for a parallelogram. Equal diagonals prove a square corner only
if opposite sides are equal. Derived here, from the law of cosines.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from calib.errors import CalibError

#: Farther than this from the diagonal that L and W would have, one of the four numbers is taken for a slip.
_SLIP_SHARE = 0.05


class Square(NamedTuple):
    """Out of square: angle in degrees, the gap it makes over each side in mm, and the diagonal to squeeze."""

    angle_deg: float
    gap_over_width_mm: float
    gap_over_length_mm: float
    squeeze: Literal["first", "second", "neither"]
    shorten_by_mm: float


def out_of_square(length: float, width: float, first: float, second: float) -> Square:
    """Return how far a box is out of square.

    Parameters
    ----------
    length, width, first, second : float, mm
        Two sides and the two diagonals, all outside or all inside.

    Returns
    -------
    Square
        Angle and gaps are not negative. The longer diagonal is squeezed, by half the difference.

    Raises
    ------
    CalibError
        When such diagonals cannot belong to such sides.

    Examples
    --------
    >>> d = math.hypot(300.0, 200.0)
    >>> found = out_of_square(300.0, 200.0, d + 0.5, d - 0.5)
    >>> round(found.angle_deg, 5), round(found.gap_over_width_mm, 3), found.squeeze
    (0.17215, 0.601, 'first')
    """
    if not (min(length, width, first, second) > 0.0 and max(length, width, first, second) < math.inf):
        raise CalibError("box square: sides and diagonals must be above 0 mm.")
    expected = math.hypot(length, width)
    for name, found in (("first", first), ("second", second)):
        if abs(found - expected) > _SLIP_SHARE * expected:
            raise CalibError(
                f"the {name} diagonal, {found:g} mm, cannot belong to sides of {length:g} and {width:g} mm "
                f"(square: {expected:.1f} mm). Measure again."
            )
    sine = abs(first - second) * (first + second) / (4.0 * length * width)
    if sine >= 1.0:
        raise CalibError(f"diagonals {first:g} and {second:g} mm cannot belong to one box. Measure again.")
    longer: Literal["first", "second", "neither"] = "neither"
    if first != second:
        longer = "first" if first > second else "second"
    return Square(
        math.degrees(math.asin(sine)), width * sine, length * sine, longer, abs(first - second) / 2.0
    )

"""The belief about one reading as one line of text.

    ···[······━━━━━━│━●━━━━━━━]···

The brackets are the band, the thick line is where nine readings in ten should fall, the upright
is the target and the dot what is expected. Meaning rests on the shape of the signs, never on colour.
"""

from __future__ import annotations

import math

from calib.decision.advice import Expectation

#: outside, inside, 90 % range, target, expected, both at one place
_SIGNS = ("·", " ", "━", "│", "●", "◉")
_SIGNS_ASCII = (".", " ", "=", "|", "o", "@")


def belief_line(reading: Expectation, width: int = 40, ascii_only: bool = False) -> str:
    """Draw band, target, expectation and 90 % range on one scale.

    Parameters
    ----------
    reading : Expectation
    width : int, columns
        At least 20 are used.
    ascii_only : bool

    Returns
    -------
    str
        Empty when the range is not finite (nothing is known yet).
    """
    low, high = reading.interval90_mm
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    outside, inside, line, target, expected, both = _SIGNS_ASCII if ascii_only else _SIGNS
    left, step = _scale(reading, max(width, 20))
    columns = max(width, 20)

    def column(mm: float) -> int:
        return round(min(max((mm - left) / step, 0.0), columns - 1.0))  # an open end stands at the edge

    band_low, band_high = column(reading.low_mm), column(reading.high_mm)
    signs = [inside if band_low < i < band_high else outside for i in range(columns)]
    for i in range(column(low), column(high) + 1):
        signs[i] = line
    signs[band_low], signs[band_high] = "[", "]"
    aim, middle = column(reading.target_mm), column(reading.expected_mm)
    signs[aim] = target
    signs[middle] = both if aim == middle else expected
    return "".join(signs).rstrip()


def legend(ascii_only: bool = False) -> str:
    """Explain the signs of `belief_line`."""
    _, _, line, target, expected, both = _SIGNS_ASCII if ascii_only else _SIGNS
    return (
        f"[ ] the band, {target} the target, {line * 3} where nine readings in ten should fall, "
        f"{expected} the middle of them ({both} when it is on the target)"
    )


def _scale(reading: Expectation, columns: int) -> tuple[float, float]:
    """Return the mm of the first column and the mm per column; a margin of 8 % on both sides."""
    ends = (*reading.interval90_mm, reading.low_mm, reading.high_mm, reading.target_mm)
    finite = [end for end in ends if math.isfinite(end)]
    low, high = min(finite), max(finite)
    margin = 0.08 * (high - low) or 0.01
    return low - margin, (high - low + 2 * margin) / (columns - 1)

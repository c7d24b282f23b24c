"""How numbers are said: lengths with their unit, chances that are never certain, minutes.

Assumed: two decimals of a millimetre, or four of an inch, are what a shop can measure. Millimetres
that were typed with three (a band, a position) are shown so; what was computed is not.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable

from calib.shop import Interval, Reading
from calib.units import MM_PER_INCH

_DECIMALS = {"mm": 2, "in": 4}
_MM_IN_TEXT = re.compile(r"(-?\d+(?:\.\d+)?) mm\b")
_INCHES_IN_TEXT = re.compile(r"(-?\d+\.\d{3,}) in\b")  # the decimals tell it from the word "in"


def figure(mm: float, units: str = "mm", decimals: int | None = None) -> str:
    """Say a length as a bare number in mm or in inches, with as many decimals as can be measured.

    >>> figure(-0.001), figure(25.4, "in")
    ('0.00', '1.0000')
    """
    if math.isinf(mm):
        return "any" if mm > 0 else "-any"
    value = mm / MM_PER_INCH if units == "in" else mm
    decimals = _DECIMALS[units] if decimals is None else decimals
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def decimals_of(lengths_mm: Iterable[float], units: str = "mm") -> int:
    """Return how many decimals a column of typed lengths needs.

    >>> decimals_of([6.14, 6.0]), decimals_of([6.14, 0.075])
    (2, 3)
    """
    if units == "in":
        return _DECIMALS["in"]
    return max((len(typed_figure(mm).partition(".")[2]) for mm in lengths_mm), default=_DECIMALS["mm"])


def typed_figure(mm: float, units: str = "mm") -> str:
    """Say a length that a person chose, with one more decimal where it says something.

    >>> typed_figure(0.075), typed_figure(6.14)
    ('0.075', '6.14')
    """
    if math.isinf(mm) or units == "in":
        return figure(mm, units)
    text = f"{round(mm, 3) + 0.0:.3f}"
    return text[:-1] if text.endswith("0") else text


def in_units(text: str, units: str) -> str:
    """Say the lengths of a sentence in another unit; what is not a length with a unit stays.

    >>> in_units("toward the cutter by 0.14 mm: an eighth of a turn of its M6 screw", "in")
    'toward the cutter by 0.0055 in: an eighth of a turn of its M6 screw'
    """
    pattern, factor = (_MM_IN_TEXT, 1.0) if units == "in" else (_INCHES_IN_TEXT, MM_PER_INCH)
    return pattern.sub(lambda match: length(factor * float(match[1]), units), text)


def typed_length(mm: float, units: str = "mm") -> str:
    """Say a length that a person chose, with its unit."""
    return f"{typed_figure(mm, units)} {units}"


def length(mm: float, units: str = "mm") -> str:
    """Say a length with its unit.

    >>> length(6.14)
    '6.14 mm'
    """
    return f"{figure(mm, units)} {units}"


def fine_length(mm: float, units: str = "mm") -> str:
    """Say a length to a tenth of what is usually told, with its unit: of means and uncertainties.

    >>> fine_length(0.0258), fine_length(0.0258, "in")
    ('0.026 mm', '0.0010 in')
    """
    return f"{figure(mm, units, decimals=4 if units == 'in' else 3)} {units}"


def span(low_mm: float, high_mm: float, units: str = "mm") -> str:
    """Say an interval; an infinite end is left out in words.

    >>> span(0.03, 0.125), span(-math.inf, -0.1), span(0.2, math.inf)
    ('0.03 to 0.125 mm', 'under -0.10 mm', 'over 0.20 mm')
    """
    if math.isinf(low_mm) and math.isinf(high_mm):
        return "anything"
    if math.isinf(low_mm):
        return f"under {typed_length(high_mm, units)}"
    if math.isinf(high_mm):
        return f"over {typed_length(low_mm, units)}"
    return f"{typed_figure(low_mm, units)} to {typed_length(high_mm, units)}"


def reading_text(reading: Reading, units: str = "mm") -> str:
    """Say one reading, a number or an interval, without its unit when it is a number."""
    if isinstance(reading, Interval):
        return span(reading.low_mm, reading.high_mm, units)
    return typed_figure(reading, units)


def percent(probability: float) -> str:
    """Say a probability; never certain, never impossible.

    >>> percent(0.861), percent(0.9999), percent(0.0)
    ('86 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.99:
        return "over 99 %"
    if probability < 0.01:
        return "under 1 %"
    return f"{round(100 * probability)} %"


def minutes(value: float) -> str:
    """Say a time; under ten minutes to the half, else whole.

    >>> minutes(38.5), minutes(1.0), minutes(2.4)
    ('38 minutes', '1 minute', '2.5 minutes')
    """
    rounded = round(value) if value >= 10 else round(2 * value) / 2
    return f"{rounded:g} minute" + ("" if rounded == 1 else "s")


def count(number: int, thing: str) -> str:
    """Say a number of things.

    >>> count(1, "piece"), count(16, "piece")
    ('1 piece', '16 pieces')
    """
    return f"{number} {thing}" + ("" if number == 1 else "s")

"""Lengths and readings between a form (numbers and text in mm or inches) and mm.

Out and in again gives the same mm to the last bit. A number in inches is the decimal as written times
exactly 25.4; a length in mm that no short decimal of inches can give back is written with its unit.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from calib.errors import CalibError
from calib.shop import Interval, Reading
from calib.units import parse_length

Units = Literal["mm", "in"]

MM_PER_IN = Fraction(127, 5)
INFINITE = {"inf": math.inf, "+inf": math.inf, "-inf": -math.inf}


def number_mm(number: float, units: Units) -> float:
    """Return a bare number of the form in mm.

    >>> number_mm(0.1, "in")
    2.54
    """
    if units == "mm" or not math.isfinite(number):
        return float(number)
    return float(Fraction(repr(float(number))) * MM_PER_IN)


def length_out(mm: float, units: Units) -> float | str:
    """Return the number, or the text, that reads back as exactly `mm`.

    >>> length_out(6.35, "in"), length_out(float("-inf"), "mm")
    (0.25, '-inf')
    """
    if math.isinf(mm):
        return "inf" if mm > 0 else "-inf"
    if units == "mm":
        return float(mm)
    for digits in range(1, 17):
        inches = round(mm / 25.4, digits)
        if number_mm(inches, "in") == mm:
            return inches
    return f"{_plain(mm)} mm"


def _plain(number: float) -> str:
    """Return a number's shortest exact decimal, with an exponent only where nobody measures."""
    text = repr(float(number))
    return (format(Decimal(text), "f") if 1e-12 < abs(number) < 1e12 else text).removesuffix(".0")


def length_to_text(mm: float, units: Units) -> str:
    """Return a length as a cell of a log's CSV, in the log's unit."""
    out = length_out(mm, units)
    if isinstance(out, str):
        return out
    whole, _, decimals = _plain(out).partition(".")
    return _plain(out) if "e" in decimals or "e" in whole else f"{whole}.{decimals:0<2}"


def decimal_point(text: str) -> str:
    """Return `text` with its decimal commas as points and its minus signs as hyphens."""
    text = text.replace("\N{MINUS SIGN}", "-")
    return text if "." in text else re.sub(r",(?=\d)", ".", text)


def length_from_text(text: str, units: Units, where: str) -> float:
    """Return one length in mm; raise `CalibError` that starts with `where`."""
    return float(parse_length(text, unit=units, where=where).mm)


def reading_from_text(text: str, units: Units, where: str) -> tuple[Reading, ...]:
    """Return the readings of one cell: repeats joined by ``|``, each a length or an interval.

    Parameters
    ----------
    text : str
        ``0.07``, ``0.06|0.08``, ``<0.05``, ``>0.10``, ``0.05..0.10``,
        and for a shell, that keeps < and > to itself, ``..0.05`` and ``0.10..``.
    units : {"mm", "in"}
        Unit of a bare number.
    where : str
        What the error starts with, as ``chest.csv:14: clearance``.

    Raises
    ------
    CalibError
        When a part is not a length, or an interval is empty.

    >>> reading_from_text("0.06|0.08", "mm", "clearance")
    (0.06, 0.08)
    >>> reading_from_text("0.05..0.10", "mm", "clearance")
    (Interval(low_mm=0.05, high_mm=0.1),)
    """
    return tuple(_one_reading(part.strip(), units, where) for part in text.split("|"))


def _one_reading(text: str, units: Units, where: str) -> Reading:
    if not text:
        raise CalibError(f"{where} has an empty reading beside a |. Take the | away or write the number.")
    if text[0] == "<":
        return Interval(-math.inf, length_from_text(text[1:].strip(), units, where))
    if text[0] == ">":
        return Interval(length_from_text(text[1:].strip(), units, where), math.inf)
    if ".." in text:
        low, high = (part.strip() for part in text.split("..", 1))
        if not low and not high:
            raise CalibError(f'{where} "{text}" says nothing. Write 0.05..0.10, or 0.05.. for above 0.05.')
        limits = Interval(
            length_from_text(low, units, where) if low else -math.inf,
            length_from_text(high, units, where) if high else math.inf,
        )
        if not limits.low_mm < limits.high_mm:
            raise CalibError(f'{where} "{text}" is an empty interval. Write the lower limit first.')
        return limits
    return length_from_text(text, units, where)


def reading_to_text(readings: Sequence[Reading], units: Units) -> str:
    """Return readings as one cell; the inverse of `reading_from_text`.

    >>> reading_to_text((0.06, Interval(0.05, 0.1)), "mm")
    '0.06|0.05..0.10'
    """
    return "|".join(_one_text(reading, units) for reading in readings)


def _one_text(reading: Reading, units: Units) -> str:
    if not isinstance(reading, Interval):
        return length_to_text(reading, units)
    if math.isinf(reading.low_mm):
        return "<" + length_to_text(reading.high_mm, units)
    if math.isinf(reading.high_mm):
        return ">" + length_to_text(reading.low_mm, units)
    return f"{length_to_text(reading.low_mm, units)}..{length_to_text(reading.high_mm, units)}"

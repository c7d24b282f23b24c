"""Lengths as a person types them, to mm and back.

The idea: read the text exactly (``fractions.Fraction``), turn it into mm once, at the very end, and
keep what was typed beside the value. Nothing is guessed. What could mean two things is refused in
one line that says how to write either of them:

* ``1,250`` (a decimal comma, or a thousand), but ``0,08`` and ``6,35`` can only be decimals,
* ``1/4`` with no unit where lengths are counted in mm (nobody thinks in quarters of a millimetre),
* ``5 mil`` (a thousandth of an inch to some, a millimetre to others).

A bare decimal takes the unit that is asked for. Inch fractions have the denominators of a rule
(2 to 128); any other is taken for a slip.

Not handled: feet, metres, sums such as ``1/4 in + 0.05 mm``.
"""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from calib.errors import CalibError

Unit = Literal["mm", "in"]

MM_PER_INCH = 25.4  # exact by definition

_MM_PER: dict[str, Fraction] = {
    "mm": Fraction(1),
    "cm": Fraction(10),
    "um": Fraction(1, 1000),
    "in": Fraction(254, 10),
    "thou": Fraction(254, 10_000),
}
_SPELLINGS: dict[str, str] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), "mm"),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), "cm"),
    **dict.fromkeys(("um", "μm", "μ", "micron", "microns", "micrometre", "micrometres"), "um"),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"', "''"), "in"),
    **dict.fromkeys(("thou", "thous"), "thou"),
}
_KNOWN_UNITS = "mm, cm, um, in, thou"
_RULE_DENOMINATORS = (2, 4, 8, 16, 32, 64, 128)
_LONGEST_TEXT = 60  # also keeps the exact arithmetic small, whatever is pasted

# Typographic signs that a keyboard, a phone or a spreadsheet may put in; \u2033 and \u201d stand for inch.
_SIGNS = str.maketrans(
    {
        "\u2212": "-", "\u2012": "-", "\u2013": "-", "\ufe63": "-", "\uff0d": "-",
        "\u2044": "/", "\u2215": "/",
        "\u2033": '"', "\u201d": '"', "\u201c": '"', "\u2032": "'", "\u2019": "'",
    }
)  # fmt: skip

_FORM = re.compile(
    r"""(?P<sign>[+-]?)\s*
    (?: (?:(?P<whole>[0-9]+)(?:\s+|\s*-\s*))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)
      | (?P<decimal>[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?P<exponent>e(?:[+]?[0-9]{1,2}|-[0-9]{1,3}))?
    )\s*(?P<unit>[^0-9\s.,/+-][^0-9\s]*)?""",
    re.VERBOSE,
)
_MAYBE_THOUSANDS = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")


@dataclass(frozen=True)
class Length:
    """A length, with what was typed.

    Parameters
    ----------
    mm : float, mm
        The value, rounded once from the exact one.
    text : str
        As typed.
    unit : {"mm", "cm", "um", "in", "thou"}
        The unit it was read in.
    unit_given : bool
        False when the unit was not typed but taken from the setup.
    """

    mm: float
    text: str
    unit: str
    unit_given: bool


def parse_length(text: str, unit: Unit = "mm", where: str = "") -> Length:
    """Read a length that a person typed.

    Parameters
    ----------
    text : str
        ``6.35``, ``0,08``, ``-0.07``, ``.5``, ``6.35mm``, ``2 cm``, ``80 µm``, ``1/4 in``,
        ``1-1/4"``, ``1 3/32 in``, ``¼ in``, ``12 thou``.
    unit : {"mm", "in"}
        The unit of a bare number.
    where : str
        What the length is of; it opens the message of an error (``chest.csv:14: key``).

    Returns
    -------
    Length

    Raises
    ------
    CalibError
        When the text is no length, or could mean two things.

    Examples
    --------
    >>> parse_length("1 3/32 in").mm
    27.78125
    >>> parse_length("0.25", unit="in").mm
    6.35
    """
    form = _match(text, where)
    named = _unit_of(form["unit"], text, where)
    used = named or unit
    if form["bottom"] is not None:
        value = _fraction(form, text, used, named is not None, where)
    else:
        value = _decimal(form, text, where)
    if form["sign"] == "-":
        value = -value
    return Length(mm=float(value * _MM_PER[used]), text=text, unit=used, unit_given=named is not None)


def number_decimals(text: str) -> int:
    """Count the digits after the decimal mark, as typed: what the reading's precision is inferred from.

    A fraction has none. Raises `CalibError` when the text is no length.

    >>> number_decimals("6.350 mm"), number_decimals("0,08"), number_decimals("1/4 in")
    (3, 2, 0)
    """
    form = _match(text, "")
    if form["bottom"] is not None:
        return 0
    _decimal(form, text, "")
    _, _, after = form["decimal"].replace(",", ".").partition(".")
    return max(0, len(after) - int((form["exponent"] or "e0")[1:]))


def format_length(mm: float, unit: Unit = "mm", decimals: int | None = None) -> str:
    """Write a length with its unit.

    Parameters
    ----------
    mm : float, mm
    unit : {"mm", "in"}
    decimals : int, optional
        Fixed number of decimals, for aligned columns. By default 4 for inches; for mm 2, and a third
        one below 0.1 mm where it says something (``0.07 mm``, but ``0.073 mm``).

    Returns
    -------
    str
        With a plain hyphen as minus, so that it can be typed back; zero never carries a sign.

    Examples
    --------
    >>> format_length(0.14), format_length(0.14, "in"), format_length(-0.073)
    ('0.14 mm', '0.0055 in', '-0.073 mm')
    """
    value = mm / MM_PER_INCH if unit == "in" else mm
    if decimals is None:
        decimals = 4 if unit == "in" else _mm_decimals(mm)
    return f"{_unsigned_zero(f'{value:.{decimals}f}')} {unit}"


def as_fraction(mm: float, denominator: int = 64) -> str:
    """Write a length as the nearest fraction of an inch, and say what is left over.

    Parameters
    ----------
    mm : float, mm
    denominator : int
        Finest division of the rule.

    Returns
    -------
    str
        ``1/4 in``, with ``+ 0.05 mm`` or ``- 0.05 mm`` behind it unless the rest is below 0.0005 mm.

    Examples
    --------
    >>> as_fraction(6.40), as_fraction(6.35), as_fraction(31.75)
    ('1/4 in + 0.05 mm', '1/4 in', '1 1/4 in')
    """
    nearest = Fraction(round(mm / MM_PER_INCH * denominator), denominator)
    rest = mm - float(nearest * _MM_PER["in"])
    whole, part = divmod(abs(nearest), 1)
    shown = " ".join(str(piece) for piece in (whole, part) if piece) or "0"
    head = f"{'-' if nearest < 0 else ''}{shown} in"
    if abs(rest) < 0.0005:
        return head
    return f"{head} {'-' if rest < 0 else '+'} {format_length(abs(rest))}"


def twenty_five_fold(mm: float, expected_mm: float) -> str | None:
    """Ask, when a value looks like millimetres taken for inches or the other way round.

    Parameters
    ----------
    mm, expected_mm : float, mm
        What was understood, and about what it should be.

    Returns
    -------
    str or None
        One question when the two have the same sign and their ratio is within 15 % of 25.4 or of
        1/25.4; otherwise None. It is a question, never a correction.

    Examples
    --------
    >>> twenty_five_fold(0.242, 6.14)
    '0.24 mm is about 25 times less than the expected 6.14 mm. Was it in inches?'
    >>> twenty_five_fold(6.0, 6.14) is None
    True
    """
    if not (math.isfinite(mm) and math.isfinite(expected_mm)) or mm * expected_mm <= 0.0:
        return None
    ratio = mm / expected_mm
    found, expected = format_length(mm), format_length(expected_mm)
    if _near_25(ratio):
        return f"{found} is about 25 times the expected {expected}. Was it in mm?"
    if _near_25(1.0 / ratio):
        return f"{found} is about 25 times less than the expected {expected}. Was it in inches?"
    return None


def _match(text: str, where: str) -> re.Match[str]:
    if len(text) > _LONGEST_TEXT:
        raise CalibError(_say(where, text[:20] + "...", "is too long to be a length."))
    form = _FORM.fullmatch(_plain(text))
    if form is None:
        raise CalibError(_say(where, text, "is not a length. Write it as 6.35, 6.35 mm, 1/4 in or 12 thou."))
    return form


def _plain(text: str) -> str:
    """Spell fraction glyphs out, turn typographic signs into typed ones, lower the case."""
    spelled = "".join(_spell(char) for char in text).translate(_SIGNS)
    return unicodedata.normalize("NFKC", spelled).casefold().strip()


def _spell(char: str) -> str:
    # The space matters: without it 1¼ would become 11/4.
    return f" {unicodedata.normalize('NFKC', char)}" if "VULGAR" in unicodedata.name(char, "") else char


def _unit_of(typed: str | None, text: str, where: str) -> str | None:
    if typed is None:
        return None
    if typed in ("mil", "mils"):
        raise CalibError(_say(where, text, "could be thousandths of an inch or mm: write thou or mm."))
    if typed not in _SPELLINGS:
        raise CalibError(_say(where, text, f'has a unit "{typed}" that is not known. Use {_KNOWN_UNITS}.'))
    return _SPELLINGS[typed]


def _decimal(form: re.Match[str], text: str, where: str) -> Fraction:
    digits, exponent = form["decimal"], form["exponent"] or ""
    if _MAYBE_THOUSANDS.fullmatch(digits):
        point, joined = digits.replace(",", "."), digits.replace(",", "")
        raise CalibError(_say(where, text, f"could be {point} or {joined}. Write the one that is meant."))
    return Fraction(digits.replace(",", ".").rstrip(".") + exponent)


def _fraction(form: re.Match[str], text: str, unit: str, unit_given: bool, where: str) -> Fraction:
    whole, top, bottom = int(form["whole"] or 0), int(form["top"]), int(form["bottom"])
    if bottom == 0:
        raise CalibError(_say(where, text, "divides by zero. Write a fraction such as 1/4 in."))
    if bottom not in _RULE_DENOMINATORS and (unit == "in" or not unit_given):
        raise CalibError(_say(where, text, f"is not a length. {_near_fraction(top, bottom)}"))
    if form["whole"] is not None and top >= bottom:
        raise CalibError(_say(where, text, f"is not a length: the fraction {top}/{bottom} is not below 1."))
    value = whole + Fraction(top, bottom)
    if unit == "mm" and not unit_given:
        typed = f"{whole} {top}/{bottom}" if whole else f"{top}/{bottom}"
        raise CalibError(
            _say(where, text, f"is a fraction without a unit. Write {typed} in, or {float(value):.6g} mm.")
        )
    return value


def _near_fraction(top: int, bottom: int) -> str:
    """Suggest the rule's denominator that a finger meant: digits swapped first, then one digit wrong."""
    typed = str(bottom)

    def slips(denominator: int) -> tuple[int, int]:
        right = str(denominator)
        if sorted(right) == sorted(typed):
            return 0, 0
        differing = sum(a != b for a, b in zip(right, typed, strict=True)) if len(right) == len(typed) else 9
        return differing, abs(denominator - bottom)

    best = min(_RULE_DENOMINATORS, key=slips)
    if slips(best)[0] <= 1 and top < best:
        return f"Did you mean {top}/{best}?"
    return "Fractions of an inch go by 2, 4, 8, 16, 32, 64 or 128; write others as a decimal."


def _say(where: str, text: str, what: str) -> str:
    return f'{where} "{text}" {what}'.lstrip()


def _mm_decimals(mm: float) -> int:
    return 3 if abs(mm) < 0.1 and f"{mm:.3f}"[-1] != "0" else 2


def _unsigned_zero(digits: str) -> str:
    return digits.lstrip("-") if not digits.strip("-0.") else digits


def _near_25(ratio: float) -> bool:
    return abs(ratio / MM_PER_INCH - 1.0) <= 0.15

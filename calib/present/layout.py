"""Lines of text that fit a width, and that a terminal of any age can show.

The idea: everything that people read is made as a list of paragraphs, wrapped once, here.
A number is never parted from its unit by a line break. When the output's encoding has no
letter for a sign, the sign is spelled in ASCII instead of failing.

Assumed: one character is one column wide (true of all text that this program makes itself).
"""

from __future__ import annotations

import re
import textwrap
import unicodedata
from collections.abc import Iterable, Sequence

#: Narrower than this the wrapped text would be one word a line; it is then cut no narrower.
LEAST_WIDTH = 24

_NO_BREAK = "\N{NO-BREAK SPACE}"
_NUMBER_AND_UNIT = re.compile(r"(?<=[\d.]) (?=(?:mm|in|m|min|minutes?|%|degrees?|thou|pieces?|turns?)\b|%)")
_UNITS = ("mm", "in", "m", "%")
#: How a paragraph starts: blanks, perhaps with a mark.
_START = re.compile(r" *(?:[-!*] )?")
_MARK = re.compile(r" *[-!*] ")
_PLUS_MINUS = re.compile(r"([ (])(±|\+/-) ")
_IN_ASCII = {
    "±": "+/-",
    "°": " degrees",
    "µ": "u",
    "\N{GREEK SMALL LETTER MU}": "u",
    "\N{FIGURE DASH}": "-",
    "\N{PRIME}": "'",
    "\N{DOUBLE PRIME}": '"',
    "\N{FRACTION SLASH}": "/",
    "\N{DIVISION SLASH}": "/",
    "×": "x",
    "−": "-",
    "–": "-",
    "—": "-",
    "…": "...",
    "≥": ">=",
    "≤": "<=",
    "²": "^2",
    "³": "^3",
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "“": '"',
    "”": '"',
    "‘": "'",
    "’": "'",
    "→": "->",
    "━": "=",
    "│": "|",
    "●": "o",
    "◉": "@",
    "·": ".",
    "▁": "1",
    "▂": "2",
    "▃": "3",
    "▄": "4",
    "▅": "5",
    "▆": "6",
    "▇": "7",
    "█": "8",
}


def paragraph(text: str, width: int = 80, first: str = "", rest: str | None = None) -> list[str]:
    """Wrap one paragraph.

    Parameters
    ----------
    text : str
    width : int, columns
    first, rest : str
        What the first and the other lines start with; `rest` None means blanks as wide as `first`.

    Examples
    --------
    >>> paragraph("Please move the key 0.14 mm", 24, "- ")
    ['- Please move the key', '  0.14 mm']
    """
    hang = " " * len(first) if rest is None else rest
    glued = _PLUS_MINUS.sub(_glue, _NUMBER_AND_UNIT.sub(_NO_BREAK, text))
    lines = textwrap.wrap(
        glued,
        width=max(width, LEAST_WIDTH, len(hang) + 12),
        initial_indent=first,
        subsequent_indent=hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace(_NO_BREAK, " ").rstrip() for line in lines] or [first.rstrip()]


def _glue(match: re.Match[str]) -> str:
    """Keep a plus-minus with the number after it, and with the one before it."""
    before = _NO_BREAK if match[1] == " " else match[1]
    return f"{before}{match[2]}{_NO_BREAK}"


def section(title: str, lines: Iterable[str], width: int, mark: str = "-") -> list[str]:
    """Return a titled list, one idea an entry, or nothing when there is nothing to say."""
    entries = [line for text in lines for line in paragraph(text, width, f"  {mark} ")]
    return ["", title, *entries] if entries else []


def table(head: Sequence[str], rows: Sequence[Sequence[str]], right: Iterable[int] = ()) -> list[str]:
    """Return aligned columns, two blanks apart, without trailing blanks.

    Parameters
    ----------
    head : sequence of str
    rows : sequence of rows of str
        As many columns as the head.
    right : column numbers
        Columns that stand flush right (numbers).

    Examples
    --------
    >>> table(["cut", "key"], [["7", "6.14"], ["12", "6"]], right=[0, 1])
    ['cut   key', '  7  6.14', ' 12     6']
    """
    flush_right = set(right)
    widths = [max(len(row[i]) for row in [head, *rows]) for i in range(len(head))]
    return [
        "  ".join(
            cell.rjust(widths[i]) if i in flush_right else cell.ljust(widths[i]) for i, cell in enumerate(row)
        ).rstrip()
        for row in [head, *rows]
    ]


def table_or_records(
    head: Sequence[str], rows: Sequence[Sequence[str]], width: int, right: Iterable[int] = ()
) -> list[str]:
    """Return a table, or, where that is wider than `width`, one wrapped paragraph a row.

    In a paragraph the unit that ends a column's head stands after its number.
    """
    lines = table(head, rows, right)
    if all(len(line) <= width for line in lines):
        return lines
    records = []
    for row in rows:
        named = [_named(name, cell) for name, cell in zip(head, row, strict=True) if cell]
        records += paragraph(", ".join(named), width, "", "  ")
    return records


def _named(head: str, cell: str) -> str:
    """Say a cell with the head of its column.

    >>> _named("key mm", "6.14"), _named("stock", "cherry-8")
    ('key 6.14 mm', 'stock cherry-8')
    """
    name, _, unit = head.rpartition(" ")
    return f"{name} {cell} {unit}" if name and unit in _UNITS else f"{head} {cell}"


def in_ascii(lines: Iterable[str], width: int) -> list[str]:
    """Spell lines in ASCII; one that grows beyond the width is wrapped again, on into the line after it.

    >>> in_ascii(["- a turn of 43° is a bit", "  more than that"], 24)
    ['- a turn of 43 degrees', '  is a bit more than', '  that']
    """
    spelled: list[str] = []
    grown = False
    for line in lines:
        text = to_ascii(line)
        if grown and _goes_on(spelled[-1], text):
            text = f"{spelled.pop()} {text.strip()}"
        grown = len(text) > width
        if grown:
            first = _START.match(text)[0]  # type: ignore[index]  # it matches the empty string too
            spelled += paragraph(text[len(first) :], width, first)
        else:
            spelled.append(text)
    return spelled


def _goes_on(line: str, after: str) -> bool:
    """Say whether a line is the rest of the paragraph before it: indented alike, with no mark of its own."""
    indent = len(after) - len(after.lstrip())
    return bool(after.strip()) and not _MARK.match(after) and len(line) - len(line.lstrip()) == indent


def to_ascii(text: str) -> str:
    """Spell a text in ASCII.

    >>> to_ascii("0.07 ± 0.05 mm, 45°, 20 °C, café")
    '0.07 +/- 0.05 mm, 45 degrees, 20 degrees C, cafe'
    """
    text = text.replace(" °C", " degrees C")
    spelled = "".join(_IN_ASCII.get(letter, letter) for letter in text)
    return unicodedata.normalize("NFKD", spelled).encode("ascii", "ignore").decode("ascii")


def fits_encoding(text: str, encoding: str | None) -> bool:
    """Say whether an output of this encoding (None: ASCII) can show the text."""
    try:
        text.encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True

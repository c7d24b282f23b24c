"""The card that hangs by the machine: one sheet, A5 or half letter, to be printed at 100 %.

The page is one pair of axes in mm from its lower left corner, so a line of 50 mm is 50 mm on paper.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from calib.present.layout import paragraph
from calib.present.pictures import sketch
from calib.present.pictures.sheet import axes_at, look, new_figure
from calib.shop import Setup
from calib.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Paper = Literal["a5", "half-letter"]
#: Width and height, mm (ISO 216; half of 8.5 by 11 inches).
PAPERS: dict[Paper, tuple[float, float]] = {"a5": (148.0, 210.0), "half-letter": (139.7, 215.9)}
CHECK_MM = 50.0
MARGIN, _SIZE, SMALL = 10.0, 8.0, 6.2
_MM_PER_POINT = MM_PER_INCH / 72.0
#: Mean width of a letter and height of a line, of the size of the type; the width is on the safe side.
_LETTER, _LEADING = 0.56, 1.32

#: Type is made smaller until all fits above this height, mm.
_SCALES, _FOOT = (1.0, 0.92, 0.84, 0.76, 0.68, 0.6), 11.0


@dataclass(frozen=True)
class Card:
    """What a card says, already in words; every field but the first three is one line a string.

    Parameters
    ----------
    start : tuple of str
        What to set and cut first next time.
    settings, readings, mountings, cautions, samples, changed : tuple of str
    since : str
        The date of the card before; "" = there was none.
    """

    setup: Setup
    title: str
    date: str
    about: tuple[str, ...]
    start: tuple[str, ...]
    settings: tuple[str, ...]
    readings: tuple[str, ...]
    mountings: tuple[str, ...]
    cautions: tuple[str, ...]
    samples: tuple[str, ...] = ()
    since: str = ""
    changed: tuple[str, ...] = ()


def draw_card(card: Card, paper: Paper = "a5") -> Figure:
    """Draw a card on a sheet of its true size."""
    return draw_page(lambda page: _fill(page, card), paper)


def draw_page(fill: Callable[[Page], None], paper: Paper) -> Figure:
    """Return a sheet of its true size with a check line, filled in type as large as it has room for."""
    wide, high = PAPERS[paper]
    with look():
        figure = new_figure(wide / MM_PER_INCH, high / MM_PER_INCH)
        axes = axes_at(figure, 0.0, 0.0, wide / MM_PER_INCH, high / MM_PER_INCH)
        for scale in _SCALES:
            axes.clear()
            axes.set_xlim(0, wide)
            axes.set_ylim(0, high)
            axes.set_axis_off()
            page = Page(axes, wide, high, scale)
            fill(page)
            if page.y >= _FOOT:
                break
        _check_line(axes)
    return figure


def _fill(page: Page, card: Card) -> None:
    """Write everything but the check line."""
    page.head(card.title, card.date, card.about)
    page.section("Next time", (*card.start, *card.samples))
    page.section("As it stands now", card.readings)
    page.with_sketch("Settings", card.settings, card.setup)
    page.section("On the last mountings", card.mountings)
    page.section(f"Changed since the card of {card.since}", card.changed)
    page.section("Before you touch anything", card.cautions, SMALL)


class Page:
    """A page that is filled from the top; `y` is where the next line stands, mm."""

    def __init__(self, axes: Axes, wide: float, high: float, scale: float) -> None:
        self.axes, self.wide, self.y, self.scale = axes, wide, high - MARGIN, scale

    def head(self, title: str, date: str, about: Sequence[str]) -> None:
        """Write the name, the date and what it is."""
        self.axes.text(MARGIN, self.y, title, size=15, weight="bold", va="top")
        self.axes.text(self.wide - MARGIN, self.y - 1.2, date, size=_SIZE, va="top", ha="right")
        self.y -= 8.0
        self.lines(about, _SIZE)

    def section(self, title: str, lines: Sequence[str], size: float = _SIZE) -> None:
        """Write a titled list under a rule; nothing when there is nothing to say."""
        if not lines:
            return
        self.rule(title)
        self.lines(lines, size)

    def with_sketch(self, title: str, lines: Sequence[str], setup: Setup) -> None:
        """Write a titled list with the picture of the joint at its right."""
        self.rule(title)
        left = self.wide - MARGIN - sketch.WIDE_MM
        top = self.y
        self.lines(lines, _SIZE, right=left - 3.0)
        sketch.draw_sketch(self.axes, setup, left, top - sketch.HIGH_MM - 2.0)
        self.y = min(self.y, top - sketch.HIGH_MM - 2.5)

    def rule(self, title: str) -> None:
        """Draw a rule across the page and write a title under it."""
        self.y -= 2.0
        self.axes.plot([MARGIN, self.wide - MARGIN], [self.y, self.y], color="black", linewidth=0.6)
        self.y -= 1.4
        self.axes.text(MARGIN, self.y, title, size=9, weight="bold", va="top")
        self.y -= 5.0

    def lines(self, lines: Sequence[str], size: float, right: float | None = None) -> None:
        """Write lines, wrapped at the right margin or before it."""
        size *= self.scale
        room = (right or self.wide - MARGIN) - MARGIN
        columns = int(room / (_LETTER * size * _MM_PER_POINT))
        for text in lines:
            for line in paragraph(text, columns, "", "  "):
                self.axes.text(MARGIN, self.y, line, size=size, va="top")
                self.y -= _LEADING * size * _MM_PER_POINT


def _check_line(axes: Axes) -> None:
    """Draw the line that shows whether the sheet was printed at its true size."""
    left, right, y = MARGIN, MARGIN + CHECK_MM, 6.0
    axes.plot([left, right], [y, y], color="black", linewidth=0.8, solid_capstyle="butt", gid="check")
    for x in (left, right):
        axes.plot([x, x], [y - 1.5, y + 1.5], color="black", linewidth=0.5)
    axes.text(right + 3, y, "50 mm: print at 100 %, then measure this line", size=7, va="center")

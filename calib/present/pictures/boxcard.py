"""The card of a box: one sheet like that of a setup, with its boards drawn to scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.box.drawing import BoardDrawing
from calib.present.pictures.boxes import draw_board, kinds_of
from calib.present.pictures.card import MARGIN, SMALL, Page, Paper, draw_page

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Between two boards side by side, and the height that their picture may take, mm.
_BETWEEN, _HIGHEST = 8.0, 48.0
_SEEN = "Outer face up, reference edge down. Broken: the groove inside. Plus: its stops."


@dataclass(frozen=True)
class BoxCard:
    """What the card of a box says, already in words; tuples of text are one line a string.

    Parameters
    ----------
    since : str
        The date of the card before; "" = there was none.
    """

    title: str
    date: str
    unit: str
    boards: tuple[BoardDrawing, ...]
    about: tuple[str, ...]
    left: tuple[str, ...]
    cut_list: tuple[str, ...]
    groove: tuple[str, ...]
    since: str
    changed: tuple[str, ...]
    cautions: tuple[str, ...]


def draw_box_card(card: BoxCard, paper: Paper = "a5") -> Figure:
    """Draw the card of a box on a sheet of its true size."""
    return draw_page(lambda page: _fill(page, card), paper)


def _fill(page: Page, card: BoxCard) -> None:
    page.head(f"Box {card.title}", card.date, card.about)
    page.section("Cut and left", card.left)
    page.section(f"Changed since the card of {card.since}", card.changed)
    page.section("Cut list (length x width x thickness, as sawn)", card.cut_list)
    page.section("Groove", card.groove)
    page.section("Boards", (_SEEN,))
    _boards(page, card.boards)
    page.section("Before you touch anything", card.cautions, SMALL)


def _boards(page: Page, boards: Sequence[BoardDrawing]) -> None:
    """Draw the boards that differ side by side, at one scale."""
    kinds = kinds_of(boards)
    room = page.wide - 2 * MARGIN - (len(kinds) - 1) * _BETWEEN
    tall = max(board.width_mm for _, board in kinds)
    scale = min(room / sum(board.length_mm for _, board in kinds), _HIGHEST / tall)
    left = MARGIN
    bottom = page.y - scale * tall
    for labels, board in kinds:
        draw_board(page.axes, board, scale, left, bottom)
        page.axes.text(left, bottom - 1.2, labels, size=7, va="top")
        left += scale * board.length_mm + _BETWEEN
    page.y = bottom - 4.5

"""Kept boxes, inlays and diagonals in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

from calib.box.inlay import GOOD_GLUE_MM, THIN_GLUE_MM, InlayPlan, Part
from calib.box.progress import BoardLeft, boards_left
from calib.box.square import Square
from calib.present.figures import figure, in_units, length, percent
from calib.present.layout import paragraph, section, table_or_records


class PartCount(Protocol):
    """One part of a box, and what is cut of it."""

    @property
    def part(self) -> str: ...
    @property
    def setup(self) -> str | None: ...
    @property
    def pieces(self) -> int: ...
    @property
    def cut(self) -> int: ...
    @property
    def left(self) -> int: ...


def progress_lines(
    name: str, closed: bool, parts: Sequence[PartCount], copies: int, width: int
) -> list[str]:
    """Return what of a box is cut and what is left, the next thing to do first."""
    counted = [part for part in parts if part.setup is not None]
    left = [part for part in counted if part.left]
    if closed:
        first = f"Box {name} is closed; nothing more is counted for it."
    elif left:
        first = f"Box {name}: next cut {left[0].part}, {left[0].left} left: calib next {left[0].setup}"
    elif counted:
        first = f"Box {name}: every piece that is counted is cut. Glued up? calib box close {name}"
    else:
        first = f"Box {name}: no setup is named, so no pieces are counted."
    rows = [
        (part.part, part.setup or "none named", str(part.cut), str(part.left), str(part.pieces))
        if part.setup is not None
        else (part.part, "none named", "?", "?", str(part.pieces))
        for part in parts
    ]
    head = ("part", "setup", "cut", "left", "of")
    lines = [*paragraph(first, width), *table_or_records(head, rows, width, right=(2, 3, 4))]
    for part in [] if closed else left:
        boards = [_board_left(board, copies) for board in boards_left(part.part, part.cut, copies)]
        if boards and part.cut:
            told = f"Left for the {part.part}, if cut in the order of work: {', '.join(boards)}."
            lines += paragraph(told, width)
    return lines


def _board_left(board: BoardLeft, copies: int) -> str:
    which = f" of box {board.box}" if copies > 1 else ""
    return f"{board.label}{which}{' (right end)' if board.left_end_cut else ''}"


def list_lines(boxes: Sequence[tuple[str, str, int, int, float, bool]], width: int) -> list[str]:
    """Return one line a box: name, size, copies, pieces left, chance as planned, open or closed."""
    rows = [
        (name, size, str(copies), str(left), percent(closes), "closed" if closed else "open")
        for name, size, copies, left, closes, closed in boxes
    ]
    return table_or_records(("box", "size", "copies", "left", "closes", "state"), rows, width, right=(2, 3))


def inlay_lines(
    found: InlayPlan, known: Sequence[str], assumed: Sequence[str], cautions: Sequence[str], width: int,
    units: str = "mm",
) -> list[str]:  # fmt: skip
    """Return what to type in for pocket and insert, and whether they go together."""
    pocket, insert = found.pocket, found.insert
    lines = paragraph(
        f"Type in {_typed(pocket, units)} for the pocket and {_typed(insert, units)} for the insert. Chance "
        f"that the gap of the next inlay is in its band: {percent(found.chance)}.",
        width,
    )
    rows = [
        (
            part.name,
            _typed(part, units).partition(" ")[0],
            _pair(part.drawn_mm, units),
            _pair(part.cut_mm, units),
            figure(part.corner_mm, units),
            figure(part.thick_mm, units),
        )
        for part in (pocket, insert)
    ]
    head = ("part", f"type in {units}", "drawn", "as cut", "corner radius", "deep, thick")
    lines += ["", *table_or_records(head, rows, width, right=(1, 4, 5))]
    return [
        *lines,
        *section("Corners and glue", _fit(found, bool(known), units), width),
        *section("Levelling", _levelling(found, units), width),
        *section("From the log", [in_units(text, units) for text in known], width),
        *section("Assumptions", [in_units(text, units) for text in assumed], width),
        *section("Before you touch anything", cautions, width, "*"),
    ]


def _typed(part: Part, units: str) -> str:
    return f"{figure(part.type_in_mm, units, 3 if units == 'mm' else 4)} {units}"


def _pair(sides: tuple[float, float], units: str) -> str:
    return " x ".join(figure(mm, units) for mm in sides)


def _fit(found: InlayPlan, was_cut: bool, units: str) -> list[str]:
    side = found.gap.mean / 2.0
    good = f"{figure(THIN_GLUE_MM, units)} to {length(GOOD_GLUE_MM, units)}"
    said = [
        f"Gap {length(found.gap.mean, units)} in all (u {length(found.gap.sd, units)}), "
        f"{length(side, units)} a side: as a glue line {found.glue} ({good} is good)."
    ]
    needs = f"The corners need {length(found.corner_needs_mm, units)} a side"
    if found.corner_spare_mm >= 0.0:
        said.append(f"{needs}: they clear.")
    else:
        said.append(
            f"{needs}: they touch first. Round the insert's corners to "
            f"{length(found.least_corner_mm, units)} or more, or chisel the pocket's square."
        )
    if was_cut:
        said.append(f"The cutter cuts {length(found.cutter_mm, units)} across, as the gap tells.")
    return said


def _levelling(found: InlayPlan, units: str) -> list[str]:
    stands = found.insert.thick_mm - found.pocket.thick_mm
    return [
        f"Insert {length(found.insert.thick_mm, units)} thick, pocket {length(found.pocket.thick_mm, units)} "
        f"deep: it stands out by {length(stands, units)}, and by the glue under it.",
        "Level it when the glue has set, not before: it swells first.",
    ]


def square_lines(found: Square, width: int, units: str = "mm") -> list[str]:
    """Return what two diagonals say."""
    if found.squeeze == "neither":
        return paragraph("Square, if opposite sides are equal: the diagonals are the same.", width)
    return [
        *paragraph(
            f"Out of square by {found.angle_deg:.3f}°. Squeeze the {found.squeeze} diagonal, the longer "
            f"one, until it is {length(found.shorten_by_mm, units)} shorter; the other grows by as much.",
            width,
        ),
        *paragraph(
            f"Gap at the corner: {length(found.gap_over_width_mm, units)} over the second side, "
            f"{length(found.gap_over_length_mm, units)} over the first.",
            width,
        ),
    ]

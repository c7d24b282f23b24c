"""A box to scale: its boards with fingers, groove and stop marks, and an end of each larger, with its lines.

All boards lie with the outer face up and the reference edge down, as they are cut and ripped, before the
fingers are sanded flush. The groove is on the inner face, so it is drawn broken. Boards of one kind are drawn
once; both kinds have one scale.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from calib.box.drawing import BoardDrawing
from calib.present.figures import figure as told
from calib.present.figures import length
from calib.present.pictures.sheet import WIDTH_IN, axes_at, in_unit, look, new_figure, spread

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _TOP, _NAME, _AXIS, _GAP, _FOOT = 0.74, 0.56, 0.42, 0.3, 0.52, 0.06, 0.5
#: Height of the picture of an end, inches, and how much of the board's length it shows, of its height.
_END_IN, _SHARE = 2.9, 0.42
#: Of more finger lines than there is room for only every second, third, ... is named.
_MOST_LINES = 20
_MARKS, _CLEAR = 0.3, 0.06  # under an end, and between it and its name
_BROKEN = (0, (3, 2))
_OUTWARD: tuple[Literal["left", "right"], ...] = ("right", "left", "right", "left")
#: Straight pieces of a half circle.
_ARC = 16


def draw_box(name: str, boards: Sequence[BoardDrawing], units: str | None = None) -> Figure:
    """Draw the boards of a box to scale; lengths in `units` (None: mm)."""
    unit = units or "mm"
    kinds = kinds_of(boards)
    wide = WIDTH_IN - _LEFT - _RIGHT
    per_mm = wide / max(board.length_mm for _, board in kinds)
    highs = [max(per_mm * board.width_mm, 0.3) for _, board in kinds]
    ends = _GAP + _NAME + _CLEAR + _END_IN + _MARKS
    height = _TOP + sum(high + _NAME + _AXIS for high in highs) + ends + _FOOT
    with look():
        figure = new_figure(WIDTH_IN, height)
        figure.text(
            0.12 / WIDTH_IN, 1 - 0.22 / height, f"{name}: the boards, to scale", weight="bold", va="center"
        )
        top = height - _TOP
        for (labels, board), high in zip(kinds, highs, strict=True):
            _named(figure, top, f"{labels}, {length(board.thickness_mm, unit)} thick")
            axes = axes_at(figure, _LEFT, top - _NAME - high, per_mm * board.length_mm, high)
            _whole(axes, board, unit)
            top -= high + _NAME + _AXIS
        top -= _GAP
        _ends(figure, kinds, top, unit)
        text = (
            "Outer face up, reference edge down; before sanding flush. Broken: the groove\n"
            f"inside, {length(boards[0].groove_depth_mm, unit)} deep. Plus: where the cutter's axis stops."
        )
        figure.text(0.12 / WIDTH_IN, 0.08 / height, text, size=8.5, va="bottom")
    return figure


def kinds_of(boards: Sequence[BoardDrawing]) -> list[tuple[str, BoardDrawing]]:
    """Return the boards that differ, each with the names and places of all that are like it."""
    found: dict[BoardDrawing, list[str]] = {}
    for board in boards:
        found.setdefault(board._replace(label="", place=""), []).append(f"{board.label} {board.place}")
    return [(" and ".join(names), board) for board, names in found.items()]


def _named(figure: Figure, top: float, words: str) -> None:
    height = figure.get_size_inches()[1]
    figure.text(0.12 / WIDTH_IN, (top - 0.5 * _NAME) / height, words, size=9, va="center")


def _whole(axes: Axes, board: BoardDrawing, unit: str) -> None:
    """Draw one board from end to end, with its axes in the unit that is shown."""
    draw_board(axes, board, in_unit(1.0, unit))
    axes.set_xlim(0, in_unit(board.length_mm, unit))
    axes.set_ylim(0, in_unit(board.width_mm, unit))
    marks = [0.0, *(board.stop_marks or ()), board.length_mm]
    axes.set_xticks([in_unit(mm, unit) for mm in marks], [_line(mm, unit) for mm in marks])
    if len(marks) == 4:  # so that stop marks can be read beside the ends
        for label, way in zip(axes.get_xticklabels(), _OUTWARD, strict=True):
            label.set_horizontalalignment(way)
    axes.set_yticks([in_unit(mm, unit) for mm in (0.0, board.width_mm)], ["0", told(board.width_mm, unit)])
    axes.set_xlabel(f"along the board ({unit})", labelpad=1)
    axes.set_ylabel(f"across ({unit})", labelpad=-12)
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)


def draw_board(axes: Axes, board: BoardDrawing, scale: float, left: float = 0.0, bottom: float = 0.0) -> None:
    """Draw outline, groove, stop marks and the line of the lid, a mm as `scale` of the axes."""
    from matplotlib.patches import Polygon

    def placed(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
        return [(left + scale * x, bottom + scale * y) for x, y in points]

    axes.add_patch(
        Polygon(
            placed(board.outline), facecolor="0.93", edgecolor="black", linewidth=0.9, closed=True,
            gid="outline", clip_on=False,
        )
    )  # fmt: skip
    axes.add_patch(
        Polygon(
            placed(groove_outline(board)), facecolor="none", edgecolor="black", linewidth=0.9, closed=True,
            linestyle=_BROKEN, gid="groove",
        )
    )  # fmt: skip
    middle = 0.5 * sum(board.groove[1])
    for x, y in placed([(mark, middle) for mark in board.stop_marks or ()]):
        axes.plot(
            [x], [y], marker="+", markersize=7, color="black", markeredgewidth=1.1, linestyle="none",
            gid="stop",
        )  # fmt: skip
    if board.lid_line is not None:
        low, high = board.lid_line
        kerf = [(0.0, low), (board.length_mm, low), (board.length_mm, high), (0.0, high)]
        axes.add_patch(
            Polygon(
                placed(kerf), facecolor="black", edgecolor="black", linewidth=0.4, closed=True, gid="lid"
            )
        )


def groove_outline(board: BoardDrawing) -> list[tuple[float, float]]:
    """Return the outline of a groove as drawn, mm: half circles at the ends of one that stops."""
    (start, end), (low, high) = board.groove
    radius = board.round_ends_mm
    if not radius:
        return [(start, low), (end, low), (end, high), (start, high)]
    turn = [math.pi * (k / _ARC - 0.5) for k in range(_ARC + 1)]
    right = [(end - radius + radius * math.cos(a), low + radius + radius * math.sin(a)) for a in turn]
    return [*right, *((start + end - x, low + high - y) for x, y in right)]


def _ends(figure: Figure, kinds: Sequence[tuple[str, BoardDrawing]], top: float, unit: str) -> None:
    """Draw the left end of each kind of board, large, with the lines of its fingers."""
    tall = max(board.width_mm for _, board in kinds)
    per_mm = _END_IN / tall
    room = (WIDTH_IN - 0.12) / len(kinds)
    for i, (labels, board) in enumerate(kinds):
        left = 0.12 + i * room + 0.62
        shown = min((room - 0.62 - 0.78) / per_mm, _SHARE * tall, board.length_mm)
        names = ", ".join(word.split()[0] for word in labels.split(" and "))
        figure.text(
            (left - 0.5) / WIDTH_IN, (top - 0.5 * _NAME) / figure.get_size_inches()[1],
            f"left end of {names} ({unit})", size=9, va="center",
        )  # fmt: skip
        axes = axes_at(figure, left, top - _NAME - _CLEAR - _END_IN, per_mm * shown, per_mm * board.width_mm)
        draw_board(axes, board, in_unit(1.0, unit))
        axes.set_xlim(0, in_unit(shown, unit))
        axes.set_ylim(0, in_unit(board.width_mm, unit))
        for side in ("top", "right", "left", "bottom"):
            axes.spines[side].set_visible(False)
        for patch in axes.patches:
            patch.set_clip_on(True)
        _finger_lines(axes, board, unit)
        _groove_lines(axes, board, unit)
        deep = [0.0, board.finger_depth_mm]
        axes.set_xticks([in_unit(mm, unit) for mm in deep], ["0", told(board.finger_depth_mm, unit)])
        for label, way in zip(axes.get_xticklabels(), _OUTWARD, strict=False):
            label.set_horizontalalignment(way)


def _finger_lines(axes: Axes, board: BoardDrawing, unit: str) -> None:
    """Name the lines between fingers and slots at the left, from the reference edge."""
    lines = sorted({round(mm, 6) for span in (*board.slots, *board.fingers) for mm in span})
    axes.set_yticks([in_unit(mm, unit) for mm in lines], [""] * len(lines))
    gap = board.width_mm * 0.135 / _END_IN
    every = -(-len(lines) // _MOST_LINES)
    named = [*(mm for mm in lines[:-1:every] if lines[-1] - mm > gap), lines[-1]]
    places = spread(named, gap)
    right = axes.get_xlim()[1]
    for mm, place in zip(named, places, strict=True):
        axes.text(
            -0.07 * right, in_unit(place, unit), _line(mm, unit), size=8, ha="right", va="center", gid="line"
        )


def _line(mm: float, unit: str) -> str:
    return told(mm, unit) if mm else "0"


def _groove_lines(axes: Axes, board: BoardDrawing, unit: str) -> None:
    """Name the walls of the groove, and the lid's line, at the right."""
    right = axes.get_xlim()[1]
    said = [(mm, told(mm, unit)) for mm in board.groove[1]]
    if board.lid_line is not None:
        said.append((board.lid_line[0], f"lid {told(board.lid_line[0], unit)}"))
    places = spread([mm for mm, _ in said], board.width_mm * 0.15 / _END_IN)
    for (mm, words), place in zip(said, places, strict=True):
        del mm
        axes.text(1.04 * right, in_unit(place, unit), words, size=8.5, ha="left", va="center", gid="wall")
    middle = 0.5 * (places[0] + places[1])
    axes.text(
        1.04 * right, in_unit(min(places[0], middle) - board.width_mm * 0.17 / _END_IN, unit), "groove",
        size=8.5, ha="left", va="center",
    )  # fmt: skip

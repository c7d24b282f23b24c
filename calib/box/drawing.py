"""The boards of a box as they are drawn: outline, fingers, groove and stop marks in mm.

The idea: a board lies with its outer face up and its reference edge down. x runs along it from its left end,
y up from the reference edge; all is as cut and ripped, before the fingers are sanded flush.
"""

from __future__ import annotations

from typing import NamedTuple

from calib.box.layout import SAME_MM, Span
from calib.box.plan import BoxPlan

Point = tuple[float, float]


class BoardDrawing(NamedTuple):
    """One board, mm.

    Parameters
    ----------
    label, place : str
    length_mm, width_mm, thickness_mm : float
        `width_mm` is the finished one, after the rip.
    finger_depth_mm : float
        From either end to the bottom of its slots.
    outline : tuple of (x, y)
        Corners of the board with its slots cut out, anticlockwise, first one at the lower left.
    slots, fingers : tuple of (y, y)
        The same on both ends.
    groove : ((x, x), (y, y))
        Where it is at full depth or less: from end to end, or with its round ends.
    groove_depth_mm : float
    stop_marks : (x, x) or None
        Where the cutter's axis stops; None = the groove runs through.
    round_ends_mm : float
        Radius of the groove's ends; 0 = it runs through.
    lid_line : (y, y) or None
        The kerf that opens the box.
    """

    label: str
    place: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    finger_depth_mm: float
    outline: tuple[Point, ...]
    slots: tuple[Span, ...]
    fingers: tuple[Span, ...]
    groove: tuple[Span, Span]
    groove_depth_mm: float
    stop_marks: Span | None
    round_ends_mm: float
    lid_line: Span | None


def draw_boards(plan: BoxPlan) -> tuple[BoardDrawing, ...]:
    """Return the four boards of a plan, A1, A2, B1, B2, ready to be drawn to scale."""
    near, far = plan.groove_near_mm, plan.groove_near_mm + plan.groove_width_mm
    lid = None if plan.lid is None else (plan.lid.line_mm, plan.lid.line_mm + plan.lid.kerf_mm)
    drawn = []
    for board in plan.boards:
        of_a = board.label.startswith("A")
        slots = plan.layout.a_slots if of_a else plan.layout.b_slots
        fingers = plan.layout.a_fingers if of_a else plan.layout.b_fingers
        stop = (plan.groove_a if of_a else plan.groove_b).stop
        along: Span = (0.0, board.length_mm)
        marks: Span | None = None
        if stop is not None:
            marks = (stop.axis_mm, board.length_mm - stop.axis_mm)
            along = (marks[0] - plan.groove_width_mm / 2.0, marks[1] + plan.groove_width_mm / 2.0)
        drawn.append(
            BoardDrawing(
                board.label,
                board.place,
                board.length_mm,
                plan.layout.width_mm,
                board.thickness_mm,
                board.finger_depth_mm,
                _outline(board.length_mm, plan.layout.width_mm, board.finger_depth_mm, slots),
                slots,
                fingers,
                (along, (near, far)),
                plan.groove_depth_mm,
                marks,
                0.0 if stop is None else plan.groove_width_mm / 2.0,
                lid,
            )
        )
    return tuple(drawn)


def _outline(length: float, width: float, depth: float, slots: tuple[Span, ...]) -> tuple[Point, ...]:
    """Walk up the right end and down the left one, into every slot; a slot at an edge takes its corner."""
    inner = length - depth
    up: list[Point] = [(length, 0.0)] if slots[0][0] > SAME_MM else []
    for low, high in slots:
        up += [(length, low)] if low > SAME_MM else []
        up += [(inner, low), (inner, high)]
        up += [(length, high)] if high < width - SAME_MM else []
    up += [(length, width)] if slots[-1][1] < width - SAME_MM else []
    down = [(length - x, y) for x, y in reversed(up)]
    return (down[-1], *up, *down[:-1])

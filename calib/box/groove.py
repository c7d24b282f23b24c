"""Where the groove for the panel falls against fingers and slots, and where it has to stop.

The idea: a groove that runs out through a finger leaves a hole in the end of that finger, which is seen on
the outside of the corner. A groove that lies in a slot of its board runs out into the mate's finger and is
never seen.

Symbols
-------
q  near wall of the groove from the reference edge;  w  its width;  d  its depth;  s  cutter;  h  finger depth
e  how far the panel goes into the mate's groove

Stop marks are where the cutter's axis stops, mm from the end of the board. Derived here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from calib import normal
from calib.box.boards import Board
from calib.box.closing import Uncertain
from calib.box.layout import SAME_MM, Layout, Span
from calib.box.numbers import CornerNumbers
from calib.errors import CalibError
from calib.geometry.groove import stopped_groove

#: Wood to leave between a stopped groove and the outside once flush, mm; common practice, no source.
LEAST_END_MM = 1.0


@dataclass(frozen=True)
class Stop:
    """Where a stopped groove starts and ends: the cutter's axis, mm from either end of the board.

    Parameters
    ----------
    axis_mm : float
        Stop mark at both ends.
    travel_mm, overall_mm : float
        Axis travel, and the groove with its half-circle ends.
    end_wood_mm : float
        Left between the groove and the outside of the box once the fingers are flush.
    square_mm : float
        To be chiselled square, or clipped off the panel's corner; 0 = nothing.
    """

    axis_mm: float
    travel_mm: float
    overall_mm: float
    end_wood_mm: float
    square_mm: float


@dataclass(frozen=True)
class GrooveOnBoard:
    """The groove on one kind of board.

    Parameters
    ----------
    board : {"A", "B"}
    falls_in : {"slot", "finger", "both"}
        Where it runs out at the end of the board.
    shows : bool
        Whether it would show at an outside corner if it ran through.
    nearest_line_mm : float
        How far its nearer wall is from the nearest line between finger and slot.
    stop : Stop or None
        None = it may run through.
    unseen : float or None
        Chance that a groove that runs through is not seen, as far as lines and walls are known; None where
        it is stopped.
    """

    board: Literal["A", "B"]
    falls_in: Literal["slot", "finger", "both"]
    shows: bool
    nearest_line_mm: float
    stop: Stop | None = None
    unseen: float | None = None


def check_groove(width: float, near: float, groove: float, depth: float, thickness: float) -> None:
    """Raise `CalibError` for a groove deeper than the stock or beyond the board's edges."""
    if depth >= thickness:
        raise CalibError(
            f"groove {depth:g} mm deep goes through stock of {thickness:g} mm. "
            "Lower the cutter or take thicker stock."
        )
    if near < 0.0 or near + groove > width:
        raise CalibError(
            f"groove from {near:g} to {near + groove:g} mm is not inside a board {width:g} mm "
            "wide. Move the fence."
        )


def groove_on_board(layout: Layout, board: Literal["A", "B"], near: float, groove: float) -> GrooveOnBoard:
    """Return where a groove falls on board A or B, and whether it would show; no stop marks yet.

    Parameters
    ----------
    near, groove : float, mm
        Near wall from the reference edge, and width of the groove.
    """
    fingers = layout.a_fingers if board == "A" else layout.b_fingers
    slots = layout.a_slots if board == "A" else layout.b_slots
    in_finger, in_slot = (_overlap(spans, near, near + groove) for spans in (fingers, slots))
    where: Literal["slot", "finger", "both"] = "both"
    if in_finger <= SAME_MM:
        where = "slot"
    elif in_slot <= SAME_MM:
        where = "finger"
    lines = [mm for span in (*fingers, *slots) for mm in span if SAME_MM < mm < layout.width_mm - SAME_MM]
    off = min((abs(wall - mm) for wall in (near, near + groove) for mm in lines), default=0.0)
    return GrooveOnBoard(board, where, in_finger > SAME_MM, off)


def place_groove(
    layout: Layout, board: Board, near: float, groove: float, reach: float, proud: float
) -> GrooveOnBoard:
    """Return where the groove falls on a board of the cut list, with stop marks when it would show.

    Parameters
    ----------
    near, groove : float, mm
        Near wall, and width of the groove: the cutter of a groove made in one pass.
    reach, proud : float, mm
    """
    kind: Literal["A", "B"] = "A" if board.starts_with == "finger" else "B"
    found = groove_on_board(layout, kind, near, groove)
    if not found.shows:
        return found
    return replace(found, stop=stop_marks(board.length_mm, board.finger_depth_mm, proud, groove, reach))


def unseen_chance(
    layout: Layout, board: Literal["A", "B"], near: Uncertain, groove: Uncertain, corner: CornerNumbers
) -> float:
    """Return the chance that a groove set inside a slot of a board really lies in it, from end to end.

    Parameters
    ----------
    near, groove : Uncertain, mm
        Near wall, and width of the groove.
    corner : CornerNumbers
        Of the setup that cuts the board.

    Returns
    -------
    float
        1 - P(near wall before the slot) - P(far wall beyond it): never more than the true chance, and less
        only by that of both at once.

    Notes
    -----
    Slot n of A lies from (n + 1) p - s to (n + 1) p, of B from n p to n p + s. Without a pitch of its own
    p = 2 s - c, so that a line of i pitches and j slots has u^2 = ((2 i + j) u_s)^2 + (i u_c)^2.
    """
    slots = layout.a_slots if board == "A" else layout.b_slots
    n = next(k for k, (low, high) in enumerate(slots) if low - SAME_MM <= near.mean <= high)
    start, end = ((n + 1, -1), (n + 1, 0)) if board == "A" else ((n, 0), (n, 1))
    u_low = math.hypot(near.sd, _line_u(corner, *start))
    u_high = math.hypot(near.sd, groove.sd, _line_u(corner, *end))
    low, high = slots[n]
    before = normal.cdf((low - near.mean) / max(u_low, SAME_MM))
    beyond = normal.cdf((near.mean + groove.mean - high) / max(u_high, SAME_MM))
    return max(0.0, 1.0 - float(before) - float(beyond))


def _line_u(corner: CornerNumbers, pitches: int, slots: int) -> float:
    """Standard uncertainty of a line that is some pitches and some slots from the reference edge, mm."""
    if corner.pitch is not None:
        return math.hypot(pitches * corner.pitch.sd, slots * corner.slot.sd)
    return math.hypot((2 * pitches + slots) * corner.slot.sd, pitches * corner.clearance.sd)


def stop_marks(
    length: float, finger_depth: float, proud: float, cutter: float, reach: float, least: float = LEAST_END_MM
) -> Stop:
    """Return the stop marks of a groove that must not run out.

    Parameters
    ----------
    length : float, mm
        Of the board as sawn.
    finger_depth : float, mm
        From the end of the board to the inside of the mate.
    reach : float, mm
        How far the panel goes into the mate.
    least : float, mm
        Wood to leave outside the groove once the fingers are flush.

    Raises
    ------
    CalibError
        When the panel's corner itself comes too near to the outside, or the board is too short.

    Notes
    -----
    The panel needs the groove up to h - e from the end. The axis stops there when that leaves enough wood
    outside the half circle of s/2; else it stops at proud + least + s/2, and the rest is chiselled square.
    """
    needed = finger_depth - reach
    if needed < proud + least:
        raise CalibError(
            f"no stop possible: the panel comes within {needed - proud:.2f} mm of the outside, {least:g} mm "
            "must stay. Make the groove shallower or the stock thicker."
        )
    axis = max(needed, proud + least + cutter / 2.0)
    overall, travel = stopped_groove(length - 2.0 * axis, cutter)
    if travel <= 0.0:
        raise CalibError(
            f"no stop possible: a board {length:g} mm long is too short for a stopped groove with a cutter "
            f"of {cutter:g} mm. Take a smaller cutter."
        )
    return Stop(axis, travel, overall, axis - cutter / 2.0 - proud, max(0.0, axis - needed))


def hidden_setbacks(
    layout: Layout, board: Literal["A", "B"], groove: float, least: float = 0.0, room: float = 0.0
) -> tuple[Span, ...]:
    """Return the ranges of the near wall in which a groove runs through one board unseen, mm.

    Parameters
    ----------
    least : float, mm
        Smallest setback to speak of.
    room : float, mm
        Least width of a range: nobody sets a fence into a narrower one.
    """
    slots = layout.a_slots if board == "A" else layout.b_slots
    ranges = ((max(low, least), high - groove) for low, high in slots)
    return tuple((low, high) for low, high in ranges if high - low >= room)


def _overlap(spans: tuple[Span, ...], low: float, high: float) -> float:
    return sum(max(0.0, min(high, end) - max(low, start)) for start, end in spans)

"""Finger-joint boards: one cut slot after slot, two put together, one that ends somewhere.

Symbols and signs as in `calib.geometry.finger`; N slots, W board width.

Assumed: rigid wood, boards upright, every seat as good as the last (else see `finger_faults`).
"""

from __future__ import annotations

import math
from typing import NamedTuple

from calib.errors import CalibError
from calib.geometry.finger import Seat, pitch


class FingerRow(NamedTuple):
    """One board as cut, measured from the edge that was cut first.

    Parameters
    ----------
    slots_mm : tuple of (start, end), mm
        A slot that runs out through the far edge ends there.
    fingers_mm : tuple of float, mm
        Widths of the fingers that stand before or between slots.
    last_piece_mm : float, mm
        What is left after the last slot; 0 when it runs out.
    """

    slots_mm: tuple[tuple[float, float], ...]
    fingers_mm: tuple[float, ...]
    last_piece_mm: float


class WidthEnd(NamedTuple):
    """How a board's width divides: whole pitches, and what the rest (mm) is made of."""

    pitches: int
    over_mm: float
    finger_mm: float
    of_slot_mm: float


def cut_slots(
    gap: float, slot: float, key: float, width: float, seat: Seat = "away", starts: str = "finger"
) -> FingerRow:
    """Return the slots and fingers of one board end.

    Parameters
    ----------
    gap, slot, key, width : float, mm
        `width` is that of the board.
    seat : {"away", "toward"}
    starts : {"finger", "slot"}
        "finger": the board's edge stands against the key. "slot": the mate hangs on the key by its first
        slot and this board butts against its edge; on seat TOWARD the first slot is then only k wide, and
        the board's own edge is put on the key's far face next.

    Returns
    -------
    FingerRow

    Raises
    ------
    CalibError
        When the key does not enter, or nothing would be left of a finger.

    Examples
    --------
    >>> row = cut_slots(9.45, 9.60, 9.55, 100.0)
    >>> len(row.slots_mm), round(row.last_piece_mm, 3)
    (5, 4.75)
    """
    step = pitch(gap, slot, key, seat)
    if step <= slot:
        raise CalibError(f"gap {gap:g} mm leaves no finger between slots of {slot:g} mm. Move the key away.")
    first_end = slot if seat == "away" else key
    slots = [] if starts == "finger" else [(0.0, min(first_end, width))]
    start = gap if starts == "finger" else step
    while start < width:
        slots.append((start, min(start + slot, width)))
        start = (gap if starts == "finger" else 0.0) + len(slots) * step
    ends = [0.0, *(end for _, end in slots)]
    fingers = tuple(begin - end for end, (begin, _) in zip(ends, slots, strict=False) if begin > end)
    return FingerRow(tuple(slots), fingers, max(0.0, width - ends[-1]))


def play_of_two_boards(gap_a: float, slot_a: float, gap_b: float, slot_b: float, slots: int) -> float:
    """Return the play of two boards that were cut on different settings, seat AWAY.

    Parameters
    ----------
    gap_a, slot_a, gap_b, slot_b : float, mm
        As they were when each board was cut; A starts with a finger, B with a slot.
    slots : int
        N, slots in each board.

    Returns
    -------
    float, mm
        Below 0 the boards do not go together. With dp = p_A - p_B it is s_A - g_B - (N - 1) dp for
        dp >= 0, else s_B - g_A - (N - 1)|dp|: the slots of the longer pitch meet the fingers of the
        shorter one. With one cutter width this is max(c_A, c_B) - (N - 1)|dp|.

    Examples
    --------
    >>> round(play_of_two_boards(9.45, 9.60, 9.46, 9.60, slots=5), 3)
    0.11
    """
    pitch_error = (gap_a + slot_a) - (gap_b + slot_b)
    across = slot_a - gap_b if pitch_error >= 0.0 else slot_b - gap_a
    return across - (slots - 1) * abs(pitch_error)


def boards_cut_together(gap: float, slot: float, lead: float) -> tuple[float, float, float]:
    """Return the two edge gaps of flush boards, and the step of the edges of centred fingers.

    Parameters
    ----------
    gap, slot, lead : float, mm
        `lead` is w, by how much B's edge stood nearer to the cutter than A's; seat AWAY.

    Returns
    -------
    gap_first, gap_second, edge_step : float, mm
        w - g beyond B's finger and s - w before it, edges flush; B pushed along by w - p/2 centres it.
    """
    return lead - gap, slot - lead, lead - (gap + slot) / 2.0


def width_end(width: float, pitch_mm: float, slot: float) -> WidthEnd:
    """Return how a board's width ends: whole pitches, then a finger and part of a slot, mm (seat AWAY).

    >>> end = width_end(130.0, 19.05, 9.60)
    >>> end.pitches, [round(mm, 2) for mm in end[1:]]
    (6, [15.7, 9.45, 6.25])
    """
    finger = pitch_mm - slot
    pitches = math.floor(width / pitch_mm + 1e-9)  # exactly m pitches must not lose one to rounding
    over = max(0.0, width - pitches * pitch_mm)
    return WidthEnd(pitches, over, min(over, finger), max(0.0, over - finger))


def whole_widths(width: float, pitch_mm: float, slot: float) -> tuple[float, float]:
    """Return the nearest board widths, not above and not below, that end on a whole finger, mm.

    W = m p (board A ends in a slot) or m p + f (A has fingers at both ends). Common practice, no source:
    cut over-wide boards and rip to a finger line.

    >>> [round(mm, 2) for mm in whole_widths(130.0, 19.05, 9.60)]
    [123.75, 133.35]
    """
    end = width_end(width, pitch_mm, slot)
    finger = pitch_mm - slot
    base = end.pitches * pitch_mm
    marks = [base, base + finger, base + pitch_mm]
    below = max(mark for mark in marks if mark <= width + 1e-9)
    above = min(mark for mark in marks if mark >= width - 1e-9)
    return below, above

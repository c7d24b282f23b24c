"""Where fingers and slots fall across the boards of a corner, and which widths end on a whole finger.

The idea: board A starts with a finger at its reference edge, board B with a slot; both were stepped over one
key, so every line of the joint is a whole number of pitches from that edge, or a finger more.

Symbols
-------
p  pitch;  s  slot;  f = p - s  finger;  W  width of the board;  k  kerf of the saw

Positions are mm from the reference edge. Assumed: seat AWAY, one setting for both boards. Derived here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal, NamedTuple

from calib.errors import CalibError
from calib.geometry.finger_boards import whole_widths, width_end

Span = tuple[float, float]
End = Literal["finger", "slot", "part finger", "part slot"]

#: Two lines nearer than this are one (mm): far below what any tool cuts, far above rounding.
SAME_MM = 1e-7


@dataclass(frozen=True)
class Layout:
    """Fingers and slots of a corner across the width of its boards, mm from the reference edge.

    Parameters
    ----------
    a_slots, a_fingers, b_slots, b_fingers : tuple of (start, end)
        A starts with a finger, B with a slot. What runs out through the far edge ends there.
    end : {"finger", "slot", "part finger", "part slot"}
        What board A ends in.
    whole_below_mm, whole_above_mm : float
        Nearest widths that end on a whole finger; equal to the width when it does.
    """

    pitch_mm: float
    slot_mm: float
    width_mm: float
    a_slots: tuple[Span, ...]
    a_fingers: tuple[Span, ...]
    b_slots: tuple[Span, ...]
    b_fingers: tuple[Span, ...]
    end: End
    end_piece_mm: float
    whole_below_mm: float
    whole_above_mm: float

    @property
    def finger_mm(self) -> float:
        """Width of a finger, p - s."""
        return self.pitch_mm - self.slot_mm

    @property
    def whole(self) -> bool:
        """Say whether the width ends on a whole finger of A or of B."""
        return self.end in ("finger", "slot")


class Rip(NamedTuple):
    """How wide to leave the boards and where to rip, mm; the line is counted in fingers and slots of A."""

    leave_mm: float
    rip_to_mm: float
    line: int


class LidCut(NamedTuple):
    """A kerf above a finger line, mm: body below it, lid above it, what is left of the finger it takes."""

    line_mm: float
    body_mm: float
    lid_mm: float
    finger_left_mm: float
    kerf_mm: float


def lay_out(width: float, pitch: float, slot: float) -> Layout:
    """Return where the fingers and slots of a corner fall.

    Parameters
    ----------
    width, pitch, slot : float, mm
        `width` is that of the board, across the fingers.

    Raises
    ------
    CalibError
        When no finger is left between slots, or the board is narrower than two fingers.

    Examples
    --------
    >>> found = lay_out(100.0, 12.0, 6.03)
    >>> found.end, round(found.end_piece_mm, 2), round(found.whole_above_mm, 2)
    ('part finger', 4.0, 101.97)
    """
    finger = pitch - slot
    if not (slot > 0.0 and finger > 0.0):
        raise CalibError(
            f"pitch {pitch:g} mm leaves no finger beside a slot of {slot:g} mm. Check the cutter and the key."
        )
    if width < finger + slot - SAME_MM:
        raise CalibError(
            f"board {width:g} mm wide is narrower than two fingers ({pitch:g} mm). "
            "Take a wider board or a narrower cutter."
        )
    steps = range(math.ceil(width / pitch) + 1)
    end, piece = _end(width, pitch, slot)
    below, above = whole_widths(width, pitch, slot)
    return Layout(
        pitch,
        slot,
        width,
        a_slots=_inside([(n * pitch + finger, (n + 1) * pitch) for n in steps], width),
        a_fingers=_inside([(n * pitch, n * pitch + finger) for n in steps], width),
        b_slots=_inside([(n * pitch, n * pitch + slot) for n in steps], width),
        b_fingers=_inside([(n * pitch + slot, (n + 1) * pitch) for n in steps], width),
        end=end,
        end_piece_mm=piece,
        whole_below_mm=below,
        whole_above_mm=above,
    )


def with_second(first: Layout, second: Layout) -> Layout:
    """Return the layout of a corner whose B boards are cut on a setup of their own.

    Parameters
    ----------
    first, second : Layout
        Of one width; A's fingers and slots come from the first, B's from the second.
    """
    return replace(first, b_slots=second.b_slots, b_fingers=second.b_fingers)


def rip_plan(layout: Layout, spare: float = 3.0, *, wanted: float | None = None) -> Rip:
    """Return how over-wide to leave the boards and which line to rip to.

    Parameters
    ----------
    spare : float, mm
        What the rip takes away: saw kerf and a clean edge (common practice, no source).
    wanted : float or None, mm
        The whole width to end at; None = the nearer one, never below a pitch.
    """
    below, above = layout.whole_below_mm, layout.whole_above_mm
    nearer = below if layout.width_mm - below <= above - layout.width_mm else above
    to = nearer if wanted is None else wanted
    pitches = math.floor(to / layout.pitch_mm + SAME_MM)
    line = 2 * pitches + (1 if to - pitches * layout.pitch_mm > SAME_MM else 0)
    return Rip(to + spare, to, line)


def lid_cut(layout: Layout, lid_height: float, kerf: float) -> LidCut:
    """Return the finger line to saw a closed box open at, the lid nearest to the height wanted.

    Parameters
    ----------
    lid_height : float, mm
        Wanted height of the lid, measured from the far edge.
    kerf : float, mm
        Taken from the finger above the line.

    Raises
    ------
    CalibError
        When the kerf is as wide as a finger, the lid as high as the box, or no line leaves a finger on both
        sides.
    """
    p, f, width = layout.pitch_mm, layout.finger_mm, layout.width_mm
    if not 0.0 < kerf < min(f, layout.slot_mm):
        raise CalibError(
            f"a kerf of {kerf:g} mm takes a whole finger of {f:g} mm. "
            "Use a thinner saw blade or wider fingers."
        )
    if not 0.0 < lid_height < width - kerf:
        raise CalibError(
            f"a lid {lid_height:g} mm high leaves nothing below it of a box {width:.2f} mm high. Make "
            "it lower."
        )
    lines = [mm for n in range(math.ceil(width / p) + 1) for mm in (n * p, n * p + f)]
    inner = [mm for mm in lines if mm > SAME_MM and mm + kerf < width - SAME_MM]
    if not inner:
        raise CalibError(f"a board {width:g} mm wide has no finger line for a lid. Take a wider board.")
    line = min(inner, key=lambda mm: abs(width - mm - kerf - lid_height))
    upper = min([mm for mm in lines if mm > line + SAME_MM] + [width])
    return LidCut(line, line, width - line - kerf, min(upper, width) - line - kerf, kerf)


def _end(width: float, pitch: float, slot: float) -> tuple[End, float]:
    """What board A ends in, and how wide that last piece is."""
    found = width_end(width, pitch, slot)
    if found.over_mm <= SAME_MM:
        return "slot", slot
    if found.of_slot_mm > SAME_MM:
        return "part slot", found.of_slot_mm
    if pitch - slot - found.finger_mm <= SAME_MM:
        return "finger", found.finger_mm
    return "part finger", found.finger_mm


def _inside(spans: list[Span], width: float) -> tuple[Span, ...]:
    return tuple((low, min(high, width)) for low, high in spans if low < width - SAME_MM)

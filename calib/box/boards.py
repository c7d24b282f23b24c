"""How long to cut the boards of a box, and what to write on each of them.

The idea: fingers are left a little proud and sanded flush, so a board is longer than the finished box by the
proud of both its ends. Board A starts with a finger, B with a slot; front and back are A here, the ends B.

Corners are counted round the box, anticlockwise seen from above, from the left end of the front. So whoever
looks at any board from outside, reference edge down, has the corner that is named first at the left.

Symbols: L, W  outside length and width once flush;  t_A, t_B  thickness of long sides and of ends;
h - t  proud.

Not handled: mitred tops, boards that are not square ended.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from calib.errors import CalibError
from calib.geometry.finger import depth_fit

#: Corners that each board joins, the one at its left end (seen from outside) first.
_CORNERS = {"A1": (1, 2), "B1": (2, 3), "A2": (3, 4), "B2": (4, 1)}
Place = Literal["front", "back", "right end", "left end"]
_PLACES: dict[str, Place] = {"A1": "front", "B1": "right end", "A2": "back", "B2": "left end"}


class Sizes(NamedTuple):
    """A finished box, mm: outside and inside, length and width, and its height."""

    outer_length_mm: float
    outer_width_mm: float
    inner_length_mm: float
    inner_width_mm: float
    height_mm: float


@dataclass(frozen=True)
class Board:
    """One board of the cut list.

    Parameters
    ----------
    label : str
        A1, A2 for front and back, B1, B2 for the ends.
    place : {"front", "back", "right end", "left end"}
        Looking at the front from outside.
    length_mm, width_mm, thickness_mm : float, mm
        Length as sawn, proud included.
    starts_with : {"finger", "slot"}
        At the reference edge, on both ends.
    finger_depth_mm : float, mm
        Height of the cutter above the base: thickness of the mating board and the proud.
    corners : (int, int)
        At the left end seen from outside, which is cut first, and at the right end.
    note : str
        Which edge down, which face out, how the first slot is placed.
    """

    label: str
    place: Place
    length_mm: float
    width_mm: float
    thickness_mm: float
    starts_with: Literal["finger", "slot"]
    finger_depth_mm: float
    corners: tuple[int, int]
    note: str


def sizes_from(
    length: float,
    width: float,
    height: float,
    thickness_a: float,
    thickness_b: float,
    given: Literal["outside", "inside"] = "outside",
) -> Sizes:
    """Return outside and inside sizes from either of them.

    Parameters
    ----------
    length, width, height : float, mm
        Length along the A boards, width along the B boards.
    thickness_a, thickness_b : float, mm

    Raises
    ------
    CalibError
        When nothing is left inside.

    Examples
    --------
    >>> sizes_from(250.0, 180.0, 100.0, 8.0, 8.0)[2:4]
    (234.0, 164.0)
    """
    if min(length, width, height, thickness_a, thickness_b) <= 0.0:
        raise CalibError(f"box {length:g} x {width:g} x {height:g} mm: every size must be above 0 mm.")
    sign = 1.0 if given == "inside" else -1.0
    other_length, other_width = length + sign * 2.0 * thickness_b, width + sign * 2.0 * thickness_a
    if min(other_length, other_width) <= 0.0:
        raise CalibError(
            f"box {length:g} x {width:g} mm leaves nothing inside boards of {thickness_a:g} and "
            f"{thickness_b:g} mm. Take thinner boards or a larger box."
        )
    if given == "inside":
        return Sizes(other_length, other_width, length, width, height)
    return Sizes(length, width, other_length, other_width, height)


def cut_list(
    sizes: Sizes,
    thickness_a: float,
    thickness_b: float,
    proud: float,
    board_width: float,
    proud_b: float | None = None,
) -> tuple[Board, ...]:
    """Return the four boards with their marks.

    Parameters
    ----------
    proud, proud_b : float, mm
        How far the fingers of A, and of B (None: the same), stand out when seated; sanded flush.
    board_width : float, mm
        As cut for the joint, over-wide when it is ripped to a finger line after.

    Raises
    ------
    CalibError
        When the proud is below 0: the fingers would not reach the surface.
    """
    stands = {"A": proud, "B": proud if proud_b is None else proud_b}
    least = min(stands.values())
    if least < 0.0:
        raise CalibError(f"proud {least:g} mm: the fingers would stay below the surface. Give 0 or more.")
    first = {"finger": "reference edge against the key", "slot": "hung on A by its first slot"}
    boards = []
    for name, span, thick, mate, starts in (
        ("A", sizes.outer_length_mm, thickness_a, thickness_b, "finger"),
        ("B", sizes.outer_width_mm, thickness_b, thickness_a, "slot"),
    ):
        length, depth = span + 2.0 * stands[name], mate + stands[name]
        assert abs(depth_fit(length, mate, depth).outer_mm - span) < 1e-6
        kind: Literal["finger", "slot"] = "finger" if starts == "finger" else "slot"
        note = f"reference edge down, face out; at the jig {first[starts]}, on both ends"
        for label in (f"{name}1", f"{name}2"):
            boards.append(
                Board(label, _PLACES[label], length, board_width, thick, kind, depth, _CORNERS[label], note)
            )
    return tuple(boards)

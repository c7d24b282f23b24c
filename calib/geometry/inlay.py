"""Pocket and insert cut on a router that follows a drawing.

The idea: the machine offsets its path by half the diameter that was typed in, so a cutter that is thinner
than that leaves the pocket small and the insert large.

Symbols
-------
De  diameter typed in;  Da  diameter as cut
G  total gap, pocket less insert, over the whole width; per side G/2
R  fillet that the cutter leaves in a pocket corner;  Ri  radius of the insert's corner

Signs: a gap above 0 is room. A larger De makes the gap smaller: by 2 per mm when both parts are cut again,
by 1 when only one of them is.

Assumed: no deflection, no backlash of the axes; read gap_x and gap_y apart when an axis has some.
Derived here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal

from calib.geometry.model import Known
from calib.shop import Joint

Recut = Literal["both", "pocket", "insert"]

ADJUSTERS = ("diameter",)
#: Other names for the typed-in diameter.
ALIASES = ("typed_diameter", "cutter_diameter", "cutter", "bit")


def pocket_across(drawn: float, cut: float, typed: float) -> float:
    """Return a pocket's size, mm: drawn + (Da - De)."""
    return drawn + (cut - typed)


def insert_across(drawn: float, cut: float, typed: float) -> float:
    """Return an insert's size, mm: drawn - (Da - De)."""
    return drawn - (cut - typed)


def total_gap(drawn_gap: float, cut: float, typed: float) -> float:
    """Return the total gap with one tool for both parts, mm: G_drawn + 2 (Da - De); above 0 is room.

    >>> round(total_gap(0.0, 3.100, 3.175), 3)
    -0.15
    """
    return total_gap_of_two(drawn_gap, cut, typed, cut, typed)


def total_gap_of_two(
    drawn_gap: float, pocket_cut: float, pocket_typed: float, insert_cut: float, insert_typed: float
) -> float:
    """Return the total gap, mm, when pocket and insert each had their own tool: the two errors add."""
    return drawn_gap + (pocket_cut - pocket_typed) + (insert_cut - insert_typed)


def diameter_to_type(typed: float, measured_gap: float, target_gap: float, recut: Recut = "both") -> float:
    """Return the diameter to type in for the next cut.

    Parameters
    ----------
    typed, measured_gap, target_gap : float, mm
        Total gaps, not per side.
    recut : {"both", "pocket", "insert"}
        Which part is cut again.

    Returns
    -------
    float, mm
        De + (G_measured - G_target)/2 for both, De + (G_measured - G_target) for one.

    Examples
    --------
    >>> round(diameter_to_type(3.175, -0.150, 0.10), 3)
    3.05
    """
    share = 0.5 if recut == "both" else 1.0
    return typed + share * (measured_gap - target_gap)


def gap_for_corner(fillet: float, corner: float = 0.0) -> float:
    """Return the gap per side that a convex insert corner needs, mm: (1 - 1/sqrt 2)(R - Ri), not below 0.

    >>> round(gap_for_corner(3.175), 4), round(gap_for_corner(1.5875, 1.0), 4)
    (0.9299, 0.1721)
    """
    return max(0.0, (1.0 - math.sqrt(0.5)) * (fillet - corner))


def known_readings(joint: Joint, cutter_mm: float, at: Mapping[str, float]) -> dict[str, Known]:
    """Return what geometry knows of each reading of an inlay.

    Parameters
    ----------
    joint : Joint
        Both parts were cut with the reference diameter; `recut` says which follow a change of it, and so
        which are cut with a worn edge.
    cutter_mm : float, mm
        Nominal diameter, taken for Da; NaN when it is not known.
    at : mapping of adjuster to mm
        ``diameter`` is De.
    """
    pocket = 1.0 if joint.recut in ("both", "pocket") else 0.0
    insert = 1.0 if joint.recut in ("both", "insert") else 0.0
    parts = pocket + insert
    gap = Known(total_gap(joint.drawn_gap_mm, cutter_mm, at["diameter"]), {"diameter": -parts}, -2.0 * parts)
    return {
        **dict.fromkeys(("gap", "gap_x", "gap_y"), gap),
        "pocket": Known(math.nan, {"diameter": -pocket}, -2.0 * pocket),
        "insert": Known(math.nan, {"diameter": insert}, 2.0 * insert),
    }

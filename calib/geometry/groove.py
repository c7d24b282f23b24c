"""Groove along a fence, and the panel that floats in it.

The idea: the board lies flat with its reference edge on the fence; the groove stands where the cutter
stands, as wide as it cuts.

Symbols
-------
F  fence face to cutter axis;  s  slot as cut;  B  board width;  T  board thickness
I  inside face to inside face;  d  groove depth on each side;  P  panel size
C  movement coefficient, 1 per percentage point of moisture content

Signs: setback is edge to near wall and grows with F in one pass. Float and engagement above 0 are room
and hold.

Two passes: the board is turned end for end, same face down, so the other edge meets the fence. The second
pass must take the wall on the far side of the cutter, F at least B/2 (the fence-side wall under normal feed
is a climb cut). The groove then lies centred, from B - F - s/2 to F + s/2: width grows by 2 per mm of
fence, and setback falls by 1.

Assumed: depth is the cutter's height less what the board rides up; the end of the cutter does not wear.
Derived here; movement after the Wood Handbook (FPL-GTR-190, 2010, eq. 13-2), with the coefficient given.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import NamedTuple

from calib.errors import CalibError
from calib.geometry.model import Known
from calib.shop import Joint

ADJUSTERS = ("fence", "height")


class PanelFit(NamedTuple):
    """A panel in its grooves: total float, engagement a side when centred, least when pushed over, mm."""

    float_mm: float
    centred_mm: float
    least_mm: float


def groove_walls(fence: float, slot: float) -> tuple[float, float]:
    """Return near and far wall of a groove in one pass, mm from the reference edge: F -+ s/2.

    >>> [round(mm, 3) for mm in groove_walls(12.0, 6.35)]
    [8.825, 15.175]
    """
    return fence - slot / 2.0, fence + slot / 2.0


def two_pass_walls(fence: float, slot: float, board_width: float) -> tuple[float, float]:
    """Return near and far wall of a groove in two passes, board turned end for end between them.

    Parameters
    ----------
    fence, slot, board_width : float, mm

    Returns
    -------
    near, far : float, mm
        B - F - s/2 and F + s/2 from the reference edge; the same from the other edge.

    Raises
    ------
    CalibError
        When the second pass would cut on the fence side (F below B/2) or would leave a rib (2F - B > s).

    Examples
    --------
    >>> two_pass_walls(41.0, 6.0, 80.0)
    (36.0, 44.0)
    """
    if fence < board_width / 2.0:
        raise CalibError(
            f"fence {fence:g} mm is below half the board ({board_width / 2.0:g} mm): the second pass would "
            "climb. Set the fence beyond the middle."
        )
    if 2.0 * fence - board_width > slot:
        raise CalibError(
            f"fence {fence:g} mm leaves a rib between two passes of {slot:g} mm in a board of "
            f"{board_width:g} mm. Take a pass between them."
        )
    return board_width - fence - slot / 2.0, fence + slot / 2.0


def panel_fit(inside: float, depth: float, panel: float) -> PanelFit:
    """Return float I + 2d - P, engagement a side (P - I)/2 centred and P - I - d pushed over, mm.

    >>> panel_fit(180.0, 6.0, 190.0)
    PanelFit(float_mm=2.0, centred_mm=5.0, least_mm=4.0)
    """
    return PanelFit(inside + 2.0 * depth - panel, (panel - inside) / 2.0, panel - inside - depth)


def moved_size(size: float, coefficient: float, points: float) -> float:
    """Return a size after its moisture content changed: size (1 + C points), mm; points < 0 is drying."""
    return size * (1.0 + coefficient * points)


def panel_size(inside: float, depth: float, slack: float, coefficient: float, points_up: float) -> float:
    """Return the panel to make, so that it still has its slack when it has swollen.

    Parameters
    ----------
    inside, depth, slack : float, mm
    coefficient : float, per percentage point
    points_up : float
        Largest rise of the moisture content after making.

    Returns
    -------
    float, mm
        P = (I + 2d - slack) / (1 + C up).

    Examples
    --------
    >>> round(panel_size(180.0, 6.0, 0.5, 0.00248, 3.0), 3)
    190.086
    """
    return (inside + 2.0 * depth - slack) / (1.0 + coefficient * points_up)


def driest_fit(inside: float, depth: float, panel: float, coefficient: float, points_down: float) -> PanelFit:
    """Return the fit of a panel after its moisture content fell by `points_down` (a number above 0)."""
    return panel_fit(inside, depth, moved_size(panel, coefficient, -points_down))


def stopped_groove(travel: float, slot: float) -> tuple[float, float]:
    """Return overall length L + s and the length L at full width, mm; each end is a half circle of s/2."""
    return travel + slot, travel


def wall_left(thickness: float, depth: float) -> float:
    """Return what is left under a groove, T - d, mm."""
    return thickness - depth


def depth_question(
    thickness: float, depth: float, largest_share: float = 2.0 / 3.0, least_wall: float = 3.0
) -> str | None:
    """Ask about a groove that leaves too little wood, or return None.

    The limits are common practice, no source, and can be changed: two thirds of the stock, and 3 mm left.

    >>> depth_question(8.0, 4.0) is None
    True
    """
    left = wall_left(thickness, depth)
    if depth > largest_share * thickness or left < least_wall:
        return f"a groove {depth:g} mm deep leaves {left:g} mm of {thickness:g} mm. Is that strong enough?"
    return None


def recession_slopes() -> Mapping[str, float]:
    """Return the change of every reading per mm of radial recession, fence untouched.

    Each wall falls back by r, whichever pass cut it, so one pass and two are the same.
    """
    return {"setback": 1.0, "width": -2.0, "depth": 0.0, "wall": 0.0}


def known_readings(joint: Joint, cutter_mm: float, at: Mapping[str, float]) -> dict[str, Known]:
    """Return what geometry knows of each reading of a groove.

    Parameters
    ----------
    joint : Joint
        With two passes width and setback have no nominal: they rest on the board's width, which is not asked.
    cutter_mm : float, mm
        Nominal width; NaN when it is not known.
    at : mapping of adjuster to mm
        Where the scales stand, NaN without a scale: ``fence`` reads F, ``height`` the cutter above the table.
    """
    one = joint.passes == 1
    thickness = math.nan if joint.thickness_mm is None else joint.thickness_mm
    setback = at["fence"] - cutter_mm / 2.0 if one else math.nan
    wear = recession_slopes()
    return {
        "setback": Known(setback, {"fence": 1.0 if one else -1.0}, wear["setback"]),
        "width": Known(cutter_mm if one else math.nan, {} if one else {"fence": 2.0}, wear["width"]),
        "depth": Known(at["height"], {"height": 1.0}, wear["depth"]),
        "wall": Known(thickness - at["height"], {"height": -1.0}, wear["wall"]),
    }

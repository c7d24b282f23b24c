"""The panel in its grooves: how large to make it, its play, and what a season does to it.

The idea: along each direction the panel has a float I + 2d - P. A solid panel swells across the grain only, a
sheet hardly at all; the sides of the box do not change length. So the panel is sized for its wettest day and
looked at on its driest.

Symbols: I  inside;  d  depth of the groove;  P  panel;  C  change per size and per 1 % of moisture.

Moisture limits of `calib.wood.movement` (6 to 14 %) hold here too.
"""

from __future__ import annotations

from typing import NamedTuple

from calib.errors import CalibError
from calib.geometry.groove import PanelFit, panel_fit, panel_size
from calib.wood import movement

#: Play across each direction: a groove half a millimetre deeper on each side than the panel goes in.
#: Common practice, no source.
USUAL_SLACK_MM = 1.0
#: Least a panel should be held by when it is pushed over; common practice, no source.
LEAST_HOLD_MM = 1.0


class Season(NamedTuple):
    """Moisture of a panel, percent: when it is made, at its driest and at its wettest."""

    making: float
    driest: float
    wettest: float


class PanelAcross(NamedTuple):
    """A panel along one direction, mm: its sizes and fits when made, at its driest and at its wettest."""

    size_mm: float
    driest_mm: float
    wettest_mm: float
    made: PanelFit
    driest: PanelFit
    wettest: PanelFit


class SidesThrough(NamedTuple):
    """The height of the sides, mm: as cut, on the driest and on the wettest day."""

    made_mm: float
    driest_mm: float
    wettest_mm: float


def sides_through(height: float, coefficient: float, season: Season) -> SidesThrough | None:
    """Return the height of sides that move across their grain over the season; None for a coefficient of 0.

    Their length does not change, and so neither does the room for the panel.

    >>> sides_through(100.0, 0.00248, Season(9.0, 7.0, 11.0)).wettest_mm
    100.496
    """
    if coefficient == 0.0:
        return None
    driest, wettest = (
        height + movement(height, coefficient, season.making, mc) for mc in (season.driest, season.wettest)
    )
    return SidesThrough(height, driest, wettest)


def check_thickness(thickness: float, groove: float) -> None:
    """Raise `CalibError` for a panel thicker than its groove is wide, mm."""
    if thickness > groove:
        raise CalibError(
            f"panel {thickness:.2f} mm thick does not enter a groove {groove:.2f} mm wide. Take a thinner "
            "panel or a wider groove."
        )


def size_across(
    inside: float, depth: float, slack: float, coefficient: float, season: Season, given: float | None = None
) -> PanelAcross:
    """Return the size of a panel along one direction and its fits over the season.

    Parameters
    ----------
    inside, depth, slack : float, mm
        `slack` is the float that is left on the wettest day.
    coefficient : float, per 1 % of moisture
        0 along the grain.
    season : Season
    given : float or None, mm
        A panel that is there already.

    Raises
    ------
    CalibError
        When the panel does not fit its grooves, or does not reach into them.

    Examples
    --------
    >>> found = size_across(180.0, 6.0, 0.5, 0.00248, Season(10.0, 6.0, 13.0))
    >>> round(found.size_mm, 3), [round(mm, 2) for mm in found.driest[1:]]
    (190.086, [4.1, 2.2])
    """
    if not season.driest <= season.making <= season.wettest:
        raise CalibError(
            f"moisture when made, {season.making:.1f} %, is not between the driest {season.driest:.1f} % and "
            f"the wettest {season.wettest:.1f} %. Widen the humidity range."
        )
    up = season.wettest - season.making
    size = panel_size(inside, depth, slack, coefficient, up) if given is None else given
    room = inside + 2.0 * depth
    if size > room:
        raise CalibError(
            f"panel {size:.2f} mm is bigger than its grooves allow ({room:.2f} mm). "
            "Trim it or cut the grooves deeper."
        )
    if size <= inside:
        mend = "Cut the grooves deeper, or leave less play." if given is None else "Make a larger one."
        raise CalibError(
            f"panel {size:.2f} mm does not reach into its grooves (inside {inside:.2f} mm). {mend}"
        )
    moved = [movement(size, coefficient, season.making, mc) if coefficient else 0.0 for mc in season]
    fits = [panel_fit(inside, depth, size + change) for change in moved]
    return PanelAcross(size, size + moved[1], size + moved[2], *fits)

"""From the numbers of a box to what is believed of it before it is glued.

The idea: two setups that cut one corner share what they share. With one cutter its width drops out of the
difference of their pitches; what is left of both clearances is in it, and so ties it to their mean.

Symbols: c_A, c_B  clearances;  s_A, s_B  slots;  p_A, p_B  pitches, 2 s - c.

Derived here: c = (c_A + c_B)/2, dp = p_A - p_B, cov(c, dp) = (u_B^2 - u_A^2)/2.
"""

from __future__ import annotations

import math

import numpy as np

from calib.box.closing import BoxBelief, Uncertain
from calib.box.layout import Layout
from calib.box.numbers import BoxNumbers, CornerNumbers
from calib.box.panel import LEAST_HOLD_MM

#: What the bench adds, standard uncertainties, mm; common practice, no source.
BOARD_LENGTH_U_MM = 0.1
PANEL_SIZE_U_MM = 0.2
PANEL_SQUARE_U = 0.0005
MOISTURE_U = 1.0


def box_belief(numbers: BoxNumbers, layout: Layout, panel_x: float, panel_y: float) -> BoxBelief:
    """Return what is believed of the box, one uncertain number each.

    Parameters
    ----------
    layout : Layout
        On the boards as they end up.
    panel_x, panel_y : float, mm
        The panel as it is, or is to be made.
    """
    sizes, season, given = numbers.sizes, numbers.season, numbers.given_panel
    thin = min(numbers.thickness_a, numbers.thickness_b)
    play = numbers.groove.mean - numbers.panel_thickness.mean
    deepest = min(2.0 / 3.0 * thin, thin - 3.0)
    moves = numbers.coefficient > 0.0
    panel_u = PANEL_SIZE_U_MM if given is None else given.u_mm
    clearance, difference, together = _corners(numbers.corner, numbers.second)
    return BoxBelief(
        clearance=clearance,
        clearance_scatter=_scatter(numbers.corner, numbers.second),
        pitch_difference=difference,
        pitch_with_clearance=together,
        slots=max(len(layout.a_slots), len(layout.b_slots)),
        inside_x=Uncertain(sizes.inner_length_mm, BOARD_LENGTH_U_MM),
        inside_y=Uncertain(sizes.inner_width_mm, BOARD_LENGTH_U_MM),
        proud_error=_proud_error(numbers.corner),
        proud_error_y=None if numbers.second is None else _proud_error(numbers.second),
        depth=numbers.depth,
        depth_scatter=numbers.depth_scatter,
        setback_scatter=numbers.setback_scatter,
        groove_play=Uncertain(play, float(np.hypot(numbers.groove.sd, numbers.panel_thickness.sd))),
        panel_x=Uncertain(panel_x, panel_u),
        panel_y=Uncertain(panel_y, panel_u),
        panel_square=Uncertain(0.0, PANEL_SQUARE_U),
        coefficient_x=numbers.coefficient if numbers.sheet else 0.0,
        coefficient_y=numbers.coefficient,
        up=Uncertain(season.wettest - season.making, MOISTURE_U if moves else 0.0),
        down=Uncertain(season.making - season.driest, MOISTURE_U if moves else 0.0),
        least_hold=LEAST_HOLD_MM,
        deeper_by_most=max(0.0, deepest - numbers.depth.mean),
    )


def _proud_error(corner: CornerNumbers) -> Uncertain:
    return Uncertain(corner.proud.mean - corner.proud_wanted, corner.proud.sd)


def _scatter(first: CornerNumbers, second: CornerNumbers | None) -> float:
    """One draw a corner, as on one setup: the root mean square of both scatters."""
    if second is None:
        return first.clearance_scatter
    return math.hypot(first.clearance_scatter, second.clearance_scatter) / math.sqrt(2.0)


def _corners(first: CornerNumbers, second: CornerNumbers | None) -> tuple[Uncertain, Uncertain, float]:
    """Mean clearance of a corner, difference of the pitches, and how the two are correlated."""
    if second is None:
        return first.clearance, Uncertain(0.0), 0.0
    u_a, u_b = first.clearance.sd, second.clearance.sd
    mean = Uncertain((first.clearance.mean + second.clearance.mean) / 2.0, math.hypot(u_a, u_b) / 2.0)
    pitches = first.pitch_as_cut, second.pitch_as_cut
    step = pitches[0].mean - pitches[1].mean
    if first.pitch is not None and second.pitch is not None:
        return mean, Uncertain(step, math.hypot(pitches[0].sd, pitches[1].sd)), 0.0
    one_cutter = first.cutter != "" and first.cutter == second.cutter
    widths = 0.0 if one_cutter else 2.0 * math.hypot(first.slot.sd, second.slot.sd)
    spread = math.hypot(u_a, u_b, widths)
    if one_cutter:
        step = second.clearance.mean - first.clearance.mean
    together = (u_b**2 - u_a**2) / 2.0 / (mean.sd * spread) if mean.sd * spread > 0.0 else 0.0
    return mean, Uncertain(step, spread), together

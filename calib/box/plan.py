"""A whole box: its numbers in, boards, grooves, panel and closing chance out.

The idea: everything that the shop believes comes in as numbers with an uncertainty; nothing here asks where
they are from. The groove runs at one height on all four boards; the panel's grain runs along the box.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calib.box.boards import Board, Sizes, cut_list
from calib.box.closing import BoxBelief, Chance, Uncertain, closing_chance, draw
from calib.box.groove import GrooveOnBoard, check_groove, hidden_setbacks, place_groove
from calib.box.improve import Improvement, improvements
from calib.box.layout import Layout, LidCut, Rip, Span, lay_out, lid_cut, rip_plan
from calib.box.panel import LEAST_HOLD_MM, USUAL_SLACK_MM, PanelAcross, Season, size_across
from calib.geometry.groove import depth_question, wall_left

#: What the bench adds, standard uncertainties, mm; common practice, no source.
BOARD_LENGTH_U_MM = 0.1
PANEL_SIZE_U_MM = 0.2
PANEL_SQUARE_U = 0.0005
MOISTURE_U = 1.0
#: Smallest setback, and narrowest range of setbacks, to speak of.
LEAST_SETBACK_MM = 3.0
ROOM_MM = 0.2


@dataclass(frozen=True)
class BoxNumbers:
    """What a box is planned from; lengths mm.

    Parameters
    ----------
    slot, clearance, proud, depth, setback, groove : Uncertain
        As cut; `groove` is its width.
    clearance_scatter, depth_scatter, setback_scatter : float
        sd from piece to piece.
    proud_wanted : float
        The allowance that board lengths are cut for.
    panel_thickness : Uncertain
    coefficient : float
        Of the panel across its grain, per 1 % of moisture; along it 0. Of a sheet: both ways.
    sheet : bool
    slack : float
        Play to leave across each direction on the wettest day.
    """

    sizes: Sizes
    thickness_a: float
    thickness_b: float
    slot: Uncertain
    clearance: Uncertain
    proud: Uncertain
    proud_wanted: float
    depth: Uncertain
    setback: Uncertain
    groove: Uncertain
    panel_thickness: Uncertain
    season: Season
    clearance_scatter: float = 0.02
    depth_scatter: float = 0.02
    setback_scatter: float = 0.02
    coefficient: float = 0.0
    sheet: bool = True
    slack: float = USUAL_SLACK_MM
    lid_height: float | None = None
    kerf: float = 1.0


@dataclass(frozen=True)
class BoxPlan:
    """A box, ready to cut.

    Parameters
    ----------
    rip : Rip or None
        None = the height ends on a whole finger.
    hidden_a, hidden_b : tuple of (low, high), mm
        Setbacks at which the groove could run through A, or B, unseen.
    wall_left_mm : float
        Under the groove.
    question : str or None
        About a weak groove.
    """

    sizes: Sizes
    layout: Layout
    rip: Rip | None
    boards: tuple[Board, ...]
    groove_near_mm: float
    groove_width_mm: float
    groove_depth_mm: float
    groove_a: GrooveOnBoard
    groove_b: GrooveOnBoard
    hidden_a: tuple[Span, ...]
    hidden_b: tuple[Span, ...]
    wall_left_mm: float
    question: str | None
    panel_x: PanelAcross
    panel_y: PanelAcross
    season: Season
    lid: LidCut | None
    chance: Chance
    improvements: tuple[Improvement, ...]


def plan_box(numbers: BoxNumbers, rng: np.random.Generator) -> BoxPlan:
    """Return the plan of a box; raise `CalibError` in one line for one that cannot be."""
    sizes, near, groove = numbers.sizes, numbers.setback.mean, numbers.groove.mean
    depth, thin = numbers.depth.mean, min(numbers.thickness_a, numbers.thickness_b)
    layout = lay_out(sizes.height_mm, 2.0 * numbers.slot.mean - numbers.clearance.mean, numbers.slot.mean)
    check_groove(sizes.height_mm, near, groove, depth, thin)
    rip = None if layout.whole else rip_plan(layout)
    width = sizes.height_mm if rip is None else rip.leave_mm
    boards = cut_list(sizes, numbers.thickness_a, numbers.thickness_b, numbers.proud_wanted, width)
    along = numbers.coefficient if numbers.sheet else 0.0
    panel_x = size_across(sizes.inner_length_mm, depth, numbers.slack, along, numbers.season)
    panel_y = size_across(sizes.inner_width_mm, depth, numbers.slack, numbers.coefficient, numbers.season)
    belief = box_belief(numbers, layout, panel_x.size_mm, panel_y.size_mm)
    draws = draw(rng)
    placed = [
        place_groove(layout, board, near, groove, depth, numbers.proud_wanted) for board in boards[::2]
    ]
    return BoxPlan(
        sizes=sizes,
        layout=layout,
        rip=rip,
        boards=boards,
        groove_near_mm=near,
        groove_width_mm=groove,
        groove_depth_mm=depth,
        groove_a=placed[0],
        groove_b=placed[1],
        hidden_a=hidden_setbacks(layout, "A", groove, LEAST_SETBACK_MM, ROOM_MM),
        hidden_b=hidden_setbacks(layout, "B", groove, LEAST_SETBACK_MM, ROOM_MM),
        wall_left_mm=wall_left(thin, depth),
        question=depth_question(thin, depth),
        panel_x=panel_x,
        panel_y=panel_y,
        season=numbers.season,
        lid=None if numbers.lid_height is None else lid_cut(layout, numbers.lid_height, numbers.kerf),
        chance=closing_chance(belief, draws),
        improvements=improvements(belief, draws),
    )


def box_belief(numbers: BoxNumbers, layout: Layout, panel_x: float, panel_y: float) -> BoxBelief:
    """Return what is believed of the box, one uncertain number each.

    Parameters
    ----------
    panel_x, panel_y : float, mm
        The panel as it is to be made.
    """
    sizes, season = numbers.sizes, numbers.season
    thin = min(numbers.thickness_a, numbers.thickness_b)
    play = numbers.groove.mean - numbers.panel_thickness.mean
    deepest = min(2.0 / 3.0 * thin, thin - 3.0)
    moves = numbers.coefficient > 0.0
    return BoxBelief(
        clearance=numbers.clearance,
        clearance_scatter=numbers.clearance_scatter,
        slots=max(len(layout.a_slots), len(layout.b_slots)),
        inside_x=Uncertain(sizes.inner_length_mm, BOARD_LENGTH_U_MM),
        inside_y=Uncertain(sizes.inner_width_mm, BOARD_LENGTH_U_MM),
        proud_error=Uncertain(numbers.proud.mean - numbers.proud_wanted, numbers.proud.sd),
        depth=numbers.depth,
        depth_scatter=numbers.depth_scatter,
        setback_scatter=numbers.setback_scatter,
        groove_play=Uncertain(play, float(np.hypot(numbers.groove.sd, numbers.panel_thickness.sd))),
        panel_x=Uncertain(panel_x, PANEL_SIZE_U_MM),
        panel_y=Uncertain(panel_y, PANEL_SIZE_U_MM),
        panel_square=Uncertain(0.0, PANEL_SQUARE_U),
        coefficient_x=numbers.coefficient if numbers.sheet else 0.0,
        coefficient_y=numbers.coefficient,
        up=Uncertain(season.wettest - season.making, MOISTURE_U if moves else 0.0),
        down=Uncertain(season.making - season.driest, MOISTURE_U if moves else 0.0),
        least_hold=LEAST_HOLD_MM,
        deeper_by_most=max(0.0, deepest - numbers.depth.mean),
    )

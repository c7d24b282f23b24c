"""A whole box: its numbers in, boards, grooves, panel and closing chance out.

The idea: everything is worked out on the boards as they end up. Where the height falls on a part finger, that
is after the rip to a whole one. The groove runs at one height on all four boards; the panel's grain runs
along the box.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from calib.box.belief import box_belief
from calib.box.boards import Board, Sizes, cut_list
from calib.box.closing import DRAWS, Chance, Uncertain, closing_chance, draw
from calib.box.groove import GrooveOnBoard, check_groove, hidden_setbacks, place_groove, unseen_chance
from calib.box.improve import Improvement, improvements
from calib.box.layout import Layout, LidCut, Rip, Span, lay_out, lid_cut, rip_plan, with_second
from calib.box.numbers import BoxNumbers, CornerNumbers
from calib.box.panel import (
    PanelAcross,
    Season,
    SidesThrough,
    check_thickness,
    sides_through,
    size_across,
)
from calib.geometry.groove import depth_question, wall_left

#: Smallest setback, and narrowest range of setbacks, to speak of.
LEAST_SETBACK_MM = 3.0
ROOM_MM = 0.2


@dataclass(frozen=True)
class BoxPlan:
    """A box, ready to cut.

    Parameters
    ----------
    asked : Layout
        On boards as high as was asked for.
    layout : Layout
        On the boards as they end up; `asked` when nothing is ripped.
    rip : Rip or None
        None = the height ends on a whole finger.
    line_u_mm : float
        Standard uncertainty of the finger line at the far edge, before anything is cut.
    pitch_difference_mm : float
        Pitch of A less pitch of B; 0 on one setup.
    fence_mm : float
        Fence face to the axis of a cutter as wide as the groove.
    hidden_a, hidden_b : tuple of (low, high), mm
        Setbacks at which the groove could run through A, or B, unseen.
    wall_left_mm : float
        Under the groove.
    question : str or None
        About a weak groove.
    panel_given : bool
        The panel was there already.
    panel_thickness_mm : float
    sides : SidesThrough or None
        The height of the sides through the season; None = not asked.
    """

    sizes: Sizes
    asked: Layout
    layout: Layout
    rip: Rip | None
    line_u_mm: float
    pitch_difference_mm: float
    boards: tuple[Board, ...]
    groove_near_mm: float
    groove_width_mm: float
    groove_depth_mm: float
    fence_mm: float
    groove_a: GrooveOnBoard
    groove_b: GrooveOnBoard
    hidden_a: tuple[Span, ...]
    hidden_b: tuple[Span, ...]
    wall_left_mm: float
    question: str | None
    panel_x: PanelAcross
    panel_y: PanelAcross
    panel_given: bool
    panel_thickness_mm: float
    season: Season
    sides: SidesThrough | None
    lid: LidCut | None
    chance: Chance
    improvements: tuple[Improvement, ...]


def plan_box(numbers: BoxNumbers, rng: np.random.Generator, count: int = DRAWS) -> BoxPlan:
    """Return the plan of a box.

    Parameters
    ----------
    count : int
        Draws for its chances; their standard error is at most 0.5 / sqrt(count).

    Raises
    ------
    CalibError
        In one line, for a box that cannot be.
    """
    asked = _layout(numbers, numbers.sizes.height_mm)
    rip = None if asked.whole else rip_plan(asked)
    layout = asked if rip is None else _layout(numbers, rip.rip_to_mm)
    near, groove, depth = numbers.setback.mean, numbers.groove.mean, numbers.depth.mean
    thin = min(numbers.thickness_a, numbers.thickness_b)
    check_groove(layout.width_mm, near, groove, depth, thin)
    check_thickness(numbers.panel_thickness.mean, groove)
    boards = _boards(numbers, asked.width_mm if rip is None else rip.leave_mm)
    on_a, on_b = _grooves(numbers, layout, boards)
    panel_x, panel_y = _panel(numbers)
    belief = box_belief(numbers, layout, panel_x.size_mm, panel_y.size_mm)
    draws = draw(rng, count)
    return BoxPlan(
        sizes=numbers.sizes,
        asked=asked,
        layout=layout,
        rip=rip,
        line_u_mm=layout.width_mm / layout.pitch_mm * numbers.corner.pitch_as_cut.sd,
        pitch_difference_mm=belief.pitch_difference.mean,
        boards=boards,
        groove_near_mm=near,
        groove_width_mm=groove,
        groove_depth_mm=depth,
        fence_mm=near + groove / 2.0,
        groove_a=on_a,
        groove_b=on_b,
        hidden_a=hidden_setbacks(layout, "A", groove, LEAST_SETBACK_MM, ROOM_MM),
        hidden_b=hidden_setbacks(layout, "B", groove, LEAST_SETBACK_MM, ROOM_MM),
        wall_left_mm=wall_left(thin, depth),
        question=depth_question(thin, depth),
        panel_x=panel_x,
        panel_y=panel_y,
        panel_given=numbers.given_panel is not None,
        panel_thickness_mm=numbers.panel_thickness.mean,
        season=numbers.season,
        sides=sides_through(layout.width_mm, numbers.sides_coefficient, numbers.season),
        lid=None if numbers.lid_height is None else lid_cut(layout, numbers.lid_height, numbers.kerf),
        chance=closing_chance(belief, draws),
        improvements=improvements(belief, draws),
    )


def _layout(numbers: BoxNumbers, width: float) -> Layout:
    first = lay_out(width, numbers.corner.pitch_as_cut.mean, numbers.corner.slot.mean)
    if numbers.second is None:
        return first
    return with_second(first, lay_out(width, numbers.second.pitch_as_cut.mean, numbers.second.slot.mean))


def _boards(numbers: BoxNumbers, width: float) -> tuple[Board, ...]:
    second = None if numbers.second is None else numbers.second.proud_wanted
    wanted = numbers.corner.proud_wanted
    return cut_list(numbers.sizes, numbers.thickness_a, numbers.thickness_b, wanted, width, second)


def _grooves(
    numbers: BoxNumbers, layout: Layout, boards: tuple[Board, ...]
) -> tuple[GrooveOnBoard, GrooveOnBoard]:
    """Where the groove falls on A and on B; the panel may be pushed to the bottom of the mate's groove."""
    near, groove, depth = numbers.setback.mean, numbers.groove.mean, numbers.depth.mean
    corners = (numbers.corner, numbers.second or numbers.corner)
    on_a, on_b = (
        _told_how_surely(
            numbers, layout, corner, place_groove(layout, board, near, groove, depth, corner.proud_wanted)
        )
        for board, corner in zip(boards[::2], corners, strict=True)
    )
    return on_a, on_b


def _told_how_surely(
    numbers: BoxNumbers, layout: Layout, corner: CornerNumbers, on: GrooveOnBoard
) -> GrooveOnBoard:
    """Add to a groove that runs through how surely it is not seen."""
    if on.stop is not None:
        return on
    near = Uncertain(numbers.setback.mean, float(np.hypot(numbers.setback.sd, numbers.setback_scatter)))
    return replace(on, unseen=unseen_chance(layout, on.board, near, numbers.groove, corner))


def _panel(numbers: BoxNumbers) -> tuple[PanelAcross, PanelAcross]:
    """Size and fits of the panel along the box and across it."""
    sizes, depth, given = numbers.sizes, numbers.depth.mean, numbers.given_panel
    along = numbers.coefficient if numbers.sheet else 0.0
    return (
        size_across(
            sizes.inner_length_mm,
            depth,
            numbers.slack,
            along,
            numbers.season,
            given=None if given is None else given.along_mm,
        ),
        size_across(
            sizes.inner_width_mm,
            depth,
            numbers.slack,
            numbers.coefficient,
            numbers.season,
            given=None if given is None else given.across_mm,
        ),
    )

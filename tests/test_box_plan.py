"""A whole box: planned on its ripped boards, on one or two setups, its panel made for it or there already."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from test_box import step_over_the_key, wood_taken_at_the_end

from calib.box.belief import box_belief
from calib.box.boards import sizes_from
from calib.box.closing import Uncertain, closing_chance, draw
from calib.box.drawing import draw_boards
from calib.box.numbers import BoxNumbers, CornerNumbers, GivenPanel
from calib.box.panel import Season
from calib.box.plan import plan_box
from calib.errors import CalibError
from calib.geometry.finger_boards import play_of_two_boards
from calib.geometry.groove import groove_walls, stopped_groove

CORNER = CornerNumbers(Uncertain(6.0, 0.01), Uncertain(0.07, 0.015), Uncertain(0.1, 0.03), 0.1, cutter="six")
BOX = BoxNumbers(
    sizes=sizes_from(250.0, 180.0, 102.0, 8.0, 8.0),
    thickness_a=8.0,
    thickness_b=8.0,
    corner=CORNER,
    depth=Uncertain(4.0, 0.05),
    setback=Uncertain(6.2, 0.05),
    groove=Uncertain(5.0, 0.03),
    panel_thickness=Uncertain(4.8, 0.05),
    season=Season(9.0, 7.0, 11.0),
)


def planned(numbers, count=100):
    return plan_box(numbers, np.random.default_rng(1), count)


def test_grooves_and_chances_are_worked_out_on_the_ripped_board():
    plan = planned(BOX)
    assert plan.asked.width_mm == 102.0
    assert (plan.asked.end, plan.asked.end_piece_mm) == ("part slot", pytest.approx(0.63, rel=0, abs=1e-9))
    assert plan.rip.rip_to_mm == pytest.approx(8 * 11.93 + 5.93, rel=0, abs=1e-9)
    assert plan.layout.width_mm == plan.rip.rip_to_mm
    assert plan.layout.end == "finger"
    assert (len(plan.asked.a_slots), len(plan.layout.a_slots)) == (9, 8)  # the sliver of a slot is ripped off
    assert {board.width_mm for board in plan.boards} == {plan.rip.leave_mm}


def test_a_thousand_planned_boxes_show_no_groove_need_every_stop_and_end_on_whole_fingers():
    rng = np.random.default_rng(20250302)
    showing = needless = stops = through = part_fingers = 0
    for n in range(1000):
        slot = rng.uniform(4.0, 9.0)
        clearance = rng.uniform(0.02, 0.15)
        pitch = 2 * slot - clearance
        thick = rng.uniform(11.0, 15.0)
        groove = rng.uniform(2.5, slot)
        height = pitch * rng.uniform(3.0, 12.0)
        near = rng.uniform(3.0, height - pitch - groove)
        if n % 3 == 0:  # right inside a slot of A or of B
            step = rng.integers(0, 2) * pitch
            near = step + rng.choice([pitch - slot, 0.0]) + rng.uniform(0.0, slot - groove)
        box = replace(
            BOX,
            sizes=sizes_from(300.0, 200.0, height, thick, thick),
            thickness_a=thick,
            thickness_b=thick,
            corner=replace(CORNER, slot=Uncertain(slot), clearance=Uncertain(clearance)),
            depth=Uncertain(rng.uniform(0.25, 0.45) * thick),
            setback=Uncertain(near),
            groove=Uncertain(groove),
            panel_thickness=Uncertain(groove - 0.2),
        )
        plan = planned(box)
        for first, on in (("finger", plan.groove_a), ("slot", plan.groove_b)):
            cut = step_over_the_key(pitch - slot, slot, plan.layout.width_mm, first)
            shows = wood_taken_at_the_end(cut, near, groove, plan.layout.width_mm) > 1e-6
            begins = -1.0 if on.stop is None else on.stop.axis_mm - groove / 2.0
            showing += shows and begins <= box.corner.proud_wanted
            needless += on.stop is not None and not shows
            stops += on.stop is not None
            through += on.stop is None
        cut = step_over_the_key(pitch - slot, slot, plan.layout.width_mm, "finger")
        rest = plan.layout.width_mm - cut[-1][1]
        whole = min(abs(rest), abs(rest - (pitch - slot))) < 1e-6
        part_fingers += not whole
    assert (showing, needless, part_fingers) == (0, 0, 0)
    assert stops > 1000
    assert through > 200


def test_the_fence_puts_the_groove_where_it_is_said_to_be():
    """B1 (D): F 12.00 and a slot of 6.35 give walls at 8.825 and 15.175."""
    plan = planned(replace(BOX, setback=Uncertain(8.825), groove=Uncertain(6.35)))
    assert plan.fence_mm == pytest.approx(12.0, rel=0, abs=0.001)
    assert groove_walls(plan.fence_mm, 6.35) == pytest.approx((8.825, 15.175), rel=0, abs=0.001)
    assert plan.groove_near_mm + plan.groove_width_mm == pytest.approx(15.175, rel=0, abs=0.001)


def test_a_stopped_groove_is_longer_than_its_travel_by_the_cutter():
    """B5 (D): 150 of travel with a slot of 6.35 is 156.35 long; so are the plan's own."""
    assert stopped_groove(150.0, 6.35) == pytest.approx((156.35, 150.0), rel=0, abs=0.001)
    plan = planned(replace(BOX, setback=Uncertain(5.0), groove=Uncertain(6.35)))
    for board, on in ((plan.boards[0], plan.groove_a), (plan.boards[2], plan.groove_b)):
        assert on.stop.overall_mm == pytest.approx(on.stop.travel_mm + 6.35, rel=0, abs=1e-9)
        assert on.stop.travel_mm == pytest.approx(board.length_mm - 2 * on.stop.axis_mm, rel=0, abs=1e-9)


def test_a_panel_that_is_there_is_told_its_play_and_its_hold():
    """B2 (D) along the width: 190 between 180 in grooves of 6 floats by 2, held by 5, at least 4."""
    box = replace(
        BOX,
        sizes=sizes_from(250.0, 204.0, 102.0, 12.0, 12.0),
        thickness_a=12.0,
        thickness_b=12.0,
        depth=Uncertain(6.0, 0.05),
        given_panel=GivenPanel(236.0, 190.0),
    )
    plan = planned(box)
    assert plan.panel_given
    assert plan.panel_y.made == pytest.approx((2.0, 5.0, 4.0), rel=0, abs=0.001)
    assert plan.panel_x.size_mm == 236.0
    assert box_belief(box, plan.layout, 236.0, 190.0).panel_x.sd == 0.05  # measured, not still to be cut


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"sizes": sizes_from(250.0, 180.0, 11.0, 8.0, 8.0)}, "narrower than two fingers"),
        ({"depth": Uncertain(8.5)}, "goes through stock of 8 mm"),
        ({"given_panel": GivenPanel(243.0, 171.0)}, "panel 243.00 mm is bigger than its grooves allow"),
        ({"panel_thickness": Uncertain(5.2)}, "panel 5.20 mm thick does not enter a groove 5.00 mm wide"),
        ({"lid_height": 101.0}, "leaves nothing below it"),
        ({"given_panel": GivenPanel(240.0, 163.0)}, "panel 163.00 mm does not reach into its grooves"),
        ({"depth": Uncertain(7.4), "setback": Uncertain(5.0)}, "no stop possible"),
    ],
)
def test_a_box_that_cannot_be_is_refused_in_one_line(change, said):
    with pytest.raises(CalibError, match=said) as caught:
        planned(replace(BOX, **change))
    assert "\n" not in str(caught.value)


def test_sides_and_a_solid_panel_are_seen_through_the_season():
    """190.086 across (B4, D) with 4 down and 3 up; sides of black cherry move as much as 0.00248 says."""
    plan = planned(
        replace(
            BOX,
            sizes=sizes_from(250.0, 204.0, 102.0, 12.0, 12.0),
            thickness_a=12.0,
            thickness_b=12.0,
            depth=Uncertain(6.0),
            season=Season(10.0, 6.0, 13.0),
            coefficient=0.00248,
            sheet=False,
            slack=0.5,
            sides_coefficient=0.00248,
        )
    )
    across = plan.panel_y
    assert across.size_mm == pytest.approx(190.086, rel=0, abs=0.002)
    assert across.wettest_mm == pytest.approx(190.086 * (1 + 3 * 0.00248), rel=0, abs=0.002)
    assert across.driest_mm == pytest.approx(190.086 * (1 - 4 * 0.00248), rel=0, abs=0.002)
    assert (across.driest.centred_mm, across.driest.least_mm) == pytest.approx((4.1, 2.2), rel=0, abs=0.002)
    assert plan.panel_x.wettest_mm == plan.panel_x.size_mm  # along the grain nothing moves
    made, driest, wettest = plan.sides
    assert made == plan.layout.width_mm
    assert (wettest - made, made - driest) == pytest.approx(
        (made * 3 * 0.00248, made * 4 * 0.00248), rel=0, abs=1e-9
    )
    assert planned(BOX).sides is None


def test_two_setups_are_believed_as_boards_that_are_cut_on_them():
    """Gaps are drawn, boards cut and joined: 100,000 corners against the belief made from both logs."""
    many = 100_000
    one, other = Uncertain(0.09, 0.03), Uncertain(0.06, 0.008)
    box = replace(
        BOX,
        corner=replace(CORNER, clearance=one, clearance_scatter=0.0),
        second=replace(CORNER, clearance=other, clearance_scatter=0.0),
    )
    plan = planned(box)
    belief = box_belief(box, plan.layout, plan.panel_x.size_mm, plan.panel_y.size_mm)
    rng = np.random.default_rng(4)
    slot = rng.normal(6.0, 0.01, many)  # one cutter
    gap_a, gap_b = slot - rng.normal(*one, many), slot - rng.normal(*other, many)
    clearance, step = slot - (gap_a + gap_b) / 2, gap_a - gap_b
    for believed, seen in ((belief.clearance, clearance), (belief.pitch_difference, step)):
        assert believed.mean == pytest.approx(seen.mean(), rel=0, abs=4 * seen.std() / many**0.5)
        assert believed.sd == pytest.approx(seen.std(), rel=0.01, abs=0)
    together = np.corrcoef(clearance, step)[0, 1]
    assert belief.pitch_with_clearance == pytest.approx(together, rel=0, abs=0.01)
    plays = [
        play_of_two_boards(a, s, b, s, belief.slots)
        for a, b, s in zip(gap_a[:20_000], gap_b[:20_000], slot[:20_000], strict=True)
    ]
    share = np.mean(np.array(plays) >= 0.0)
    found = closing_chance(belief, draw(np.random.default_rng(5), many)).corners
    error = np.sqrt(share * (1 - share) * (1 / 20_000 + 1 / many))
    assert 0.05 < share < 0.95
    assert found == pytest.approx(share, rel=0, abs=3 * error)


def test_another_cutter_for_the_second_setup_makes_its_pitch_less_certain():
    second = replace(CORNER, cutter="other six")
    plan = planned(replace(BOX, second=second))
    beliefs = [
        box_belief(replace(BOX, second=one), plan.layout, 241.0, 171.0).pitch_difference.sd
        for one in (CORNER, second)
    ]
    assert beliefs[0] == pytest.approx(0.015 * 2**0.5, rel=1e-9)
    assert beliefs[1] == pytest.approx((2 * 0.015**2 + 2 * 0.02**2) ** 0.5, rel=1e-9)


def test_boards_of_a_second_setup_have_its_lines_and_its_proud():
    second = replace(CORNER, clearance=Uncertain(0.05, 0.01), proud_wanted=0.2, proud=Uncertain(0.25, 0.03))
    plan = planned(replace(BOX, second=second))
    assert plan.pitch_difference_mm == pytest.approx(-0.02, rel=0, abs=1e-9)
    assert plan.layout.a_slots[2][1] == pytest.approx(3 * 11.93, rel=0, abs=1e-9)
    assert plan.layout.b_slots[2][0] == pytest.approx(2 * 11.95, rel=0, abs=1e-9)
    assert [board.length_mm for board in plan.boards] == pytest.approx([250.2, 250.2, 180.4, 180.4])
    assert [board.finger_depth_mm for board in plan.boards] == pytest.approx([8.1, 8.1, 8.2, 8.2])
    belief = box_belief(replace(BOX, second=second), plan.layout, 241.0, 171.0)
    assert belief.proud_error == (0.0, 0.03)
    assert belief.proud_error_y == pytest.approx((0.05, 0.03))


def test_every_corner_number_is_met_once_at_a_left_and_once_at_a_right_end_going_round():
    boards = planned(BOX).boards
    assert sorted(board.corners[0] for board in boards) == [1, 2, 3, 4]
    assert sorted(board.corners[1] for board in boards) == [1, 2, 3, 4]
    at = {board.place: board.corners for board in boards}
    # Anticlockwise from above: the right end of each board, seen from outside, is the left end of the next.
    going_round = ["front", "right end", "back", "left end", "front"]
    for here, there in pairwise(going_round):
        assert at[here][1] == at[there][0]


def test_drawn_boards_have_the_wood_that_the_cutter_leaves():
    plan = planned(replace(BOX, lid_height=28.0))
    for board, drawn in zip(plan.boards, draw_boards(plan), strict=True):
        x, y = np.array(drawn.outline).T
        area = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
        first = board.starts_with
        cut = step_over_the_key(5.93, 6.0, plan.layout.width_mm, first)
        gone = 2 * board.finger_depth_mm * sum(high - low for low, high in cut)
        assert area == pytest.approx(board.length_mm * plan.layout.width_mm - gone, rel=0, abs=1e-6)
        assert drawn.outline[0] == pytest.approx((board.finger_depth_mm if first == "slot" else 0.0, 0.0))
        assert (x.min(), x.max(), y.max()) == (0.0, board.length_mm, plan.layout.width_mm)
        on = plan.groove_a if board.label[0] == "A" else plan.groove_b
        along, across = drawn.groove
        assert across == (6.2, 11.2)
        if on.stop is None:
            assert (along, drawn.stop_marks, drawn.round_ends_mm) == ((0.0, board.length_mm), None, 0.0)
        else:
            assert along[1] - along[0] == pytest.approx(on.stop.overall_mm, rel=0, abs=1e-9)
            assert drawn.stop_marks[0] - along[0] == drawn.round_ends_mm == 2.5
        assert drawn.lid_line == (plan.lid.line_mm, plan.lid.line_mm + 1.0)
    assert {plan.groove_a.stop is None, plan.groove_b.stop is None} == {True, False}


def test_the_uncertainty_of_a_line_is_that_of_all_pitches_up_to_it():
    rng = np.random.default_rng(3)
    slots, clearances = rng.normal(6.0, 0.01, 100_000), rng.normal(0.07, 0.015, 100_000)
    lines = 8.5 * (2 * slots - clearances)
    assert planned(BOX).line_u_mm == pytest.approx(lines.std(), rel=0.02, abs=0)


@pytest.mark.parametrize(("near", "board"), [(6.2, "A"), (30.1, "A"), (0.4, "B"), (24.3, "B"), (36.7, "B")])
def test_the_chance_that_a_groove_is_not_seen_is_the_share_of_boards_on_which_it_is_not(near, board):
    """Slots and grooves are cut 100,000 times over, as uncertain as they are said to be."""
    many = 100_000
    box = replace(BOX, setback=Uncertain(near, 0.15), groove=Uncertain(5.0, 0.1))
    plan = planned(box)
    on = plan.groove_a if board == "A" else plan.groove_b
    rng = np.random.default_rng(7)
    slot, clearance = rng.normal(6.0, 0.01, many), rng.normal(0.07, 0.015, many)
    wall = rng.normal(near, np.hypot(0.15, box.setback_scatter), many)
    far = wall + rng.normal(5.0, 0.1, many)
    at, gap = (0.0 if board == "A" else -(slot - clearance)), slot - clearance
    inside = np.zeros(many, bool)
    for _ in range(8):  # step over the key, every board on its own gap and slot
        begin, end = at + gap, at + gap + slot
        inside |= (wall >= np.where(begin < 1e-9, -1.0, begin)) & (far <= end)
        at = end
    share, bound = inside.mean(), on.unseen
    error = 3.0 * np.sqrt(share * (1 - share) / many)
    assert 0.3 < share < 0.9999
    assert bound == pytest.approx(share, rel=0, abs=error + 0.01)
    assert bound <= share + error

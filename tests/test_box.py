"""Boards, fingers, grooves and panel of a box: against slots cut one by one, and against the trade's numbers.

D = derived for this project and checked by simulation; S = published source named beside it.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from calib.box.boards import cut_list, sizes_from
from calib.box.groove import check_groove, groove_on_board, hidden_setbacks, place_groove, stop_marks
from calib.box.layout import lay_out, lid_cut, rip_plan
from calib.box.panel import Season, size_across
from calib.box.square import out_of_square
from calib.errors import CalibError
from calib.geometry.finger_boards import width_end
from calib.geometry.inlay import gap_for_corner
from calib.wood import coefficients, equilibrium_moisture, movement

BOXES = 1000


def step_over_the_key(gap, slot, width, first):
    """Cut a board slot by slot: on the machine the key's near face is 0, the cutter gap to gap + slot."""
    board_at_key = 0.0 if first == "finger" else -gap  # B's edge butts against A's, one gap from the key
    slots = []
    while board_at_key + gap < width - 1e-7:
        begin, end = board_at_key + gap, board_at_key + gap + slot
        slots.append((begin, min(end, width)))
        board_at_key = end  # the wall nearer the cutter stops on the near face
    return slots


def wood_taken_at_the_end(slots, near, groove, width):
    """End grain that a groove takes out of fingers, mm; exact: every piece between two lines is asked."""
    lines = sorted({0.0, width, near, near + groove, *(mm for span in slots for mm in span)})
    taken = 0.0
    for low, high in pairwise(lines):
        middle = (low + high) / 2.0
        in_slot = any(a < middle < b for a, b in slots)
        if near < middle < near + groove and not in_slot and middle < width:
            taken += high - low
    return taken


def random_boxes():
    """Boxes, one in four with a groove wall on a finger line, one in four ending on a whole finger."""
    rng = np.random.default_rng(20250301)
    for n in range(BOXES):
        slot = rng.uniform(3.0, 12.7)
        gap = slot - rng.uniform(0.0, 0.2)
        pitch = gap + slot
        width = pitch * rng.uniform(1.5, 14.0)
        if n % 4 == 1:
            width = pitch * rng.integers(2, 14) + gap * rng.integers(0, 2)
        groove = rng.uniform(2.0, slot)
        near = rng.uniform(0.5, width - groove - 0.1)
        if n % 4 == 2:
            near = min(gap, width - groove)
        if n % 4 == 3:
            near = max(0.0, min(pitch - groove, width - groove))
        yield gap, slot, width, near, groove, rng


def test_fingers_and_slots_of_a_thousand_boxes_are_where_the_cutter_leaves_them():
    for gap, slot, width, *_ in random_boxes():
        found = lay_out(width, gap + slot, slot)
        for slots, fingers, first in (
            (found.a_slots, found.a_fingers, "finger"),
            (found.b_slots, found.b_fingers, "slot"),
        ):
            cut = step_over_the_key(gap, slot, width, first)
            assert len(slots) == len(cut)
            np.testing.assert_allclose(np.array(slots), np.array(cut), rtol=0, atol=1e-6)
            covered = sum(high - low for low, high in (*slots, *fingers))
            assert covered == pytest.approx(width, rel=0, abs=1e-6)


def test_no_groove_shows_and_no_stop_is_needless_on_a_thousand_boxes():
    showing = needless = stopped = ran_through = 0
    for gap, slot, width, near, groove, rng in random_boxes():
        layout = lay_out(width, gap + slot, slot)
        thick, proud = rng.uniform(9.0, 15.0), rng.uniform(0.0, 0.3)
        depth = rng.uniform(0.25, 0.5) * thick
        sizes = sizes_from(300.0, 200.0, width, thick, thick)
        for board in cut_list(sizes, thick, thick, proud, width)[::2]:
            found = place_groove(layout, board, near, groove, depth - 0.5, proud)
            slots = step_over_the_key(gap, slot, width, board.starts_with)
            would_show = wood_taken_at_the_end(slots, near, groove, width) > 1e-6
            groove_begins = found.stop.axis_mm - groove / 2.0 if found.stop else -groove
            showing += would_show and groove_begins <= proud
            needless += found.stop is not None and not would_show
            stopped += found.stop is not None
            ran_through += found.stop is None
    assert (showing, needless) == (0, 0)
    assert stopped > 500
    assert ran_through > 100


def test_a_stopped_groove_lets_the_panel_in_and_leaves_wood_outside():
    stop = stop_marks(250.2, finger_depth=8.1, proud=0.1, cutter=6.0, reach=3.5)
    assert stop.axis_mm == pytest.approx(4.6, rel=0, abs=1e-9)  # 8.1 - 3.5, and 4.6 - 3 - 0.1 = 1.5 is enough
    assert stop.end_wood_mm == pytest.approx(1.5, rel=0, abs=1e-9)
    assert stop.square_mm == 0.0
    assert stop.travel_mm == pytest.approx(250.2 - 2 * 4.6, rel=0, abs=1e-9)
    wide = stop_marks(250.2, finger_depth=8.1, proud=0.1, cutter=8.0, reach=3.5)
    assert wide.end_wood_mm == pytest.approx(1.0, rel=0, abs=1e-9)
    assert wide.square_mm == pytest.approx(0.5, rel=0, abs=1e-9)  # 5.1 - 4.6


def test_where_whole_fingers_are_promised_the_cut_slots_end_on_them():
    for gap, slot, width, *_ in random_boxes():
        found = lay_out(width, gap + slot, slot)
        assert found.whole_below_mm - 1e-9 <= width <= found.whole_above_mm + 1e-9
        for whole in (found.whole_below_mm, found.whole_above_mm):
            if whole < gap + slot:
                continue
            ends = [step_over_the_key(gap, slot, whole, first)[-1] for first in ("finger", "slot")]
            a_rest, b_rest = (whole - end for _, end in ends)
            full = [n for n in (a_rest, b_rest) if n == pytest.approx(gap, rel=0, abs=1e-6)]
            assert len(full) == 1, whole  # one board ends in a whole finger, the mate in the slot for it
            assert lay_out(whole, gap + slot, slot).whole


def test_a_groove_set_in_a_hidden_range_runs_through_unseen():
    layout = lay_out(99.0, 12.0, 6.05)
    for board in ("A", "B"):
        for low, high in hidden_setbacks(layout, board, 5.0):
            for near in (low, high):
                assert not groove_on_board(layout, board, near, 5.0).shows
            assert groove_on_board(layout, board, high + 0.01, 5.0).shows


def test_a_rip_goes_to_the_nearer_finger_line_with_wood_to_spare():
    found = rip_plan(lay_out(100.0, 12.0, 6.0), spare=3.0)
    assert found == (105.0, 102.0, 17)  # 8 pitches and one finger: 96 + 6, the 17th line
    assert rip_plan(lay_out(98.0, 12.0, 6.0)).rip_to_mm == 96.0


def test_a_lid_is_sawn_at_a_finger_line_and_all_of_the_width_is_accounted_for():
    layout = lay_out(102.0, 12.0, 6.0)
    found = lid_cut(layout, lid_height=28.0, kerf=2.0)
    assert found.line_mm in (66.0, 72.0, 78.0)
    assert found.body_mm + 2.0 + found.lid_mm == pytest.approx(102.0, rel=0, abs=1e-9)
    assert abs(found.lid_mm - 28.0) <= 3.0
    assert found.finger_left_mm == pytest.approx(4.0, rel=0, abs=1e-9)


def test_board_lengths_leave_the_proud_on_both_ends():
    """A15 (D): a board of 250 with fingers 12.4 deep into 12 mm stock seats to 249.2 and 225.2."""
    sizes = sizes_from(249.2, 180.0, 100.0, 12.0, 12.0)
    long_board, _, short_board, _ = cut_list(sizes, 12.0, 12.0, 0.4, 100.0)
    assert long_board.length_mm == pytest.approx(250.0, rel=0, abs=0.001)
    assert long_board.finger_depth_mm == pytest.approx(12.4, rel=0, abs=0.001)
    assert sizes.inner_length_mm == pytest.approx(225.2, rel=0, abs=0.001)
    assert (long_board.starts_with, short_board.starts_with) == ("finger", "slot")
    assert sizes_from(225.2, 156.0, 100.0, 12.0, 12.0, "inside")[:2] == pytest.approx((249.2, 180.0))


def test_every_corner_joins_a_board_that_starts_with_a_finger_and_one_that_starts_with_a_slot():
    boards = cut_list(sizes_from(250, 180, 100, 8, 8), 8, 8, 0.1, 100)
    for corner in (1, 2, 3, 4):
        assert {b.starts_with for b in boards if corner in b.corners} == {"finger", "slot"}
        assert sum(b.corners[0] == corner for b in boards) == 1  # one first end at every corner


def test_a_board_of_130_ends_in_part_of_a_slot():
    """A18 (D)."""
    end = width_end(130.0, 19.05, 9.60)
    assert (end.pitches, *end[1:]) == pytest.approx((6, 15.70, 9.45, 6.25), rel=0, abs=0.001)
    layout = lay_out(130.0, 19.05, 9.60)
    assert layout.end == "part slot"
    assert layout.end_piece_mm == pytest.approx(6.25, rel=0, abs=0.001)


def test_a_solid_panel_is_sized_for_its_wettest_and_seen_on_its_driest_day():
    """B4 (D), with CT of black cherry (S: Wood Handbook, FPL-GTR-190, table 13-5)."""
    rate = coefficients("black cherry").tangential
    found = size_across(180.0, 6.0, 0.5, rate, Season(10.0, 6.0, 13.0))
    assert found.size_mm == pytest.approx(190.086, rel=0, abs=0.002)
    assert found.wettest.float_mm == pytest.approx(0.5, rel=0, abs=0.002)
    assert found.driest.centred_mm == pytest.approx(4.100, rel=0, abs=0.002)
    assert found.driest.least_mm == pytest.approx(2.20, rel=0, abs=0.002)


def test_a_panel_of_190_between_180_floats_by_2():
    """B2 (D) and B3 (S as above: 190 mm of black cherry grow 1.885 over 4 points)."""
    found = size_across(180.0, 6.0, 1.0, 0.00248, Season(8.0, 8.0, 12.0), given=190.0)
    assert found.made == pytest.approx((2.0, 5.0, 4.0), rel=0, abs=0.001)
    assert found.made.float_mm - found.wettest.float_mm == pytest.approx(1.885, rel=0, abs=0.002)


def test_a_groove_half_a_millimetre_deeper_each_side_leaves_one_of_play():
    """Common practice, no source."""
    assert size_across(234.0, 4.0, 1.0, 0.0, Season(9.0, 9.0, 9.0)).size_mm == 234.0 + 2 * 3.5


def test_a_square_insert_corner_needs_the_gap_of_the_trade():
    """C4, C6 (D)."""
    assert gap_for_corner(3.175) == pytest.approx(0.9299, rel=0, abs=0.0005)
    assert gap_for_corner(1.5875, 1.0) == pytest.approx(0.1721, rel=0, abs=0.0005)


def test_black_walnut_through_a_year_of_humidity():
    """D6 (S: Wood Handbook, eq. 4-5 and 13-2)."""
    dry, wet = (equilibrium_moisture(21.1, humidity) for humidity in (40, 65))
    rate = coefficients("black walnut").tangential
    assert movement(120.0, rate, dry, wet) == pytest.approx(1.400, rel=0, abs=0.02)


@pytest.mark.parametrize(
    ("length", "width", "difference", "angle", "over_width", "over_length"),
    [(300.0, 200.0, 1.0, 0.17215, 0.601, 0.901), (250.0, 250.0, 0.5, 0.08103, 0.354, 0.354)],
)
def test_diagonals_tell_angle_and_gap(length, width, difference, angle, over_width, over_length):
    """I1, I3 (D)."""
    d = math.hypot(length, width)
    found = out_of_square(length, width, d - difference / 2, d + difference / 2)
    assert found.angle_deg == pytest.approx(angle, rel=0, abs=0.00002)
    assert found.gap_over_width_mm == pytest.approx(over_width, rel=0, abs=0.001)
    assert found.gap_over_length_mm == pytest.approx(over_length, rel=0, abs=0.001)
    assert (found.squeeze, found.shorten_by_mm) == ("second", pytest.approx(difference / 2))


def test_diagonals_of_a_leaning_parallelogram_give_its_lean_back():
    length, width, lean = 310.0, 140.0, math.radians(1.3)
    corner = np.array([width * math.sin(lean), width * math.cos(lean)])
    long_one, short_one = np.hypot(length + corner[0], corner[1]), np.hypot(length - corner[0], corner[1])
    found = out_of_square(length, width, float(long_one), float(short_one))
    assert found.angle_deg == pytest.approx(1.3, rel=0, abs=1e-9)
    assert found.squeeze == "first"


@pytest.mark.parametrize(
    ("attempt", "said"),
    [
        (lambda: lay_out(11.0, 12.0, 6.0), "narrower than two fingers"),
        (lambda: lay_out(100.0, 6.0, 6.0), "leaves no finger"),
        (lambda: check_groove(100.0, 5.0, 6.0, 8.0, 8.0), "goes through stock"),
        (lambda: check_groove(100.0, 97.0, 6.0, 4.0, 8.0), "is not inside a board"),
        (lambda: size_across(180.0, 6.0, 0.5, 0.0, Season(9, 9, 9), given=193.0), "bigger than its"),
        (lambda: size_across(180.0, 0.2, 0.5, 0.0, Season(9.0, 9.0, 9.0)), "does not reach"),
        (lambda: stop_marks(250.0, 8.0, 0.1, 6.0, 7.5), "no stop possible"),
        (lambda: stop_marks(9.0, 8.0, 0.1, 6.0, 3.5), "no stop possible"),
        (lambda: lid_cut(lay_out(102.0, 12.0, 6.0), 28.0, 6.5), "takes a whole finger"),
        (lambda: sizes_from(15.0, 100.0, 50.0, 8.0, 8.0), "leaves nothing inside"),
        (lambda: cut_list(sizes_from(250, 180, 100, 8, 8), 8, 8, -0.1, 100), "below the surface"),
        (lambda: out_of_square(300.0, 200.0, 460.0, 360.0), "cannot belong"),
    ],
)
def test_an_impossible_box_gets_one_clear_line(attempt, said):
    with pytest.raises(CalibError, match=said) as caught:
        attempt()
    assert "\n" not in str(caught.value)

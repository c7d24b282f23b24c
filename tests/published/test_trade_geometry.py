"""Check rows of the trade's geometry: A finger joint, B groove and panel, C inlay, F4 and G of the cutter.

Labels: D = derived (no outside source; the seat formulas are also cut slot by slot in
``test_geometry_finger.py``); S = published source, named beside the row. Lengths are mm.
"""

from __future__ import annotations

import pytest

from calib.geometry import cutter, finger, finger_boards, finger_faults, groove, inlay

# USDA Forest Products Laboratory, Wood Handbook, FPL-GTR-190 (2010), Table 13-5:
# black cherry, flat-sawn. Label S.
CHERRY_CT = 0.00248


def test_a1_slots_of_a_board_seated_away():
    # A1, label D
    board = finger_boards.cut_slots(gap=9.45, slot=9.60, key=9.55, width=100.0, seat="away")
    slots = [(9.45, 19.05), (28.50, 38.10), (47.55, 57.15), (66.60, 76.20), (85.65, 95.25)]
    assert [mm for one in board.slots_mm for mm in one] == pytest.approx(
        [mm for one in slots for mm in one], rel=0, abs=0.001
    )
    assert board.fingers_mm == pytest.approx([9.45] * 5, rel=0, abs=0.001)
    assert board.last_piece_mm == pytest.approx(4.75, rel=0, abs=0.001)
    assert finger.pitch(9.45, 9.60, 9.55) == pytest.approx(19.05, rel=0, abs=0.001)
    assert finger.pair_clearance(9.45, 9.60, 9.55) == pytest.approx(0.15, rel=0, abs=0.001)


def test_a3_a_gap_wider_than_the_slot_does_not_assemble():
    # A3, label D
    assert finger.pair_clearance(6.36, 6.30, 6.25) == pytest.approx(-0.06, rel=0, abs=0.001)
    assert not finger.assembles(finger.play(6.36, 6.30))


def test_a4_the_key_moves_toward_the_cutter_by_what_is_missing():
    # A4, label D: from A3 to a clearance of +0.10; a negative move is toward the cutter
    move = finger.key_move(measured=-0.06, target=0.10)
    assert move == pytest.approx(-0.16, rel=0, abs=0.001)
    gap = 6.36 + move
    assert gap == pytest.approx(6.20, rel=0, abs=0.001)
    assert finger.pitch(gap, 6.30, 6.25) == pytest.approx(12.50, rel=0, abs=0.001)
    assert finger.play(gap, 6.30) == pytest.approx(0.10, rel=0, abs=0.001)
    assert finger.assembles(finger.play(gap, 6.30))


@pytest.mark.parametrize(
    ("gap_b", "slots", "play"),
    [(9.46, 5, 0.11), (9.46, 8, 0.08), (9.46, 12, 0.04), (9.44, 5, 0.12), (9.44, 8, 0.09), (9.44, 12, 0.05)],
)
def test_a8_two_boards_on_two_settings_lose_play_with_every_slot(gap_b, slots, play):
    # A8, label D
    assert finger_boards.play_of_two_boards(9.45, 9.60, gap_b, 9.60, slots) == pytest.approx(
        play, rel=0, abs=0.001
    )


def test_a10_one_chip_under_one_seat():
    # A10, label D: clearance 0.15 from g 9.45, s 9.60
    narrowed, play = finger_faults.chipped_seat(9.45, 9.60, 9.55, chip=0.08, seat="away")
    assert narrowed == pytest.approx(9.37, rel=0, abs=0.001)
    assert play == pytest.approx(0.07, rel=0, abs=0.001)


def test_a11_random_seating_of_both_boards():
    # A11, label D
    assert finger_faults.seating_sd(0.015, 10) == pytest.approx(0.0671, rel=0, abs=0.001)


def test_a12_lean_takes_play_on_both_boards():
    # A12, label D
    left = finger_faults.play_when_leaning(0.15, 12.0, 12.0, 0.25, 0.25)
    assert left == pytest.approx(0.0453, rel=0, abs=0.0002)


def test_a15_height_gives_proud_outer_and_inner_size():
    # A15, label D
    assert finger.depth_fit(length=250.0, thickness=12.0, height=12.4) == pytest.approx(
        (0.4, 249.2, 225.2), rel=0, abs=0.001
    )


def test_a18_a_width_that_ends_inside_a_slot():
    # A18, label D
    end = finger_boards.width_end(130.0, 19.05, 9.60)
    assert end.pitches == 6
    assert (end.over_mm, end.finger_mm, end.of_slot_mm) == pytest.approx(
        (15.70, 9.45, 6.25), rel=0, abs=0.001
    )


def test_b1_groove_walls():
    # B1, label D
    assert groove.groove_walls(12.0, 6.35) == pytest.approx((8.825, 15.175), rel=0, abs=0.001)


def test_b2_panel_in_its_grooves():
    # B2, label D
    assert groove.panel_fit(180.0, 6.0, 190.0) == pytest.approx((2.0, 5.0, 4.0), rel=0, abs=0.001)


def test_b3_a_flat_sawn_cherry_panel_grows():
    # B3, label S: Wood Handbook eq. 13-2 with the coefficient above
    assert groove.moved_size(190.0, CHERRY_CT, 4.0) - 190.0 == pytest.approx(1.885, rel=0, abs=0.002)


def test_b4_the_panel_to_make_and_how_it_sits_when_driest():
    # B4, label D
    panel = groove.panel_size(180.0, 6.0, slack=0.5, coefficient=CHERRY_CT, points_up=3.0)
    assert panel == pytest.approx(190.086, rel=0, abs=0.002)
    driest = groove.driest_fit(180.0, 6.0, panel, CHERRY_CT, points_down=4.0)
    assert driest.centred_mm == pytest.approx(4.100, rel=0, abs=0.002)
    assert driest.least_mm == pytest.approx(2.20, rel=0, abs=0.002)


def test_b5_stopped_groove():
    # B5, label D
    assert groove.stopped_groove(150.0, 6.35) == pytest.approx((156.35, 150.0), rel=0, abs=0.001)


def test_c1_a_thin_cutter_makes_a_small_pocket_and_a_large_insert():
    # C1, label D: sizes relative to the drawing
    assert inlay.pocket_across(0.0, cut=3.100, typed=3.175) == pytest.approx(-0.075, rel=0, abs=0.001)
    assert inlay.insert_across(0.0, cut=3.100, typed=3.175) == pytest.approx(0.075, rel=0, abs=0.001)
    assert inlay.total_gap(0.0, cut=3.100, typed=3.175) == pytest.approx(-0.150, rel=0, abs=0.001)


def test_c2_the_diameter_to_type_when_both_parts_are_cut_again():
    # C2, label D
    assert inlay.diameter_to_type(3.175, -0.150, 0.10, "both") == pytest.approx(3.050, rel=0, abs=0.001)


@pytest.mark.parametrize(("fillet", "corner", "gap"), [(3.175, 0.0, 0.9299), (1.5875, 1.0, 0.1721)])
def test_c4_c6_the_gap_a_corner_needs(fillet, corner, gap):
    # C4 and C6, label D
    assert inlay.gap_for_corner(fillet, corner) == pytest.approx(gap, rel=0, abs=0.0005)


def test_f4_a_shim_under_a_pivoted_base():
    # F4, label D
    moved = cutter.move_at_cutter(0.10, pivot_to_cutter=250.0, pivot_to_shim=400.0)
    assert moved == pytest.approx(0.0625, rel=0, abs=0.0005)


def test_g2_runout_widens_the_slot_by_the_indicator_reading():
    # G2, label D
    assert cutter.indicator_reading(0.025) == pytest.approx(0.050, rel=0, abs=0.001)
    assert cutter.slot_with_runout(9.525, 0.025) == pytest.approx(9.575, rel=0, abs=0.001)


@pytest.mark.parametrize(("seat", "clearance"), [("away", -0.030), ("toward", -0.050)])
def test_g4_recession_with_the_key_untouched(seat, clearance):
    # G4, label D: recession 0.010; the slot loses 0.020, the gap gains 0.010
    recession = 0.010
    assert cutter.slot_after_wear(9.60, recession) - 9.60 == pytest.approx(-0.020, rel=0, abs=0.001)
    slopes = finger.recession_slopes(seat, "axis")
    assert slopes["slot"] * recession == pytest.approx(-0.020, rel=0, abs=0.001)
    assert slopes["play"] * recession == pytest.approx(-0.030, rel=0, abs=0.001)
    assert slopes["clearance"] * recession == pytest.approx(clearance, rel=0, abs=0.001)


@pytest.mark.parametrize(
    ("seat", "holds", "clearance", "play"),
    [
        ("away", "gap", -2.0, -2.0),
        ("toward", "gap", -4.0, -2.0),
        ("away", "axis", -3.0, -3.0),
        ("toward", "axis", -5.0, -3.0),
    ],
)
def test_slope_to_the_cutter_depends_on_what_is_held(seat, holds, clearance, play):
    # Section A's table, label D: dc/ds times ds/dr = -2
    slopes = finger.recession_slopes(seat, holds)
    assert (slopes["clearance"], slopes["play"]) == (clearance, play)

"""Finger joint: the formulas against a jig that is worked slot by slot, and what `describe` makes of them.

The jig here knows nothing of pitch, finger or clearance. It drops the last slot over the key, pushes the
board to its seat, cuts, and lays the two boards together; everything else is measured on them.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import CalibError
from calib.geometry import describe, finger, finger_boards, finger_faults
from calib.measurement.derived import Raw, derive, factors_of
from calib.shop import Adjuster, Band, Cutter, Joint, Setup

READINGS = ("slot", "pitch", "finger", "clearance", "play")


# --- the jig -----------------------------------------------------------------------------------------


def board_edge_at(slots, key, seat):
    """Where the board's first edge lies with its last slot on the key; near face at 0, far face at -key."""
    if not slots:
        return 0.0
    left, right = slots[-1]
    if seat == "away":
        return 0.0 - right
    return -key - (
        left if left > 0.0 else 0.0
    )  # a slot that is open to the edge: the edge meets the far face


def cut_board_a(gap, slot, key, seat, count, chip_before=None, chip=0.0):
    slots = []
    for number in range(count):
        edge = board_edge_at(slots, key, seat)
        if number == chip_before:
            edge += -chip if seat == "toward" else chip
        slots.append((gap - edge, gap + slot - edge))
    return slots


def cut_board_b(gap, slot, key, seat, count, mate):
    """Board B butts against the edge of its mate, which hangs turned round on the key by its first slot."""
    left, right = mate[0]
    edge = left if seat == "away" else -key + right
    slots = [(max(0.0, gap - edge), gap + slot - edge)]
    while len(slots) < count:
        edge = board_edge_at(slots, key, seat)
        slots.append((gap - edge, gap + slot - edge))
    return slots


def side_float(a, b):
    """How far B can be shifted along A: finger j of B lies between fingers j and j + 1 of A.

    The boards end on the line of A's last slot, so B's last finger is held on one side only.
    """
    a_fingers = list(zip([0.0, *(right for _, right in a)], [left for left, _ in a], strict=False))
    b_fingers = list(zip([right for _, right in b], [*(left for left, _ in b[1:]), math.inf], strict=True))
    least = max(a_end - b_start for (_, a_end), (b_start, _) in zip(a_fingers, b_fingers, strict=True))
    most = min(
        a_start - b_end for (a_start, _), (_, b_end) in zip(a_fingers[1:], b_fingers[:-1], strict=True)
    )
    return most - least


def measure(gap, slot, key, seat):
    a = cut_board_a(gap, slot, key, seat, 6)
    b = cut_board_b(gap, slot, key, seat, 6, a)
    later_finger = a[3][0] - a[2][1]
    return {
        "slot": a[2][1] - a[2][0],
        "pitch": a[3][0] - a[2][0],
        "finger": later_finger,
        "clearance": (b[2][1] - b[2][0]) - later_finger,
        "play": side_float(a, b),
    }


microns = st.integers(4000, 12000).map(lambda um: um / 1000.0)
slacks = st.integers(0, 300).map(lambda um: um / 1000.0)
seats = st.sampled_from(["away", "toward"])


def exactly(mm):
    return pytest.approx(mm, rel=0, abs=1e-9)


# --- the formulas ------------------------------------------------------------------------------------


@given(microns, microns, slacks, seats)
def test_formulas_agree_with_the_jig(gap, slot, slack, seat):
    key = slot - slack
    seen = measure(gap, slot, key, seat)
    assert finger.pitch(gap, slot, key, seat) == exactly(seen["pitch"])
    assert finger.finger_width(gap, slot, key, seat) == exactly(seen["finger"])
    assert finger.pair_clearance(gap, slot, key, seat) == exactly(seen["clearance"])
    assert finger.play(gap, slot) == exactly(seen["play"])


@given(microns, microns, slacks, seats, st.sampled_from(["finger", "slot"]), st.integers(30, 200))
def test_a_whole_board_agrees_with_the_jig(gap, slot, slack, seat, starts, width):
    key = slot - slack
    cut = cut_board_a(gap, slot, key, seat, 60)
    if starts == "slot":
        cut = cut_board_b(gap, slot, key, seat, 60, cut)
    expected = [(left, min(right, width)) for left, right in cut if left < width]
    board = finger_boards.cut_slots(gap, slot, key, float(width), seat, starts)
    assert [mm for one in board.slots_mm for mm in one] == exactly([mm for one in expected for mm in one])
    assert board.last_piece_mm == exactly(width - expected[-1][1])
    wood = sum(board.fingers_mm) + board.last_piece_mm
    assert wood + sum(right - left for left, right in board.slots_mm) == exactly(width)


@given(microns, microns, slacks, st.integers(-60, 60), st.integers(-60, 60), st.integers(2, 12))
def test_two_settings_agree_with_the_jig(gap, slot, slack, gap_um, slot_um, count):
    key = slot - slack - 0.06
    gap_b, slot_b = gap + gap_um / 1000.0, slot + slot_um / 1000.0
    a = cut_board_a(gap, slot, key, "away", count)
    b = cut_board_a(gap_b, slot_b, key, "away", count)
    b = [(left - gap_b, right - gap_b) for left, right in b]  # starts with a slot
    assert finger_boards.play_of_two_boards(gap, slot, gap_b, slot_b, count) == exactly(side_float(a, b))


@given(microns, microns, slacks, st.integers(1, 200), seats)
def test_a_chip_under_a_seat_agrees_with_the_jig(gap, slot, slack, chip_um, seat):
    key, chip = slot - slack, chip_um / 1000.0
    a = cut_board_a(gap, slot, key, seat, 6, chip_before=3, chip=chip)
    b = cut_board_b(gap, slot, key, seat, 6, a)
    seen = (a[3][0] - a[2][1], side_float(a, b))
    assert finger_faults.chipped_seat(gap, slot, key, chip, seat) == exactly(seen)


@given(microns, microns, st.integers(0, 9000).map(lambda um: um / 1000.0))
def test_boards_cut_together_agree_with_one_cut_through_both(gap, slot, lead):
    # B's edge stands `lead` nearer the cutter, so a cut at x lies at x - lead in B
    a_slot = (gap, gap + slot)
    b_finger = (gap + slot - lead, gap + slot + gap - lead)  # between the first cut and the next
    beyond, before = a_slot[1] - b_finger[1], b_finger[0] - a_slot[0]  # edges flush
    first, second, edge_step = finger_boards.boards_cut_together(gap, slot, lead)
    assert (first, second) == exactly((beyond, before))
    shifted = (before + edge_step, beyond - edge_step)  # B pushed along by the step: its fingers are centred
    assert shifted[0] == exactly(shifted[1])


def test_outside_jaws_give_the_same_clearance_and_a_zero_error_shifts_it_by_two():
    gap, slot, z = 9.45, 9.60, 0.02
    a = cut_board_a(gap, slot, 9.55, "away", 11)
    over_all = a[10][0] - 0.0  # outside of finger 0 to outside of finger 10: ten pitches and one finger
    factors = factors_of("clearance", ("over", "finger"), 10)

    def clearance(zero):
        raws = {"over": Raw((over_all + zero,), 0.02), "finger": Raw((gap + zero,), 0.01)}
        return derive(raws, factors, "clearance")

    assert clearance(0.0).value_mm == exactly(0.15)
    assert clearance(z).value_mm - clearance(0.0).value_mm == exactly(-2.0 * z)
    assert clearance(0.0).u_mm == pytest.approx(math.hypot(0.02 / 10, 2.1 * 0.01), rel=1e-12)


@given(microns, microns, st.integers(20, 300))
def test_the_width_beside_a_board_ends_on_a_finger_line(gap, slot, width):
    below, above = finger_boards.whole_widths(float(width), gap + slot, slot)
    assert below - 1e-6 <= width <= above + 1e-6
    for mark in (below, above):
        end = finger_boards.width_end(mark, gap + slot, slot)
        assert min(end.over_mm, abs(end.over_mm - gap)) == pytest.approx(0.0, abs=1e-6)


def test_a_seat_left_to_chance_spreads_evenly_over_the_slack():
    assert finger_faults.seat_left_to_chance(9.60, 9.54) == pytest.approx(0.06 / math.sqrt(12.0), rel=1e-12)


def test_a_key_that_does_not_enter_is_refused():
    with pytest.raises(CalibError, match=r"key 9\.7 mm does not enter a slot of 9\.6 mm"):
        finger.pair_clearance(9.45, 9.60, 9.70, "toward")


def test_a_gap_that_leaves_no_finger_is_refused():
    with pytest.raises(CalibError, match="leaves no finger"):
        finger_boards.cut_slots(0.04, 6.0, 5.95, 100.0, "toward")


# --- what the statistics are told ------------------------------------------------------------------


def corners(seat="away", holds="axis", readings=READINGS, **joint):
    return Setup(
        "corners",
        Joint("finger", seat=seat, holds=holds, key_width_mm=5.9, thickness_mm=8.0, **joint),
        tuple(Band(name, 0.07, 0.03, 0.12) for name in readings),
        (Adjuster("key"), Adjuster("height")),
        Cutter("spiral-6", 6.0),
    )


@pytest.mark.parametrize("seat", ["away", "toward"])
def test_nominal_readings_are_what_the_jig_cuts(seat):
    model = describe(corners(seat), {"key": 6.14, "height": 8.2})
    seen = measure(6.14, 6.0, 5.9, seat)
    assert dict(model.nominal_mm) == exactly(seen)
    assert model.from_geometry == set(READINGS)


@given(seats, st.sampled_from(["axis", "gap"]), microns)
def test_slopes_are_the_finite_differences_of_the_jig(seat, holds, gap):
    model = describe(corners(seat, holds), {"key": gap, "height": 8.2})
    step = 0.01
    before, moved = measure(gap, 6.0, 5.9, seat), measure(gap + step, 6.0, 5.9, seat)
    worn = measure(gap + (step if holds == "axis" else 0.0), 6.0 - 2.0 * step, 5.9, seat)
    for reading in READINGS:
        assert model.slopes[reading]["key"] == pytest.approx(
            (moved[reading] - before[reading]) / step, abs=1e-6
        )
        assert model.slopes[reading]["height"] == 0.0
        assert model.recession_slopes[reading] == pytest.approx(
            (worn[reading] - before[reading]) / step, abs=1e-6
        )


def test_height_moves_proud_and_depth_and_nothing_else():
    model = describe(corners(readings=("proud", "depth", "clearance")), {"key": 6.14, "height": 8.2})
    assert dict(model.nominal_mm) == exactly({"proud": 0.2, "depth": 8.2, "clearance": -0.14})
    assert model.slopes["proud"] == {"key": 0.0, "height": 1.0}
    assert model.slopes["depth"] == {"key": 0.0, "height": 1.0}
    assert (model.recession_slopes["proud"], model.recession_slopes["depth"]) == (0.0, 0.0)

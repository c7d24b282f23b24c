"""Groove and panel: the formulas against wood that is taken away pass by pass."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calib.errors import CalibError
from calib.geometry import describe, groove
from calib.shop import Adjuster, Band, Cutter, Joint, Setup

BOARD = 80.0


def plough(fence, slot, passes, board=BOARD):
    """Cut the groove; its walls from the edge that met the fence first, and whether it is one groove."""
    cuts = [(fence - slot / 2.0, fence + slot / 2.0)]
    if passes == 2:
        cuts.append(
            (board - cuts[0][1], board - cuts[0][0])
        )  # turned end for end: the other edge on the fence
    cuts.sort()
    return cuts[0][0], cuts[-1][1], cuts[-1][0] <= cuts[0][1]


def measure(fence, slot, passes):
    near, far, _ = plough(fence, slot, passes)
    return {"setback": near, "width": far - near}


def bottom_groove(passes=1, readings=("setback", "width", "depth", "wall"), cutter_mm=6.0, thickness=8.0):
    return Setup(
        "bottom-groove",
        Joint("groove", passes=passes, thickness_mm=thickness),
        tuple(Band(name, 3.0, 2.5, 3.5) for name in readings),
        (Adjuster("fence"), Adjuster("height")),
        Cutter("spiral-6", cutter_mm),
    )


millimetres = st.integers(35_000, 50_000).map(lambda um: um / 1000.0)


@given(millimetres, st.integers(3000, 12_000).map(lambda um: um / 1000.0))
def test_two_passes_agree_with_wood_taken_away(fence, slot):
    near, far, one_groove = plough(fence, slot, 2)
    if fence < BOARD / 2.0 or not one_groove:
        with pytest.raises(CalibError, match=r"climb|rib"):
            groove.two_pass_walls(fence, slot, BOARD)
    else:
        assert groove.two_pass_walls(fence, slot, BOARD) == pytest.approx((near, far), rel=0, abs=1e-9)


@given(st.integers(40_100, 42_500).map(lambda um: um / 1000.0), st.sampled_from([1, 2]))
def test_slopes_are_the_finite_differences_of_the_cut(fence, passes):
    step = 0.01
    assume(fence + step <= BOARD / 2.0 + 3.0)
    model = describe(bottom_groove(passes), {"fence": fence, "height": 4.0})
    before, moved = measure(fence, 6.0, passes), measure(fence + step, 6.0, passes)
    worn = measure(fence, 6.0 - 2.0 * step, passes)
    for reading in ("setback", "width"):
        assert model.slopes[reading]["fence"] == pytest.approx(
            (moved[reading] - before[reading]) / step, abs=1e-6
        )
        assert model.recession_slopes[reading] == pytest.approx(
            (worn[reading] - before[reading]) / step, abs=1e-6
        )
        assert model.slopes[reading]["height"] == 0.0


def test_one_pass_has_its_nominal_from_geometry():
    model = describe(bottom_groove(), {"fence": 12.0, "height": 4.0})
    assert model.nominal_mm == {"setback": 9.0, "width": 6.0, "depth": 4.0, "wall": 4.0}
    assert model.slopes["depth"] == {"fence": 0.0, "height": 1.0}
    assert model.slopes["wall"] == {"fence": 0.0, "height": -1.0}
    assert model.recession_slopes["depth"] == 0.0


def test_two_passes_know_no_board_width_so_the_nominal_is_the_target():
    model = describe(bottom_groove(passes=2), {"fence": 41.0, "height": 4.0})
    assert (model.nominal_mm["setback"], model.nominal_mm["width"]) == (3.0, 3.0)
    assert model.from_geometry == {"depth", "wall"}


def test_a_cutter_or_thickness_that_is_not_known_leaves_positions_relative():
    model = describe(bottom_groove(cutter_mm=None, thickness=None), {"fence": 12.0, "height": 4.0})
    assert model.from_geometry == {"depth"}
    assert model.slopes["setback"]["fence"] == 1.0


def test_a_panel_that_swells_by_the_points_allowed_keeps_its_slack():
    panel = groove.panel_size(180.0, 6.0, slack=0.5, coefficient=0.003, points_up=4.0)
    swollen = groove.moved_size(panel, 0.003, 4.0)
    assert groove.panel_fit(180.0, 6.0, swollen).float_mm == pytest.approx(0.5, rel=0, abs=1e-9)


@pytest.mark.parametrize(
    ("thickness", "depth", "asks"),
    [(8.0, 4.0, False), (8.0, 5.5, True), (5.0, 2.5, True), (20.0, 13.0, False)],
)
def test_a_groove_that_leaves_too_little_wood_is_asked_about(thickness, depth, asks):
    # common practice, no source: two thirds of the stock, 3 mm left; both can be changed
    assert (groove.depth_question(thickness, depth) is not None) is asks
    assert groove.depth_question(thickness, depth, largest_share=1.0, least_wall=0.0) is None

"""Where a box's numbers come from: each is the log's own where the log has one, and else an assumption."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, GROOVE

from calib.errors import CalibError
from calib.regression import posterior
from calib.shop import Band, Joint
from calib.workflow import boxes, cutters, inlays, keptboxes, setups
from calib.workflow.boxes import BoxQuestion
from calib.workflow.cuts import CutEntry, log_cut
from calib.workflow.history import log_of
from calib.workflow.inlays import InlayQuestion
from calib.workflow.shopfloor import Shop

ASKED = BoxQuestion(250.0, 180.0, 102.0, 8.0, corners="chest-corners")


def with_readings(setup, *names):
    """A setup that also has a band for other readings."""
    more = tuple(Band(name, 6.0, 5.8, 6.2) for name in names)
    return replace(setup, bands=(*setup.bands, *more))


def logged(shop: Shop, name="chest-corners", key=6.0, **readings) -> None:
    settings = {"key": key, "height": 8.1} if name == "chest-corners" else {"fence": 0.0}
    log_cut(shop, name, CutEntry(settings_mm=settings, readings={n: (mm,) for n, mm in readings.items()}))


def said_of(lines, word):
    return [line for line in lines if line.startswith(word)]


def test_a_slot_that_was_read_is_the_posterior_of_the_log_and_not_the_nominal_width(shop: Shop) -> None:
    setups.add(shop, with_readings(CORNERS, "slot"))
    logged(shop, clearance=0.07, slot=5.93)
    logged(shop, clearance=0.08, slot=5.94)
    planned = boxes.plan(shop, ASKED)
    believed = posterior(*log_of(shop, "chest-corners")).size("slot")
    assert planned.numbers.corner.slot == (believed.expected, believed.u)
    assert planned.plan.layout.slot_mm == pytest.approx(5.935, rel=0, abs=0.01)
    assert said_of(planned.known, "slot ")
    assert not said_of(planned.assumptions, "slot ")


def test_fingers_that_were_read_tell_the_slot_by_the_clearance(shop: Shop) -> None:
    setups.add(shop, with_readings(CORNERS, "finger"))
    logged(shop, clearance=0.07, finger=5.87)
    corner = boxes.plan(shop, ASKED).numbers.corner
    assert corner.slot.mean == pytest.approx(5.94, rel=0, abs=0.02)
    assert corner.pitch is None


def test_a_pitch_that_was_read_is_the_pitch_of_the_layout(shop: Shop) -> None:
    setups.add(shop, with_readings(CORNERS, "pitch"))
    logged(shop, clearance=0.07, pitch=11.85)
    planned = boxes.plan(shop, ASKED)
    layout = planned.plan.layout
    assert layout.pitch_mm == planned.numbers.corner.pitch.mean == pytest.approx(11.85, rel=0, abs=0.02)
    assert 2 * layout.slot_mm - layout.pitch_mm == pytest.approx(0.07, rel=0, abs=0.02)
    assert said_of(planned.known, "pitch ")


def test_a_cutter_that_was_measured_when_sharpened_tells_the_slot(shop: Shop) -> None:
    setups.add(shop, CORNERS)
    cutters.sharpen(shop, "spiral-6", measured_mm=5.91)
    planned = boxes.plan(shop, ASKED)
    assert planned.numbers.corner.slot == (5.91, 0.02)
    assert "as measured" in said_of(planned.known, "slot ")[0]


def test_a_width_that_is_given_goes_before_all_else(shop: Shop) -> None:
    setups.add(shop, with_readings(CORNERS, "slot"))
    logged(shop, clearance=0.07, slot=5.93)
    planned = boxes.plan(shop, replace(ASKED, cutter=5.97))
    assert planned.numbers.corner.slot.mean == 5.97
    assert "as given" in said_of(planned.known, "slot ")[0]


def test_a_nominal_width_is_an_assumption_and_less_certain(shop: Shop) -> None:
    setups.add(shop, CORNERS)
    logged(shop, clearance=0.07)
    planned = boxes.plan(shop, ASKED)
    assert planned.numbers.corner.slot == (6.0, 0.05)
    assert "nominal width of spiral-6" in said_of(planned.assumptions, "slot ")[0]
    assert said_of(planned.known, "clearance ")
    assert planned.plan.line_u_mm > 0.5  # eight pitches of twice that


def test_a_groove_that_was_read_is_as_wide_as_the_log_says(shop: Shop) -> None:
    setups.add(shop, with_readings(GROOVE, "width"))
    logged(shop, "bottom-groove", setback=5.02, width=5.9)
    planned = boxes.plan(shop, replace(ASKED, corners=None, groove="bottom-groove"))
    assert planned.plan.groove_width_mm == pytest.approx(5.9, rel=0, abs=0.02)
    assert said_of(planned.known, "width ")
    assert not said_of(planned.assumptions, "groove width")


@pytest.mark.parametrize("name", ["slot", "clearance", "proud", "depth", "setback", "groove width"])
def test_every_number_that_the_log_does_not_have_is_named_an_assumption(shop: Shop, name: str) -> None:
    for setup in (CORNERS, GROOVE):
        setups.add(shop, setup)
    planned = boxes.plan(shop, replace(ASKED, groove="bottom-groove"))
    assert planned.known == ()
    assert len(said_of(planned.assumptions, name)) == 1
    target = {"clearance": "chest-corners", "proud": "chest-corners", "setback": "bottom-groove"}
    if name in target:
        assert f"the target of {target[name]}" in said_of(planned.assumptions, name)[0]


def test_scrap_is_counted_from_the_test_cuts_that_the_advice_expects(shop: Shop) -> None:
    for setup in (CORNERS, GROOVE):
        setups.add(shop, setup)
    corners, grooves = boxes.plan(shop, replace(ASKED, groove="bottom-groove")).scrap
    assert corners.tests > 1.0
    assert corners.pieces == pytest.approx(corners.tests + 1, rel=0, abs=1)
    assert corners.pieces >= corners.tests + 1
    assert (corners.thickness_mm, grooves.part, grooves.setup) == (8.0, "grooves", "bottom-groove")
    for _ in range(4):
        logged(shop, clearance=0.07, proud=0.1)
    assert boxes.plan(shop, ASKED).scrap[0].pieces < corners.pieces
    nothing = boxes.plan(None, replace(ASKED, corners=None)).scrap
    assert [(one.setup, one.tests, one.pieces) for one in nothing] == [(None, None, 4)] * 2


def test_setups_of_the_wrong_kind_or_seat_are_refused(shop: Shop) -> None:
    for setup in (CORNERS, GROOVE, replace(CORNERS, name="toward", joint=Joint("finger", seat="toward"))):
        setups.add(shop, setup)
    for change, said in (
        ({"corners": "bottom-groove"}, "is for a groove joint, not a finger joint"),
        ({"groove": "chest-corners"}, "is for a finger joint, not a groove joint"),
        ({"inlay": "chest-corners"}, "is for a finger joint, not an inlay joint"),
        ({"corners": None, "corners_b": "chest-corners"}, "needs one for the A boards"),
        ({"corners": "toward"}, "seat"),
        ({"copies": 0}, "0 boxes cannot be planned"),
        ({"corners": "chest-corner"}, 'Did you mean "chest-corners"'),
        ({"sides": "bleck cherry"}, "black cherry"),
    ):
        with pytest.raises(CalibError, match=said) as caught:
            keptboxes.keep(shop, "chest", replace(ASKED, **change))
        assert "\n" not in str(caught.value)
    assert keptboxes.all(shop) == []


def test_the_same_setup_for_both_boards_is_one_setup(shop: Shop) -> None:
    setups.add(shop, CORNERS)
    assert boxes.plan(shop, replace(ASKED, corners_b="chest-corners")).numbers.second is None


def test_an_inlay_without_a_log_says_what_it_takes_for_granted() -> None:
    found = inlays.plan(None, InlayQuestion(60.0, 20.0, cutter=3.175))
    assert found.known == ()
    assert any("typed in" in line for line in found.assumptions)
    assert found.plan.chance < 0.9
    with pytest.raises(CalibError, match="which cutter"):
        inlays.plan(None, InlayQuestion(60.0, 20.0))


def test_a_groove_in_two_passes_is_as_wide_as_its_target_and_never_as_its_cutter(shop: Shop) -> None:
    two = replace(GROOVE, joint=Joint("groove", thickness_mm=8.0, passes=2))
    setups.add(shop, replace(two, name="no-width"))
    setups.add(shop, replace(two, name="wide", bands=(*two.bands, Band("width", 8.0, 7.9, 8.1))))
    asked = replace(ASKED, corners=None)
    assert boxes.plan(shop, replace(asked, groove="wide")).plan.groove_width_mm == 8.0
    with pytest.raises(CalibError, match="in two passes and has no reading width"):
        boxes.plan(shop, replace(asked, groove="no-width"))
    given = boxes.plan(shop, replace(asked, groove="no-width", groove_cutter=7.7))
    assert given.plan.groove_width_mm == 7.7


def test_a_wood_that_the_table_does_not_have_takes_a_coefficient(shop: Shop) -> None:
    asked = replace(ASKED, corners=None, panel="teak", panel_thickness=5.7)
    with pytest.raises(CalibError, match='no species "teak"'):
        boxes.plan(None, asked)
    planned = boxes.plan(None, replace(asked, coefficient=0.0019))
    assert planned.numbers.coefficient == 0.0019
    assert any("0.0019 per 1 % as given" in line for line in planned.assumptions)

"""Inlay: the formulas against tool paths that are offset by half the typed diameter."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.geometry import describe, inlay
from calib.shop import Adjuster, Band, Cutter, Joint, Setup


def rout(cut, typed, drawn=40.0, drawn_gap=0.0):
    """Follow the drawing: the axis runs half the typed diameter inside the pocket, outside the insert."""
    pocket_axis = drawn + drawn_gap - typed
    insert_axis = drawn + typed
    return pocket_axis + cut, insert_axis - cut


def ash_inlay(
    recut="both", adjuster="diameter", readings=("gap",), cutter_mm=3.175, drawn_gap=0.0, others=()
):
    return Setup(
        "lid-inlay",
        Joint("inlay", recut=recut, drawn_gap_mm=drawn_gap),
        tuple(Band(name, 0.1, 0.05, 0.15) for name in readings),
        (Adjuster(adjuster), *others),
        Cutter("endmill", cutter_mm),
    )


diameters = st.integers(2900, 3300).map(lambda um: um / 1000.0)


@given(diameters, diameters, st.integers(-200, 200).map(lambda um: um / 1000.0))
def test_sizes_and_gap_agree_with_the_tool_paths(cut, typed, drawn_gap):
    pocket, insert = rout(cut, typed, 40.0, drawn_gap)
    assert inlay.pocket_across(40.0 + drawn_gap, cut, typed) == pytest.approx(pocket, rel=0, abs=1e-9)
    assert inlay.insert_across(40.0, cut, typed) == pytest.approx(insert, rel=0, abs=1e-9)
    assert inlay.total_gap(drawn_gap, cut, typed) == pytest.approx(pocket - insert, rel=0, abs=1e-9)


@given(diameters, diameters, st.sampled_from(["both", "pocket", "insert"]))
def test_the_typed_diameter_brings_the_gap_to_its_target(cut, typed, recut):
    pocket, insert = rout(cut, typed)
    again = inlay.diameter_to_type(typed, pocket - insert, 0.10, recut)
    new_pocket, new_insert = rout(cut, again)
    gap = (new_pocket if recut != "insert" else pocket) - (new_insert if recut != "pocket" else insert)
    assert gap == pytest.approx(0.10, rel=0, abs=1e-9)


@given(st.sampled_from(["both", "pocket", "insert"]), diameters)
def test_slopes_are_the_finite_differences_of_the_tool_paths(recut, typed):
    step, cut = 0.01, 3.175
    readings = ("gap", "gap_x", "pocket", "insert")
    model = describe(ash_inlay(recut, readings=readings, drawn_gap=0.05), {"diameter": typed})
    first = rout(cut, typed, drawn_gap=0.05)

    def cut_again(cut_now, typed_now):
        now = rout(cut_now, typed_now, drawn_gap=0.05)
        pocket = now[0] if recut != "insert" else first[0]
        insert = now[1] if recut != "pocket" else first[1]
        return {"gap": pocket - insert, "gap_x": pocket - insert, "pocket": pocket, "insert": insert}

    before, moved, worn = (
        cut_again(cut, typed),
        cut_again(cut, typed + step),
        cut_again(cut - 2 * step, typed),
    )
    assert model.nominal_mm["gap"] == pytest.approx(before["gap"], rel=0, abs=1e-9)
    for name in readings:
        assert model.slopes[name]["diameter"] == pytest.approx((moved[name] - before[name]) / step, abs=1e-6)
        assert model.recession_slopes[name] == pytest.approx((worn[name] - before[name]) / step, abs=1e-6)


@pytest.mark.parametrize(
    "name", ["diameter", "typed_diameter", "cutter_diameter", "cutter", "bit", "whatever"]
)
def test_a_lone_adjuster_is_the_typed_diameter_whatever_its_name(name):
    model = describe(ash_inlay(adjuster=name), {name: 3.175})
    assert model.slopes == {"gap": {name: -2.0}}
    assert model.nominal_mm["gap"] == pytest.approx(0.0, abs=1e-12)


def test_without_a_nominal_cutter_the_gap_is_only_relative():
    model = describe(ash_inlay(cutter_mm=None), {"diameter": 3.175})
    assert model.nominal_mm == {"gap": 0.1}
    assert model.from_geometry == frozenset()


def test_a_pocket_with_a_tighter_corner_than_the_insert_needs_no_gap():
    assert inlay.gap_for_corner(1.0, 1.5) == 0.0


def test_the_corner_gap_is_where_the_fillets_touch():
    fillet, corner = 3.175, 0.8
    gap = inlay.gap_for_corner(fillet, corner)
    # along the diagonal from the pocket's sharp corner: the fillet's arc, and the insert's set in by the gap
    arc = fillet * (math.sqrt(2.0) - 1.0)
    assert math.sqrt(2.0) * gap + corner * (math.sqrt(2.0) - 1.0) == pytest.approx(arc, rel=1e-12)

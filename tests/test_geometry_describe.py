"""`describe`: what overrides what, when positions are only relative, and what is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from calib.errors import CalibError
from calib.geometry import describe
from calib.shop import LEARN, Adjuster, Band, Cutter, Joint, Setup

REFERENCE = {"key": 6.14}
KEY = Adjuster("key")


def setup(kind="finger", adjusters=(KEY,), readings=("clearance",), cutter_mm=6.0, **joint):
    bands = tuple(Band(name, 0.07, 0.03, 0.12) for name in readings)
    return Setup("corners", Joint(kind, **joint), bands, tuple(adjusters), Cutter("spiral-6", cutter_mm))


def test_moves_override_the_slope_and_keep_the_nominal():
    model = describe(setup(adjusters=[Adjuster("key", moves={"clearance": -0.5})]), REFERENCE)
    assert model.slopes["clearance"]["key"] == -0.5
    assert model.nominal_mm["clearance"] == pytest.approx(-0.14, abs=1e-12)


def test_moves_override_one_reading_and_leave_the_others():
    made = setup(adjusters=[Adjuster("key", moves={"clearance": -0.5})], readings=("clearance", "play"))
    model = describe(made, REFERENCE)
    assert (model.slopes["clearance"]["key"], model.slopes["play"]["key"]) == (-0.5, -1.0)


@pytest.mark.parametrize("slope", [LEARN, 1.0, 0.0])
def test_moves_that_contradict_the_scale_leave_positions_relative(slope):
    model = describe(setup(adjusters=[Adjuster("key", moves={"clearance": slope})]), REFERENCE)
    assert model.slopes["clearance"]["key"] == (None if slope == LEARN else slope)
    assert model.nominal_mm["clearance"] == 0.07
    assert model.from_geometry == frozenset()


def test_a_scale_that_counts_the_other_way_turns_geometry_but_not_moves():
    turned = Adjuster("key", counts_other_way=True)
    model = describe(setup(adjusters=[turned], readings=("clearance", "slot")), REFERENCE)
    assert (model.slopes["clearance"]["key"], model.slopes["slot"]["key"]) == (1.0, 0.0)
    assert (model.nominal_mm["clearance"], model.nominal_mm["slot"]) == (0.07, 6.0)
    told = describe(setup(adjusters=[replace(turned, moves={"clearance": -1.0})]), REFERENCE)
    assert told.slopes["clearance"]["key"] == -1.0


@pytest.mark.parametrize(
    ("made", "reading"),
    [
        (setup(adjusters=[Adjuster("key", has_scale=False)]), "clearance"),
        (setup(cutter_mm=None), "clearance"),
        (setup(seat="toward", key_width_mm=None), "clearance"),
        (setup(adjusters=[Adjuster("height")], readings=("proud",), thickness_mm=None), "proud"),
        (setup(adjusters=[Adjuster("lever", moves={"clearance": 0.4})]), "clearance"),
    ],
)
def test_what_geometry_cannot_place_starts_at_the_target(made, reading):
    model = describe(made, {"key": 6.14, "height": 8.2, "lever": 1.0})
    assert model.nominal_mm == {reading: 0.07}
    assert model.from_geometry == frozenset()


def test_a_reading_of_the_makers_own_follows_moves_alone():
    made = setup(
        adjusters=[Adjuster("key", moves={"shoulder": 0.3}), Adjuster("height")],
        readings=("clearance", "shoulder"),
    )
    model = describe(made, {"key": 6.14, "height": 8.2})
    assert model.slopes["shoulder"] == {"key": 0.3, "height": 0.0}
    assert (model.nominal_mm["shoulder"], model.recession_slopes["shoulder"]) == (0.07, 0.0)


def test_a_reading_that_no_adjuster_moves_is_only_watched():
    model = describe(setup(readings=("clearance", "depth")), REFERENCE)
    assert model.slopes["depth"] == {"key": 0.0}


def test_a_plain_joint_knows_what_moves_say():
    fence = Adjuster("fence", moves={"length": -1.0, "angle": LEARN})
    model = describe(setup("plain", [fence], ("length", "angle")), {"fence": 100.0})
    assert model.slopes == {"length": {"fence": -1.0}, "angle": {"fence": None}}
    assert model.nominal_mm == {"length": 0.07, "angle": 0.07}
    assert model.recession_slopes == {"length": 0.0, "angle": 0.0}


def test_a_plain_adjuster_does_not_move_a_reading_that_it_does_not_name():
    made = setup("plain", [Adjuster("fence", moves={"length": -1.0})], ("length", "angle"))
    assert describe(made, {"fence": 100.0}).slopes["angle"] == {"fence": 0.0}


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (
            setup("plain", [Adjuster("fence")], ("length", "angle")),
            "setup corners: a plain joint has no slope of its own for adjuster fence",
        ),
        (
            setup(adjusters=[Adjuster("lever")]),
            'a finger joint knows no adjuster "lever", only key and height',
        ),
        (setup("groove", [Adjuster("key")], ("width",)), 'no adjuster "key", only fence and height'),
        (setup("inlay", [Adjuster("a"), Adjuster("b")], ("gap",)), 'no adjuster "a", only diameter'),
        (
            setup(readings=("clearence",)),
            'a finger joint knows no reading "clearence", only clearance, depth',
        ),
        (setup(adjusters=[Adjuster("key", moves={"clearence": -1.0})]), 'Did you mean "clearance"?'),
        (setup(adjusters=[Adjuster("key", moves={"clearance": math.nan})]), "moves.clearance is nan"),
        (setup(adjusters=[Adjuster("key", moves={"clearance": "lern"})]), "moves.clearance is lern"),
        (setup(key_width_mm=60.0), "key_width 60 mm does not enter"),
    ],
)
def test_what_nobody_can_explain_is_refused_in_one_line(made, said):
    with pytest.raises(CalibError) as refusal:
        describe(made, {a.name: 6.14 for a in made.adjusters})
    assert said in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_moves_may_name_a_reading_that_geometry_knows_but_the_setup_does_not_take():
    model = describe(setup(adjusters=[Adjuster("key", moves={"clearance": -1.0, "play": -1.0})]), REFERENCE)
    assert set(model.slopes) == {"clearance"}

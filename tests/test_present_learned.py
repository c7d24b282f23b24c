"""What was learned, in words: fits the width, says what it is, never more than is known."""

from __future__ import annotations

import numpy as np
import pytest

from calib.decision.mounting import FirstReading, FirstSetting
from calib.present.learned_text import first_lines, learned_lines, learned_notes, plain_parts
from calib.regression.learn.summary import Learned, Spread
from calib.regression.mixture import Mixture

NARROW = Spread(np.log([0.5, 1.0, 2.0]), np.array([0.1, 0.8, 0.1]))
WIDE = Spread(np.log([0.1, 1.0, 10.0]), np.array([0.3, 0.4, 0.3]))
POINT = Mixture(np.ones(1), np.array([-0.0001]), np.array([0.02]))
FOUND = (
    Learned("scatter", ("clearance",), 0.025, WIDE, NARROW),
    Learned("mounting", ("clearance", "proud"), 0.06, WIDE, NARROW),
    Learned("kept", ("clearance",), 1.0, WIDE, Spread(np.log([0.1, 1.0]), np.array([0.5, 0.5]), 0.0)),
    Learned("scale", ("key",), 1.0, POINT, POINT),
)


@pytest.mark.parametrize("width", [40, 80, 120])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_what_was_learned_fits_the_width(width, unit):
    lines = learned_lines("corners", 3, 12, 4, FOUND, width, unit) + learned_notes(unit, width)
    assert all(len(line) <= width for line in lines)
    text = " ".join(" ".join(lines).split())
    assert "corners: 3 mountings, 12 readings, 4 moves." in text
    assert "mountings of clearance and proud" in text
    assert "-0.000" not in text


def test_every_component_says_before_and_now_in_one_unit():
    plain = plain_parts(FOUND)
    assert [one["unit"] for one in plain] == ["mm", "mm", "", ""]
    scatter = plain[0]
    assert scatter["now"]["median"] == pytest.approx(0.025, rel=1e-9)
    low, high = scatter["now"]["interval90"]
    wide_low, wide_high = scatter["before"]["interval90"]
    assert wide_low < low < 0.025 < high < wide_high
    assert plain[2]["now"]["interval90"][1] <= 1.0


def test_a_first_cut_is_told_with_its_chance_and_how_well_mountings_go_back():
    reading = FirstReading("clearance", 0.07, 0.05, (-0.01, 0.15), 0.04, 0.62)
    other = FirstReading("proud", 0.1, 0.05, (0.02, 0.18), 0.04, 0.999)
    first = FirstSetting({"key": 6.0}, (reading, other), 0.61)
    text = " ".join(" ".join(first_lines(first, FOUND[1:3], 80, "mm")).split())
    assert "Expect clearance 0.07 mm, -0.01 to 0.15 mm in nine cuts of ten; 62 % that the first cut" in text
    assert "over 99 % that the first cut is in its band" in text
    assert "61 % that it is in all its bands." in text
    assert "In clearance and proud it goes back within 0.06 mm" in text
    assert "With a kept joint as the gauge:" in text

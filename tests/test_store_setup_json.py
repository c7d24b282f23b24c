"""A setup stays the same on its way into the database and back."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from types import MappingProxyType

import pytest
from shopkit import CORNERS, GROOVE

from calib.shop import (
    LEARN,
    Adjuster,
    Band,
    FeelScale,
    Joint,
    Knowledge,
    ReadingStakes,
    Scales,
    Setup,
    Stakes,
)
from calib.store.setup_json import from_json, to_json

FULL = replace(
    CORNERS,
    units="in",
    stock="cherry",
    joint=Joint("finger", "toward", "gap", 6.25, 8.0, 2, "insert", 0.1),
    adjusters=(
        Adjuster(
            "key", 0.02, 0.1, "renews", -1.5, 40.0, "M6", False, True, False, MappingProxyType({"a": -1.0})
        ),
        Adjuster("lever", moves={"clearance": LEARN}),
    ),
    stakes=Stakes(3.5, 1.5, {"clearance": ReadingStakes(30.0, 12.0)}, ReadingStakes(1.0, 2.0), 45.0),
    knowledge=Knowledge(math.inf, mounting_sd_mm=0.1, scales_known=True, of={"key": Scales(move_sd_mm=0.01)}),
    feel=FeelScale({"mallet": (-math.inf, 0.0), "rattles": (0.2, math.inf)}, 0.05),
    abrasive={"board": 3.0},
)


@pytest.mark.parametrize("setup", [CORNERS, GROOVE, FULL], ids=["corners", "groove", "everything set"])
def test_a_setup_comes_back_equal(setup: Setup) -> None:
    """Every field, to the last bit; the text is valid JSON without NaN or Infinity."""
    text = to_json(setup)
    assert from_json(text) == setup
    json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is not JSON"))


def test_numbers_keep_all_their_digits() -> None:
    """A third of a millimetre is not rounded."""
    setup = replace(CORNERS, bands=(Band("clearance", 1 / 3, 0.1 + 0.2, 0.7),))
    assert from_json(to_json(setup)).bands[0] == setup.bands[0]


def test_text_without_a_field_that_came_later_has_its_default() -> None:
    """And a field that went is left out."""
    data = json.loads(to_json(CORNERS))
    del data["feel"], data["knowledge"]["blunder_probability"], data["adjusters"][0]["thread"]
    data["joint"]["gone"] = 1
    again = from_json(json.dumps(data))
    assert again == replace(CORNERS, feel=FeelScale())

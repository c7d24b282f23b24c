"""A setup copied to a new one: what is the same, what is not, and what is said of it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, cut

from calib.decision.cautions import cautions_for
from calib.errors import CalibError
from calib.workflow import cutters, history, setups, stocks
from calib.workflow.cuts import work
from calib.workflow.setupcopy import copy
from calib.workflow.shopfloor import Shop

NAME = "chest-corners"


def test_a_copy_is_the_same_setup_without_its_cuts(corners: Shop) -> None:
    """Bands, adjusters, prices, beliefs and words; the old one keeps its cuts."""
    cut(corners, key=6.14, height=8.1, clearance=0.06)
    made = copy(corners, NAME, "tray-corners")
    old = setups.get(corners, NAME)
    same = replace(made.setup, name=NAME, cutter=old.cutter)
    assert same == old
    assert history.log_of(corners, "tray-corners")[1] == []
    assert len(history.log_of(corners, NAME)[1]) == 1
    assert "What was cut on chest-corners stays there." in made.leaves[0]


def test_both_setups_wear_the_same_edge(corners: Shop) -> None:
    """What the old one cuts counts for the copy, before and after it was made."""
    cut(corners, key=6.14, height=8.1, clearance=0.06)
    made = copy(corners, NAME, "tray-corners")
    assert "the same edge" in made.carries[-1]
    before = setups.get(corners, "tray-corners").cutter.metres_since_sharp_m
    work(corners, NAME, 4)
    after = setups.get(corners, "tray-corners").cutter.metres_since_sharp_m
    assert after == pytest.approx(before + 4 * 0.05)


def test_another_cutter_has_its_own_edge_and_asks_for_its_key(corners: Shop) -> None:
    made = copy(corners, NAME, "wide", cutter="spiral-8", cutter_width_mm=8.0)
    assert (made.setup.cutter.name, made.setup.cutter.nominal_mm) == ("spiral-8", 8.0)
    assert cutters.get(corners, "spiral-8").metres_m == 0.0
    assert made.starts_mm["key"] == 8.0
    assert any(line.startswith("Wear: spiral-8") for line in made.leaves)
    assert any(line.startswith("The key:") for line in made.leaves)


def test_another_thickness_starts_the_height_there_and_names_no_stock(corners: Shop) -> None:
    stocks.add(corners, "cherry", thickness_mm=8.1)
    setups.change(corners, NAME, replace(CORNERS, stock="cherry"))
    made = copy(corners, NAME, "thick", thickness_mm=10.0)
    assert (made.setup.joint.thickness_mm, made.setup.stock, made.starts_mm["height"]) == (10.0, None, 10.0)
    assert any("--stock NAME" in line for line in made.leaves)
    assert made.setup.thicknesses_mm == {"cherry": 8.1}


def test_a_copy_says_where_to_start_with_the_cautions(corners: Shop) -> None:
    made = copy(corners, NAME, "tray-corners")
    assert made.cautions == cautions_for(made.setup)


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"new_name": NAME}, "already"),
        ({"old_name": "chest-corner", "new_name": "x"}, 'Did you mean "chest-corners"'),
        ({"new_name": "x", "cutter": "spiral-8"}, "--cutter-width"),
        ({"new_name": "x", "cutter_width_mm": 8.0}, "--cutter"),
        ({"new_name": "a=b"}, "setup name"),
    ],
)
def test_what_cannot_be_copied_is_refused_and_nothing_is_stored(
    corners: Shop, said: dict[str, object], message: str
) -> None:
    with pytest.raises(CalibError, match=message):
        copy(corners, **{"old_name": NAME, **said})  # type: ignore[arg-type]
    assert [setup.name for setup in setups.all(corners)] == [NAME]
    assert [cutter.name for cutter in cutters.all(corners)] == ["spiral-6"]

"""Cutters, stocks, gauges and setups: added, changed, never overwritten, and near names when mistyped."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from shopkit import CORNERS, GROOVE, cut

from calib.errors import CalibError
from calib.shop import Band, Cutter
from calib.workflow import cutters, gauges, history, setups, stocks
from calib.workflow.shopfloor import Shop

NAME = "chest-corners"


def test_a_cutter_has_its_first_sharpening_from_the_start(shop: Shop) -> None:
    """With the metres it has already cut, and its width as typed."""
    record = cutters.add(shop, "quarter", 6.35, nominal_text="1/4 in", metres=12.0, note="upcut")
    assert (record.nominal_mm, record.nominal_text, record.note) == (6.35, "1/4 in", "upcut")
    assert (record.sharpening, record.metres_m, record.sharpenings) == ("quarter #1", 12.0, 1)
    assert cutters.all(shop) == [record]


def test_a_change_leaves_alone_what_was_not_named(shop: Shop) -> None:
    """And the old row stays."""
    cutters.add(shop, "quarter", 6.35, nominal_text="1/4 in", metres=12.0)
    cutters.change(shop, "quarter", note="two flutes")
    record = cutters.change(shop, "quarter", nominal_mm=6.3, nominal_text="6.3")
    assert (record.nominal_mm, record.nominal_text, record.note, record.metres_m) == (
        6.3,
        "6.3",
        "two flutes",
        12.0,
    )
    kept = shop.connection.execute("SELECT nominal_mm, note FROM cutters ORDER BY id").fetchall()
    assert [tuple(row) for row in kept] == [(6.35, None), (6.35, "two flutes"), (6.3, "two flutes")]


def test_stocks_and_gauges_are_kept_and_changed(shop: Shop) -> None:
    """Listed by name."""
    stocks.add(shop, "walnut", thickness_mm=8.0)
    stocks.add(shop, "cherry", "black cherry", 8.0, 7.5, "batch 3")
    assert stocks.change(shop, "walnut", moisture_percent=8.0).thickness_mm == 8.0
    assert [s.name for s in stocks.all(shop)] == ["cherry", "walnut"]
    assert stocks.get(shop, "walnut").moisture_percent == 8.0
    gauges.add(shop, "callipers", "calliper", 0.01, 0.03)
    assert gauges.change(shop, "callipers", resolution_mm=0.02).limit_of_error_mm == 0.03
    assert gauges.all(shop) == [gauges.get(shop, "callipers")]


@pytest.mark.parametrize(
    ("wrong", "message"),
    [
        (lambda s: cutters.add(s, "spiral-6", 6.0), 'there is a cutter "spiral-6" already'),
        (lambda s: cutters.add(s, " ", 6.0), "cutter name"),
        (lambda s: cutters.add(s, "a=b", 6.0), "cutter name"),
        (lambda s: cutters.add(s, "x", 0.0), "width 0 mm will not do"),
        (lambda s: cutters.add(s, "x", 6.0, metres=-1.0), "metres -1 will not do"),
        (lambda s: cutters.get(s, "spiral"), 'Did you mean "spiral-6"'),
        (lambda s: cutters.sharpen(s, "spiral-7"), 'Did you mean "spiral-6"'),
        (lambda s: cutters.sharpen(s, "spiral-6", metres=-2.0), "metres -2 will not do"),
        (lambda s: stocks.add(s, "x", thickness_mm=-8.0), "thickness -8 mm will not do"),
        (lambda s: stocks.add(s, "x", moisture_percent=120.0), "moisture 120 %"),
        (lambda s: stocks.get(s, "cherry"), 'no stock "cherry", and none has been added yet'),
        (lambda s: gauges.add(s, "x", "calliper", 0.0), "resolution 0 mm will not do"),
        (lambda s: gauges.change(s, "callipers"), "none has been added yet"),
        (lambda s: setups.add(s, CORNERS), 'there is a setup "chest-corners" already'),
        (lambda s: setups.add(s, replace(CORNERS, name="b", bands=())), "has no reading"),
        (lambda s: setups.add(s, replace(CORNERS, name="b", adjusters=())), "has no adjuster"),
        (
            lambda s: setups.add(s, replace(CORNERS, name="b", bands=(Band("a", 1, 2, 0),))),
            "is not below high",
        ),
        (lambda s: setups.add(s, replace(CORNERS, name="b", metres_per_piece_m=-1.0)), "metres -1"),
        (lambda s: setups.add(s, replace(CORNERS, name="b", pieces_left=-1)), "-1 pieces left"),
        (
            lambda s: setups.add(s, replace(CORNERS, name="b", cutter=Cutter("spiral-6", 6.35))),
            "is 6 mm wide",
        ),
        (lambda s: setups.get(s, "chest-cornes"), 'Did you mean "chest-corners"'),
        (
            lambda s: setups.change(s, NAME, replace(CORNERS, cutter=Cutter("spiral-6", 6.0, 99.0))),
            "sharpening",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_not_stored(
    corners: Shop, wrong: Any, message: str
) -> None:
    """Where, what was found, what to do."""
    before = _events(corners)
    with pytest.raises(CalibError) as refused:
        wrong(corners)
    assert message in str(refused.value)
    assert "\n" not in str(refused.value)
    assert _events(corners) == before


def _events(shop: Shop) -> int:
    return int(shop.connection.execute("SELECT COUNT(*) FROM events").fetchone()[0])


def test_a_setup_brings_its_cutter_and_shares_one_that_is_there(corners: Shop) -> None:
    """Metres and width are the shop's from then on."""
    assert cutters.get(corners, "spiral-6").metres_m == 12.0
    groove = setups.add(corners, replace(GROOVE, cutter=Cutter("spiral-6")))
    assert (groove.cutter.nominal_mm, groove.cutter.metres_since_sharp_m) == (6.0, 12.0)
    assert [c.name for c in cutters.all(corners)] == ["spiral-6"]
    assert [s.name for s in setups.all(corners)] == ["bottom-groove", NAME]


def test_a_changed_setup_keeps_its_old_version_and_its_cuts(corners: Shop) -> None:
    """A new band, a new name; cuts remember the version they were cut with."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    new = replace(CORNERS, name="corners", bands=(Band("clearance", 0.05, 0.0, 0.1), CORNERS.bands[1]))
    assert setups.change(corners, NAME, new).bands[0].target_mm == 0.05
    assert setups.versions(corners, "corners") == 2
    assert [c.number for c in history.log_of(corners, "corners")[1]] == [1]
    cut(corners, "corners", clearance=0.04)
    versions = corners.connection.execute("SELECT setup_version_id FROM cuts ORDER BY id").fetchall()
    assert [row[0] for row in versions] == [1, 2]
    with pytest.raises(CalibError, match='no setup "chest-corners"'):
        setups.get(corners, NAME)


def test_a_change_to_the_same_writes_nothing(corners: Shop) -> None:
    """As the command asks first."""
    assert setups.change(corners, NAME, setups.get(corners, NAME)) == setups.get(corners, NAME)
    assert setups.versions(corners, NAME) == 1


def test_a_changed_width_in_a_setup_is_the_cutters_width(corners: Shop) -> None:
    """There is one width for all setups."""
    setups.add(corners, GROOVE)
    setups.change(corners, NAME, replace(CORNERS, cutter=Cutter("spiral-6", 5.98, 12.0)))
    assert setups.get(corners, "bottom-groove").cutter.nominal_mm == 5.98


def test_the_setup_meant_is_the_one_named_else_the_last_used(corners: Shop) -> None:
    """A cut, a mounting or advice is use; what was undone is not."""
    from calib.workflow.undo import undo

    assert setups.resolve(corners) == NAME
    setups.add(corners, GROOVE)
    assert setups.resolve(corners) == "bottom-groove"
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    assert setups.resolve(corners) == NAME
    undo(corners)
    assert setups.resolve(corners) == "bottom-groove"
    assert setups.resolve(corners, NAME) == NAME
    with pytest.raises(CalibError, match='Did you mean "bottom-groove"'):
        setups.resolve(corners, "botom-groove")


def test_an_empty_shop_says_how_to_begin(shop: Shop) -> None:
    """No setup, nothing to resolve."""
    with pytest.raises(CalibError, match="no setup has been used yet"):
        setups.resolve(shop)
    assert (setups.all(shop), cutters.all(shop), stocks.all(shop), gauges.all(shop)) == ([], [], [], [])

"""Pocket and insert of an inlay: cut by brute force with what was to be typed in.

D = derived for this project; S = published source named beside it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.box.closing import Uncertain
from calib.box.inlay import InlayNumbers, glue_line, plan_inlay
from calib.errors import CalibError

LID = InlayNumbers(60.0, 20.0, 3.0, 2.0, Uncertain(-0.12, 0.02), target=0.16, low=0.10, high=0.26)


def cut_path(drawn, cutter, typed, inside):
    """Follow a drawn line at the offset that the machine takes, and say how wide the piece comes out."""
    offset = typed / 2.0 * (-1.0 if inside else 1.0)  # the axis runs inside the pocket, outside the insert
    axis = drawn / 2.0 + offset
    edge = axis + cutter / 2.0 * (1.0 if inside else -1.0)
    return 2.0 * edge


@pytest.mark.parametrize("recut", ["both", "pocket", "insert"])
@pytest.mark.parametrize("drawn_gap", [0.0, 0.1])
def test_what_is_typed_in_makes_the_wanted_gap(recut, drawn_gap):
    """The cutter's true diameter is set; the parts are cut along their offset paths and measured."""
    cutter = 1.93
    before = cut_path(60.0, cutter, 2.0, True) - cut_path(60.0 - drawn_gap, cutter, 2.0, False)
    found = plan_inlay(replace(LID, gap=Uncertain(before, 0.01), recut=recut, drawn_gap=drawn_gap))
    assert found.cutter_mm == pytest.approx(cutter, rel=0, abs=1e-9)
    for side in (0, 1):
        pocket = cut_path(found.pocket.drawn_mm[side], cutter, found.pocket.type_in_mm, True)
        insert = cut_path(found.insert.drawn_mm[side], cutter, found.insert.type_in_mm, False)
        assert pocket - insert == pytest.approx(0.16, rel=0, abs=1e-9)
        assert (found.pocket.cut_mm[side], found.insert.cut_mm[side]) == pytest.approx((pocket, insert))
    assert (found.pocket.cut_now, found.insert.cut_now) == (recut != "insert", recut != "pocket")
    if recut != "both":
        kept = found.insert if recut == "pocket" else found.pocket
        assert kept.type_in_mm == 2.0


def test_the_rows_of_the_trade_for_a_thin_cutter():
    """C1, C2 (D): 3.175 typed in, 3.100 cut: gap -0.150; for +0.10 with both cut again type 3.050."""
    found = plan_inlay(replace(LID, typed=3.175, gap=Uncertain(-0.15, 0.01), target=0.1))
    assert found.cutter_mm == pytest.approx(3.1, rel=0, abs=0.001)
    assert found.pocket.type_in_mm == found.insert.type_in_mm == pytest.approx(3.05, rel=0, abs=0.001)


@pytest.mark.parametrize(("fillet", "corner", "needs"), [(3.175, 0.0, 0.9299), (1.5875, 1.0, 0.1721)])
def test_corners_need_the_gap_of_the_trade(fillet, corner, needs):
    """C4, C6 (D), through the plan: a cutter of twice the fillet, on the diameter that was typed in."""
    numbers = replace(LID, typed=2 * fillet, gap=Uncertain(0.0, 0.01), corner=corner)
    found = plan_inlay(numbers)
    assert found.pocket.corner_mm == pytest.approx(fillet, rel=0, abs=1e-9)
    assert found.corner_needs_mm == pytest.approx(needs, rel=0, abs=0.0005)
    assert found.corner_spare_mm == pytest.approx(0.08 - needs, rel=0, abs=0.0005)


def corner_clears(gap_per_side, fillet, corner):
    """Lay the insert's corner into the pocket's and look whether any of its rim is outside.

    The pocket's corner lies at the origin with its wood at x < 0 and y < 0, rounded by its fillet; the insert
    stands one gap away from both walls.
    """
    angles = np.linspace(0.0, np.pi / 2.0, 2_001)  # 45 degrees, where it touches first, is one
    centre = gap_per_side + corner
    rim = np.stack([centre - corner * np.cos(angles), centre - corner * np.sin(angles)])
    into_fillet = (rim[0] < fillet) & (rim[1] < fillet)
    away = np.hypot(rim[0] - fillet, rim[1] - fillet)
    return not np.any(into_fillet & (away > fillet + 1e-12))


def test_corners_clear_exactly_where_a_rim_laid_into_the_pocket_does():
    rng = np.random.default_rng(8)
    told = []
    for _ in range(1000):
        cutter, corner, gap = rng.uniform(1.0, 6.35), rng.uniform(0.0, 3.0), rng.uniform(0.02, 0.6)
        numbers = replace(
            LID, typed=cutter, gap=Uncertain(gap, 0.01), drawn_gap=gap, target=gap, low=0.0, high=1.0,
            corner=corner,
        )  # fmt: skip
        found = plan_inlay(numbers)
        clears = corner_clears(gap / 2.0, cutter / 2.0, corner)
        if abs(found.corner_spare_mm) > 1e-6:
            assert (found.corner_spare_mm > 0.0) == clears, numbers
        told.append(clears)
        least = found.least_corner_mm
        if 1e-3 < least < 3.0:
            assert corner_clears(gap / 2.0, cutter / 2.0, least + 1e-6)
            assert not corner_clears(gap / 2.0, cutter / 2.0, least - 1e-3)
    assert 150 < sum(told) < 850


def test_the_chance_of_the_next_gap_is_the_share_of_inlays_that_are_drawn():
    numbers = replace(LID, scatter=0.03, low=0.12, high=0.2)
    rng = np.random.default_rng(2)
    gaps = 0.16 + rng.normal(0.0, 0.02, 100_000) + rng.normal(0.0, 0.03, 100_000)
    share = np.mean((gaps > 0.12) & (gaps < 0.2))
    error = np.sqrt(share * (1 - share) / 100_000)
    assert plan_inlay(numbers).chance == pytest.approx(share, rel=0, abs=3 * error)


def test_a_step_that_can_be_typed_is_kept_and_the_gap_is_what_it_then_gives():
    found = plan_inlay(replace(LID, gap=Uncertain(-0.135, 0.01), least_step=0.01))
    assert round(found.pocket.type_in_mm / 0.01, 6) == round(found.pocket.type_in_mm / 0.01)
    cutter = 2.0 - 0.135 / 2
    assert found.gap.mean == pytest.approx(2 * (cutter - found.pocket.type_in_mm), rel=0, abs=1e-9)
    assert found.gap.mean != pytest.approx(0.16, rel=0, abs=1e-6)


def test_an_insert_stands_out_by_its_allowance():
    found = plan_inlay(replace(LID, allowance=0.4))
    assert (found.pocket.thick_mm, found.insert.thick_mm) == pytest.approx((3.0, 3.4))


def test_glue_lines_are_judged_by_their_published_limits():
    """S: G. Wengert, trade column: 0.05 to 0.13 mm good, 0.13 to 0.25 mm too thick."""
    assert [glue_line(mm) for mm in (0.049, 0.05, 0.13, 0.131)] == ["starved", "good", "good", "too thick"]


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"width": 1.5}, "does not enter a pocket 1.5 mm wide"),
        ({"length": 0.0}, "must be above 0 mm"),
        ({"target": 0.4}, "a gap of 0.4 mm is outside 0.1 to 0.26 mm"),
        ({"corner": 10.5}, "corners of radius 10.5 mm do not fit"),
    ],
)
def test_an_inlay_that_cannot_be_gets_one_clear_line(change, said):
    with pytest.raises(CalibError, match=said) as caught:
        plan_inlay(replace(LID, **change))
    assert "\n" not in str(caught.value)

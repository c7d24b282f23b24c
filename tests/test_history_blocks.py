"""A history's line of blocks, and two mountings side by side."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, cut

from calib.errors import CalibError
from calib.present.between_text import between_lines
from calib.present.blocks import BLOCKS, block_lines, legend, scale_of
from calib.present.layout import to_ascii
from calib.shop import Band, Cut, Interval
from calib.workflow import cutters, mountings, setups
from calib.workflow.compare import between
from calib.workflow.cuts import work
from calib.workflow.shopfloor import Shop

NAME = "chest-corners"
GAP = Band("gap", 0.1, 0.0, 0.2)


def gaps(*values: float | tuple[float, ...] | Interval | None) -> list[Cut]:
    repeats = [() if v is None else v if isinstance(v, tuple) else (v,) for v in values]
    return [Cut(n, "test", {}, {"gap": r} if r else {}) for n, r in enumerate(repeats, 1)]


def test_a_block_is_as_high_as_the_reading_on_one_scale() -> None:
    """The lowest and the highest of the scale are the lowest and the highest block."""
    cuts = gaps(0.0, 0.1, 0.2)
    assert block_lines(GAP, cuts, (0.0, 0.2)) == ["  gap  ▁▅█"]
    assert block_lines(GAP, cuts, (-0.2, 0.2)) == ["  gap  ▅▇█"]


def test_marks_say_on_which_side_of_the_band_a_reading_fell() -> None:
    blocks, marks = block_lines(GAP, gaps(-0.1, 0.1, 0.3), (-0.1, 0.3))
    assert (blocks, marks) == ("  gap  ▁▅█", "       v ^")


def test_repeats_are_one_block_and_what_was_not_measured_is_a_dot() -> None:
    cuts = gaps((0.0, 0.2), None, Interval(0.0, 0.1), 0.2)
    assert block_lines(GAP, cuts, (0.0, 0.2)) == ["  gap  ▅··█"]
    assert block_lines(GAP, gaps(None, Interval(0.0, 0.1)), (0.0, 0.2)) == []


def test_the_latest_blocks_are_shown_where_all_are_too_many() -> None:
    """Forty cuts on forty columns; the marks stay under their blocks."""
    lines = block_lines(GAP, gaps(*[0.1] * 39, 0.9), (0.0, 0.9), width=40)
    assert all(len(line) <= 40 for line in lines)
    assert lines[0].startswith("  gap  …")
    assert lines[0].index("█") == lines[1].index("^")


def test_an_old_terminal_gets_one_sign_for_one() -> None:
    spelled = to_ascii(BLOCKS)
    assert len(set(spelled)) == len(BLOCKS) == len(spelled)
    assert spelled.isascii()


def test_the_scale_holds_the_band_and_every_reading() -> None:
    assert scale_of(GAP, gaps(-0.3, 0.1)) == (-0.3, 0.2)
    assert scale_of(replace(GAP, high_mm=float("inf")), gaps(0.5)) == (0.0, 0.5)
    assert "gap 0.00 to 0.20 mm" in " ".join(legend([(GAP, (0.0, 0.2))], 80, "mm"))


@pytest.fixture
def two(corners: Shop) -> Shop:
    """Two mountings: the second stands 0.1 mm higher, and was moved the other way for it."""
    for _ in range(6):
        cut(corners, key=6.10, height=8.1, clearance=0.07, proud=0.1)
    work(corners, NAME, 4)
    cutters.sharpen(corners, "spiral-6")
    mountings.mount(corners, NAME, stock="cherry")
    for _ in range(6):
        cut(corners, key=6.20, height=8.1, clearance=0.07)
    return corners


def test_two_mountings_are_told_apart(two: Shop) -> None:
    """Counts, cutter, where the scales ended and what was read there."""
    found = between(two, NAME, 1, 2)
    assert (found.first.tests, found.first.good, found.second.tests, found.second.good) == (6, 4, 6, 0)
    assert (found.first.sharpening, found.second.sharpening) == ("spiral-6 #1", "spiral-6 #2")
    assert (found.first.stock, found.second.stock) == (None, "cherry")
    assert (found.first.ending.settings_mm["key"], found.second.ending.settings_mm["key"]) == (6.10, 6.20)
    assert found.second.ending.readings_mm == {"clearance": pytest.approx(0.07)}


def test_the_difference_of_the_offsets_takes_the_settings_out(two: Shop) -> None:
    """The same reading at a key 0.10 mm larger (slope -1): it stood 0.10 mm higher."""
    found = between(two, NAME, 1, 2)
    assert found.higher_mm == {"clearance": pytest.approx(0.10, abs=0.01)}  # proud was not read in both
    assert 0.002 < found.u_mm["clearance"] < 0.05
    turned = between(two, NAME, 2, 1)
    assert turned.higher_mm["clearance"] == pytest.approx(-found.higher_mm["clearance"], abs=0.005)


def test_the_text_says_the_difference_first(two: Shop) -> None:
    lines = between_lines(between(two, NAME, 1, 2))
    assert lines[0] == "chest-corners, mounting 2 against mounting 1"
    assert lines[1].startswith("With the same settings clearance read 0.")
    assert "higher" in lines[1]
    assert any(line.startswith("key ended, mm") and line.endswith("+0.10") for line in lines)


def test_a_mounting_without_a_cut_cannot_be_compared(two: Shop) -> None:
    mountings.mount(two, NAME)
    found = between(two, NAME, 1, 3)
    assert found.higher_mm == {}
    assert "cannot be compared" in " ".join(between_lines(found))


@pytest.mark.parametrize(("pair", "message"), [((1, 1), "one mounting"), ((1, 9), "has no mounting 9")])
def test_mountings_that_are_not_there_are_named(two: Shop, pair: tuple[int, int], message: str) -> None:
    with pytest.raises(CalibError, match=message):
        between(two, NAME, *pair)
    assert setups.get(two, NAME).name == CORNERS.name

"""The worked example of the README, checked against slots cut one by one and boxes glued by brute force.

`test_readme.py` holds that the README shows what the program prints; here what it shows is worked out again
by hand, from the inputs that it shows.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from test_box import step_over_the_key, wood_taken_at_the_end
from test_readme import readme, section

MANY = 100_000
SHOWN = section(readme(), "The box around the joints")
FLAT = " ".join(SHOWN.split())


def number(pattern: str) -> float:
    """Find one number in the section."""
    [found] = re.findall(pattern, FLAT)
    return float(found)


def believed(name: str) -> tuple[float, float]:
    """Find a mean and its u as the section lists them."""
    [found] = set(re.findall(rf"- {name} (\d+\.\d+) mm, u (\d+\.\d+) mm", FLAT))
    return float(found[0]), float(found[1])


PITCH, SLOT = 2 * believed("slot")[0] - believed("clearance")[0], believed("slot")[0]
GAP = PITCH - SLOT
WIDTH = number(r"then rip to line 17, (\d+\.\d+) mm")


def test_the_line_to_rip_to_is_where_the_seventeenth_cut_wall_is():
    walls = [wall for span in step_over_the_key(GAP, SLOT, 115.0, "finger") for wall in span]
    assert walls[16] == pytest.approx(WIDTH, rel=0, abs=0.02)  # shown to 0.01, from a pitch known to 0.001
    assert number(r"would end in a part slot of (\d+\.\d+) mm") == pytest.approx(
        102.0 - walls[16], rel=0, abs=0.02
    )
    assert number(r"or (\d+\.\d+) mm. - Leave") == pytest.approx(walls[17], rel=0, abs=0.02)
    assert number(r"Leave the boards (\d+\.\d+) mm wide") == pytest.approx(WIDTH + 3.0, rel=0, abs=0.011)


def test_boards_are_as_long_as_the_box_and_the_proud_of_both_ends():
    proud = believed("proud")[0]
    for board, size in (("A1 front", 250.0), ("A2 back", 250.0), ("B1 right end", 180.0)):
        length = number(rf"{board} (\d+\.\d+) \d+\.\d+ 8\.00 a")
        assert length == pytest.approx(size + 2 * proud, rel=0, abs=1e-9)
        seated = length - 2 * (number(r"base: A (\d+\.\d+) mm") - 8.0)  # sanded flush
        assert seated == pytest.approx(size, rel=0, abs=1e-9)


def test_the_groove_is_in_a_slot_of_a_and_in_a_finger_of_b_and_stops_short_of_the_outside():
    [(near, far, depth)] = re.findall(r"From (\d+\.\d+) mm to (\d+\.\d+) mm, (\d+\.\d+) mm deep", FLAT)
    near, far, depth = float(near), float(far), float(depth)
    assert near == pytest.approx(believed("setback")[0], rel=0, abs=0.006)
    taken = {
        first: wood_taken_at_the_end(step_over_the_key(GAP, SLOT, WIDTH, first), near, far - near, WIDTH)
        for first in ("finger", "slot")
    }
    assert taken["finger"] == 0.0
    assert taken["slot"] == pytest.approx(far - near, rel=0, abs=1e-9)
    assert "A boards: in a slot" in FLAT
    assert "B boards: in a finger; it would show, so stop it." in FLAT
    stop = number(r"Stop marks (\d+\.\d+) mm from both ends")
    assert stop == pytest.approx(8.1 - depth, rel=0, abs=0.011)  # the panel may be pushed to the bottom
    assert number(r"\(travel (\d+\.\d+) mm\)") == pytest.approx(180.2 - 2 * stop, rel=0, abs=0.02)
    assert number(r"(\d+\.\d+) mm of wood stays") == pytest.approx(stop - 2.5 - 0.1, rel=0, abs=0.011)
    assert number(r"the fence stands (\d+\.\d+) mm") == pytest.approx((near + far) / 2, rel=0, abs=0.011)


def test_the_lid_is_sawn_at_a_cut_wall_and_nothing_of_the_height_is_lost():
    body = number(r"body (\d+\.\d+) mm")
    walls = [wall for span in step_over_the_key(GAP, SLOT, WIDTH, "finger") for wall in span]
    assert min(abs(wall - body) for wall in walls) < 0.02
    assert body + 1.0 + number(r"lid (\d+\.\d+) mm, its first") == pytest.approx(WIDTH, rel=0, abs=0.02)


def test_the_panel_leaves_a_millimetre_of_play_both_ways():
    depth = believed("depth")[0]
    [(along, across)] = re.findall(r"Make it (\d+\.\d+) mm by (\d+\.\d+) mm", FLAT)
    assert float(along) == pytest.approx(250 - 16 + 2 * depth - 1.0, rel=0, abs=0.006)
    assert float(across) == pytest.approx(180 - 16 + 2 * depth - 1.0, rel=0, abs=0.006)
    assert number(r"Play along: (\d+\.\d+) mm, all through") == 1.0


def test_the_chance_that_it_closes_is_the_share_of_boxes_that_do():
    """100,000 boxes from the numbers that are shown; boards, panels and setbacks drawn as assumed."""
    rng = np.random.default_rng(31)

    def some(mean, sd, size=MANY):
        return rng.normal(mean, sd, size)

    clearance = some(*believed("clearance"))
    corners = np.all([clearance + some(0, 0.02) >= 0 for _ in range(4)], axis=0)
    setbacks = some(0, 0.02, (4, MANY))
    play = some(believed("groove width")[0] - 4.8, math.hypot(believed("groove width")[1], 0.08))
    fits = play >= setbacks.max(axis=0) - setbacks.min(axis=0)
    proud, depth = some(0, believed("proud")[1]), some(*believed("depth"))
    skew, held, free = np.abs(some(0, 0.0005)), np.ones(MANY, bool), np.ones(MANY, bool)
    panel = [234 + 2 * believed("depth")[0] - 1, 164 + 2 * believed("depth")[0] - 1]
    for inside, mine, other in ((234.0, panel[0], panel[1]), (164.0, panel[1], panel[0])):
        room, size = some(inside, 0.1) - 2 * proud, some(mine, 0.2)
        grooves = depth + some(0, 0.02), depth + some(0, 0.02)
        free &= size + skew * other <= room + grooves[0] + grooves[1]
        held &= size - skew * other - room - np.maximum(*grooves) >= 1.0
    for share, shown in (
        ((corners & fits & held & free).mean(), number(r"never pinches it: (\d+) %")),
        (fits.mean(), number(r"panel lets them close (\d+) %")),
    ):
        error = 3 * math.sqrt(share * (1 - share) / 20_000)
        assert shown / 100 == pytest.approx(share, rel=0, abs=error + 0.005)
    for event in (corners, held, free):
        assert event.mean() > 0.99
    assert FLAT.count("over 99 %") >= 4


def test_sixteen_ends_and_eight_sides_are_counted_off():
    rows = re.findall(r"^(corners|grooves) +(\w+) +(\d+) +(\d+) +(\d+)$", SHOWN, re.MULTILINE)
    assert rows == [("corners", "corners", "16", "0", "16"), ("grooves", "bottom", "0", "8", "8")]
    assert "every piece that is counted is cut" in FLAT


def test_both_parts_of_the_inlay_are_typed_in_for_the_gap_that_is_wanted():
    [typed] = set(re.findall(r"(?:pocket|insert) +(\d+\.\d+) +60\.00 x 20\.00", SHOWN))
    gap = 2 * (2.0 - float(typed))
    assert gap == pytest.approx(0.16, rel=0, abs=1e-9)
    needs = (1 - math.sqrt(0.5)) * (1.0 - 0.3)
    assert number(r"The corners need (\d+\.\d+) mm") == pytest.approx(needs, rel=0, abs=0.006)
    least = number(r"Round the insert's corners to (\d+\.\d+) mm")
    assert (1 - math.sqrt(0.5)) * (1.0 - least) == pytest.approx(gap / 2, rel=0, abs=0.003)
    rng = np.random.default_rng(32)
    gaps = gap + rng.normal(0.0, 0.1, MANY) + rng.normal(0.0, 0.02, MANY)
    share = np.mean((gaps > 0.10) & (gaps < 0.26))
    assert number(r"next inlay is in its band: (\d+) %") / 100 == pytest.approx(share, rel=0, abs=0.01)


def test_the_diagonals_give_a_leaning_box_its_angle_and_gaps():
    lean = math.radians(number(r"Out of square by (\d+\.\d+)°"))
    corner = 180.0 * np.array([math.sin(lean), math.cos(lean)])
    diagonals = math.hypot(250.0 + corner[0], corner[1]), math.hypot(250.0 - corner[0], corner[1])
    assert diagonals[0] - diagonals[1] == pytest.approx(0.5, rel=0, abs=0.003)
    assert number(r"(\d+\.\d+) mm over the second side") == pytest.approx(corner[0], rel=0, abs=0.006)
    assert "Squeeze the first diagonal" in FLAT


def test_every_number_is_either_from_the_log_or_named_an_assumption():
    known, _, rest = SHOWN.partition("From the log")[2].partition("Assumptions")
    for name in ("clearance", "slot", "depth", "setback"):
        assert f"- {name} " in known
    for name in ("proud", "groove width", "boards sawn", "air of", "plywood"):
        assert f"- {name}" in rest

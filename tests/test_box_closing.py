"""The closing chance against a hundred thousand boxes that are cut, joined and put through a year."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calib.box.closing import (
    BoxBelief,
    Uncertain,
    closing_chance,
    corners_on_one_setting,
    draw,
    free_one_way,
)
from calib.box.improve import candidates, improvements
from calib.errors import CalibError
from calib.geometry.finger_boards import play_of_two_boards

MANY = 100_000
CHEST = BoxBelief(
    clearance=Uncertain(0.05, 0.025),
    clearance_scatter=0.015,
    inside_x=Uncertain(234.0, 0.15),
    inside_y=Uncertain(164.0, 0.15),
    proud_error=Uncertain(0.0, 0.05),
    depth=Uncertain(4.0, 0.08),
    depth_scatter=0.05,
    setback_scatter=0.05,
    groove_play=Uncertain(0.2, 0.06),
    panel_x=Uncertain(241.0, 0.25),
    panel_y=Uncertain(171.0, 0.25),
    panel_square=Uncertain(0.0, 0.001),
)
SOLID = replace(
    CHEST,
    panel_y=Uncertain(170.2, 0.25),
    coefficient_y=0.00248,
    up=Uncertain(1.8, 1.0),
    down=Uncertain(3.0, 1.0),
    least_hold=0.5,
)
BOXES = {
    "chest": CHEST,
    "solid panel through a season": SOLID,
    "solid panel made too large": replace(SOLID, panel_y=Uncertain(171.3, 0.3)),
    "two settings": replace(CHEST, pitch_difference=Uncertain(0.0, 0.006), slots=9),
    "key moved between the boards": replace(CHEST, pitch_difference=Uncertain(-0.008, 0.002), slots=6),
    "tight corners": replace(CHEST, clearance=Uncertain(0.0, 0.03), clearance_scatter=0.01),
    "proud unknown": replace(CHEST, proud_error=Uncertain(0.1, 0.25)),
    "grooves out of line": replace(CHEST, setback_scatter=0.12),
    "panel out of square": replace(CHEST, panel_square=Uncertain(0.002, 0.002)),
    "shallow groove": replace(CHEST, depth=Uncertain(3.6, 0.15), panel_x=Uncertain(240.0, 0.6)),
}


def brute(belief, seed):
    """Cut and join boxes from gaps, slots and boards; return the events, each of shape (MANY,)."""
    rng = np.random.default_rng(seed)

    def some(value, size=MANY):
        return rng.normal(value.mean, value.sd, size)

    dp, slot = some(belief.pitch_difference), 6.0
    corner_play = np.full(MANY, np.inf)
    common = some(belief.clearance)
    for _ in range(4):
        clearance = common + rng.normal(0.0, belief.clearance_scatter, MANY)
        gap_a, gap_b = slot - clearance + dp / 2, slot - clearance - dp / 2
        room, stop = np.full(MANY, np.inf), np.full(MANY, -np.inf)
        for n in range(belief.slots):  # how far B can slide along A: every wall has its say
            if n + 1 < belief.slots:  # the last slot of A runs out through the edge
                room = np.minimum(room, n * dp + dp)
            stop = np.maximum(stop, gap_a - slot + n * dp)
            if n:
                room = np.minimum(room, n * dp)
                stop = np.maximum(stop, n * dp + gap_a - slot)
        assert np.all(gap_b > 0)
        corner_play = np.minimum(corner_play, room - stop)
    proud = some(belief.proud_error)
    inside = [some(belief.inside_x) - 2 * proud, some(belief.inside_y) - 2 * proud]
    depth = some(belief.depth)
    depths = [[depth + rng.normal(0.0, belief.depth_scatter, MANY) for _ in range(2)] for _ in range(2)]
    made = [some(belief.panel_x), some(belief.panel_y)]
    skew = np.abs(some(belief.panel_square))
    lost = [skew * belief.panel_y.mean, skew * belief.panel_x.mean]
    up, down = some(belief.up), some(belief.down)
    setbacks = np.array([rng.normal(0.0, belief.setback_scatter, MANY) for _ in range(4)])
    in_line = some(belief.groove_play) - (setbacks.max(axis=0) - setbacks.min(axis=0)) >= 0
    fits, held, free = in_line, np.ones(MANY, bool), [None, None]
    for way, rate in enumerate((belief.coefficient_x, belief.coefficient_y)):
        room = inside[way] + depths[way][0] + depths[way][1]
        fits = fits & (made[way] + lost[way] <= room)
        free[way] = made[way] * (1 + rate * up) + lost[way] <= room
        dry = made[way] * (1 - rate * down) - lost[way]
        for d in depths[way]:  # pushed home into one groove, what is left in the other
            held = held & (dry - inside[way] - d >= belief.least_hold)
    corners = corner_play >= 0
    return {
        "corners": corners,
        "fits": fits,
        "held": held,
        "free_x": free[0],
        "free": free[0] & free[1],
        "closes": corners & fits & held & free[0] & free[1],
    }


def three_errors(share, draws=MANY, count=1):
    return 3.0 * np.sqrt(max(share * (1 - share), 1 / draws) * count / draws)


@pytest.mark.parametrize("name", BOXES)
def test_the_chance_agrees_with_boxes_that_were_cut_and_joined(name):
    belief = BOXES[name]
    found, events = closing_chance(belief, draw(np.random.default_rng(5), MANY)), brute(belief, 11)
    for event in ("corners", "fits", "held", "free", "closes"):
        share = events[event].mean()
        within = three_errors(share, count=2)  # both sides are draws
        assert getattr(found, event) == pytest.approx(share, rel=0, abs=within), event


@pytest.mark.parametrize("name", BOXES)
def test_the_normal_law_agrees_where_the_question_is_linear(name):
    belief, events = BOXES[name], brute(BOXES[name], 12)
    share = events["free_x"].mean()
    assert free_one_way(belief, "x") == pytest.approx(share, rel=0, abs=three_errors(share))
    if belief.pitch_difference == (0.0, 0.0):
        share = events["corners"].mean()
        assert corners_on_one_setting(belief) == pytest.approx(share, rel=0, abs=three_errors(share))


def test_a_solid_panel_through_a_season_follows_the_normal_law_across_its_grain():
    share = brute(replace(SOLID, inside_x=Uncertain(300.0, 0.0)), 13)["free"].mean()
    assert 0.5 < share < 0.999
    assert free_one_way(SOLID, "y") == pytest.approx(share, rel=0, abs=three_errors(share))


@pytest.mark.parametrize("name", BOXES)
def test_the_advised_improvement_is_the_best_of_all_single_ones(name):
    belief = BOXES[name]
    advised = improvements(belief, draw(np.random.default_rng(6)))[0]
    by_force = {
        (what, how): brute(better, 14)["closes"].mean() for what, how, better in candidates(belief)
    }
    best = max(by_force.values())
    assert by_force[advised.what, advised.how] == pytest.approx(best, rel=0, abs=three_errors(best, 20_000))
    assert best > closing_chance(belief, draw(np.random.default_rng(6))).closes


def test_corners_on_two_settings_play_as_two_boards_do():
    """One corner without scatter: the sign of the play is that of `play_of_two_boards`."""
    for dp in (-0.02, -0.01, 0.0, 0.01, 0.02):
        for clearance in (0.02, 0.05, 0.08, 0.12):
            gap_a, gap_b = 6.0 - clearance + dp / 2, 6.0 - clearance - dp / 2
            belief = replace(
                CHEST,
                clearance=Uncertain(clearance),
                clearance_scatter=0.0,
                pitch_difference=Uncertain(dp),
                slots=7,
            )
            closes = closing_chance(belief, draw(np.random.default_rng(1), 100)).corners == 1.0
            assert closes == (play_of_two_boards(gap_a, 6.0, gap_b, 6.0, 7) >= 0.0), (dp, clearance)


def test_two_settings_have_no_closed_form():
    with pytest.raises(CalibError, match="Draw them"):
        corners_on_one_setting(BOXES["two settings"])


def test_the_same_seed_gives_the_same_chance():
    one, two = (closing_chance(CHEST, draw(np.random.default_rng(3))) for _ in range(2))
    assert one == two

"""How a move is told: direction, amount, position, turns, lost motion."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import product

import pytest

from calib.decision.hand import direction_word, how_to_move, turn_words
from calib.errors import CalibError
from calib.present.directions import direction_sign
from calib.shop import Adjuster, Band, Joint, Setup

KEY = Adjuster("key", thread="M6")
LOOSE_KEY = Adjuster("key", backlash_mm=0.08)


def holding(adjuster: Adjuster, kind: str = "finger", units: str = "mm") -> Setup:
    return Setup("corners", Joint(kind), (Band("clearance", 0.07, 0.03, 0.12),), (adjuster,), units=units)


def told(adjuster: Adjuster, start: float, end: float, *, last: float | None = None, **how: str) -> str:
    return how_to_move(holding(adjuster, **how), adjuster.name, start, end, last)


@pytest.mark.parametrize(
    ("name", "falls", "rises"),
    [
        ("key", "toward the cutter", "away from the cutter"),
        ("fence", "toward the cutter", "away from the cutter"),
        ("height", "down", "up"),
        ("lever", "down the scale", "up the scale"),
    ],
)
def test_every_adjuster_has_its_own_words_for_a_falling_and_a_rising_setting(name, falls, rises):
    setup = holding(Adjuster(name))
    assert direction_word(setup, name, -0.1) == falls
    assert direction_word(setup, name, 0.1) == rises


def test_a_scale_that_counts_the_other_way_turns_the_trade_words_round_but_never_the_scales_own():
    assert direction_word(holding(Adjuster("key", counts_other_way=True)), "key", 0.1) == "toward the cutter"
    assert direction_word(holding(Adjuster("lever", counts_other_way=True)), "lever", 0.1) == "up the scale"


@pytest.mark.parametrize(
    ("name", "change", "other_way"),
    list(product(("key", "fence", "height", "lever"), (-0.1, 0.1), (False, True))),
)
def test_the_words_of_a_move_can_be_typed_back(name, change, other_way):
    """The first word of the direction, typed, has the sign that the move had."""
    adjuster = Adjuster(name, counts_other_way=other_way)
    word = direction_word(holding(adjuster), name, change).split()[0]
    assert direction_sign(adjuster, word) * change > 0


def test_a_move_tells_direction_amount_position_and_turn():
    assert told(KEY, 6.14, 6.00) == (
        "toward the cutter by 0.14 mm, to 6.00 mm on its scale: an eighth of a turn (50°) of its M6 screw"
    )


def test_without_a_scale_no_position_is_named():
    text = told(Adjuster("key", has_scale=False, backlash_mm=0.08), 6.14, 6.00)
    assert text.startswith("toward the cutter by 0.14 mm. ")
    assert "6.00" not in text
    assert "scale" not in text


def test_a_setup_in_inches_is_told_in_inches_only():
    text = told(LOOSE_KEY, 6.14, 6.00, units="in")
    assert text.startswith("toward the cutter by 0.0055 in, to 0.2362 in on its scale")
    assert "0.0087 in on the dial" in text  # (0.14 + 0.08) / 25.4
    assert "mm" not in text


def test_a_third_decimal_is_told_where_it_says_something():
    assert told(Adjuster("height"), 8.0, 8.105) == "up by 0.105 mm, to 8.105 mm on its scale"
    typed = Adjuster("diameter", typed=True)
    assert told(typed, 6.0, 5.985, kind="inlay") == "type 5.985 mm as the cutter's diameter"


def test_binary_dust_is_not_told():
    assert told(Adjuster("height"), 0.1, 0.1 + 0.2) == "up by 0.20 mm, to 0.30 mm on its scale"


def test_a_typed_value_is_typed_whatever_else_the_adjuster_says():
    typed = Adjuster("diameter", typed=True, backlash_mm=0.1, thread="M6", landing="renews")
    assert told(typed, 6.0, 5.98, kind="inlay") == "type 5.98 mm as the cutter's diameter"
    assert told(replace(typed, name="across"), 6.0, 5.98) == "type 5.98 mm as the across"


def test_a_move_that_renews_is_set_against_its_stop():
    stop = Adjuster("fence", landing="renews")
    assert told(stop, 12.0, 12.05).endswith("; set it against its stop or block")
    assert "stop" not in told(Adjuster("fence"), 12.0, 12.05)


def test_a_setting_that_does_not_change_is_no_move_in_any_direction():
    text = told(replace(LOOSE_KEY, thread="M6", landing="renews"), 6.0, 6.0)
    assert text == "to the same place again, 6.00 mm on its scale; set it against its stop or block"


def test_on_a_reversal_the_hand_winds_past_the_place_and_comes_forward():
    """F2, label D: backlash 0.08 mm, last approach +, wanted -0.05 mm: back by more than 0.13 mm."""
    assert told(LOOSE_KEY, 0.0, -0.05, last=0.3) == (
        "toward the cutter by 0.05 mm, to -0.05 mm on its scale. Against lost motion make it in two goes: "
        "wind back, toward the cutter, by more than 0.13 mm on the dial, then forward to -0.05 mm; lock it"
    )


def test_without_a_scale_the_way_forward_ends_short_of_the_start():
    text = told(replace(LOOSE_KEY, has_scale=False), 0.0, -0.05)
    assert text.endswith("then forward until it stands 0.05 mm short of where it started; lock it")


def test_the_way_back_is_told_in_degrees_of_the_thread_too():
    """0.13 mm of an M6 thread is 46.8 degrees (ISO 261: 1 mm a turn)."""
    assert "by more than 0.13 mm on the dial (47°), then" in told(replace(LOOSE_KEY, thread="M6"), 0.0, -0.05)


@pytest.mark.parametrize(
    ("change", "last", "two_goes"),
    [
        (-0.05, None, True),  # unknown: it came from below
        (0.05, None, False),
        (-0.05, 0.3, True),
        (0.05, 0.3, False),
        (0.05, -0.3, True),  # it came from above, so it finishes downward
        (-0.05, -0.3, False),
    ],
)
def test_lost_motion_is_taken_up_only_against_the_last_approach(change, last, two_goes):
    assert ("lost motion" in told(LOOSE_KEY, 1.0, 1.0 + change, last=last)) == two_goes
    assert "lost motion" not in told(replace(LOOSE_KEY, backlash_mm=0.0), 1.0, 1.0 + change, last=last)


def test_a_hand_that_follows_the_words_ends_at_the_setting_in_spite_of_lost_motion():
    """The slide follows the dial only when the slack is used up: it stays within 0 to 0.08 mm above it."""
    start, goal, slack = 1.0, 0.95, 0.08
    dial = slide = start  # the last approach was upward: the slide hangs on the dial

    def wind(to: float) -> None:
        nonlocal dial, slide
        dial = to
        slide = min(max(slide, dial), dial + slack)

    wind(goal)
    assert slide == pytest.approx(start, abs=1e-12)  # straight there, and nothing has moved
    text = told(LOOSE_KEY, start, goal)
    words = re.search(r"by more than (\S+) mm on the dial, then forward to (\S+) mm", text)
    assert words is not None
    wind(start)
    wind(start - float(words[1]) - 0.001)
    wind(float(words[2]))
    assert (dial, slide) == pytest.approx((goal, goal), abs=1e-12)


@pytest.mark.parametrize(
    ("distance", "thread", "words"),
    [
        (0.02, "M6", "7°"),
        (0.14, "M6", "an eighth of a turn (50°)"),
        (0.16, "1/4-20", "an eighth of a turn (45°)"),  # 0.126 turn, 45.4 degrees (1/4-20: 1.27 mm a turn)
        (0.19, "M6", "0.19 of a turn (68°)"),
        (0.50, "M6", "half a turn (180°)"),
        (0.75, "M6", "three quarters of a turn (270°)"),
        (1.00, "M6", "1 turn (360°)"),
        (1.125, "M6", "1 turn and an eighth (405°)"),
        (1.50, "M6", "1 turn and a half (540°)"),
        (2.31, "M6", "2.31 turns (832°)"),
        (0.98, "M6", "1 turn (353°)"),
    ],
)
def test_turns_are_told_in_eighths_where_one_is_near(distance, thread, words):
    assert turn_words(distance, thread) == words


def test_no_way_of_telling_a_move_calls_anything_safe():
    switches = product(("adds", "renews"), (True, False), (None, "M6"), (0.0, 0.08), (True, False))
    for landing, scale, thread, backlash, typed in switches:
        adjuster = Adjuster("key", 0.02, backlash, landing, thread=thread, has_scale=scale, typed=typed)
        for end in (5.9, 6.0, 6.1):
            text = told(adjuster, 6.0, end)
            assert "safe" not in text.lower()
            assert text.count(". ") <= 1  # two sentences at the most; the full stop is the reader's
            assert not text.endswith(".")


def test_an_adjuster_that_the_setup_does_not_have_is_refused():
    with pytest.raises(CalibError, match='no adjuster "fence"'):
        how_to_move(holding(KEY), "fence", 0.0, 1.0)

"""A setup as a dict and back, and the knowledge and stakes tables on their own."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import LogError
from calib.setupform import (
    default_words,
    knowledge_from_dict,
    knowledge_to_dict,
    length_out,
    reading_from_text,
    reading_to_text,
    setup_from_dict,
    setup_to_dict,
    stakes_from_dict,
    stakes_to_dict,
)
from calib.setupform.lengths import length_to_text, number_mm
from calib.shop import (
    LEARN,
    Adjuster,
    Band,
    Cutter,
    FeelScale,
    Interval,
    Joint,
    Knowledge,
    ReadingStakes,
    Scales,
    Setup,
    Stakes,
)
from calib.units import parse_length

FORM: dict[str, Any] = {
    "schema": "calib.log/1",
    "name": "lid",
    "joint": {"kind": "inlay"},
    "readings": {"gap": {"target": 0.1, "low": 0.05, "high": 0.2}},
    "adjusters": {"diameter": {}},
}
FULL = Setup(
    name="plain-one",
    joint=Joint("plain", thickness_mm=8.1, seat="toward", drawn_gap_mm=0.3),
    bands=(Band("width", 6.05, 6.0, 6.1), Band("place", -1.0, -2.0, 1.0)),
    adjusters=(
        Adjuster("stop", 0.02, 0.08, "renews", -3.0, 50.0, "1/4-20", moves={"width": LEARN}),
        Adjuster("shim", has_scale=False, counts_other_way=True, moves={"place": 0.625}),
    ),
    cutter=Cutter("straight", 6.35, 3.5, 6.31),
    pieces_left=0,
    metres_per_piece_m=0.18,
    stock="cherry",
    stakes=Stakes(3.0, 1.0, {"width": ReadingStakes(30.0, 12.0)}, ReadingStakes(5.0, 6.0), 45.0),
    knowledge=Knowledge(
        math.inf, 0.03, 0.021, 0.016, 0.04, 0.0005, 0.001, 0.02, 0.01, 0.05, 0.03, 0.5, True,
        {"width": Scales(cut_sd_mm=0.03, offset_sd_mm=math.inf), "shim": Scales(scale_sd=0.2)},
    ),
    feel=FeelScale({"tight": (-math.inf, 6.0), "fine": (6.0, 6.1)}, 0.03),
    abrasive={"board": 3.0},
)  # fmt: skip


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_setup_survives_its_form_and_json_to_the_last_bit(units: Any) -> None:
    setup = replace(FULL, units=units)
    text = json.dumps(setup_to_dict(setup), allow_nan=False)
    assert setup_from_dict(json.loads(text)) == setup


def test_a_typed_in_diameter_lands_exactly_unless_it_is_told_otherwise() -> None:
    typed = setup_from_dict(FORM)
    assert (typed.adjusters[0].typed, typed.adjusters[0].landing) == (True, "renews")
    assert typed.knowledge.scale("diameter", "move_sd_mm") == 0.0
    told = setup_from_dict({**FORM, "adjusters": {"diameter": {"move_sd": 0.01}}})
    assert told.knowledge.scale("diameter", "move_sd_mm") == 0.01
    key = setup_from_dict({**FORM, "joint": {"kind": "finger"}, "adjusters": {"key": {}}})
    assert (key.adjusters[0].typed, key.adjusters[0].landing) == (False, "adds")
    assert key.knowledge.of == {}


def test_what_is_not_said_has_the_documented_defaults() -> None:
    setup = setup_from_dict(FORM)
    assert (setup.units, setup.stakes, setup.cutter) == ("mm", Stakes(), Cutter())
    assert setup.knowledge == replace(Knowledge(), of=setup.knowledge.of)
    assert setup.knowledge.offset_sd_mm == 0.3
    assert setup.knowledge.blunder_probability == 0.02


def test_words_start_from_the_joint_and_only_where_the_first_reading_is_the_fit() -> None:
    assert setup_from_dict(FORM).feel.words == default_words("inlay", "gap")
    assert default_words("finger", "clearance") == default_words("finger", "play")
    assert default_words("finger", "proud") == default_words("groove", "setback") == {}


@pytest.mark.parametrize("words", [default_words("finger", "play"), default_words("inlay", "gap")])
def test_the_words_of_a_joint_follow_each_other_without_gaps(words: dict[str, tuple[float, float]]) -> None:
    limits = list(words.values())
    assert limits[0][0] == -math.inf
    assert limits[-1][1] == math.inf
    assert all(before[1] == after[0] for before, after in pairwise(limits))


def test_words_that_are_given_replace_all_and_may_have_open_ends() -> None:
    words = {"slack": {"low": 0.1}, "tight": ["-inf", 0.0], "fine": [0.0, 0.1], "open": [0.1, ""]}
    setup = setup_from_dict({**FORM, "feel": {"spread": 0.02, "words": words}})
    ends = {"slack": (0.1, math.inf), "tight": (-math.inf, 0.0), "fine": (0.0, 0.1), "open": (0.1, math.inf)}
    assert setup.feel == FeelScale(ends, 0.02)


def test_lengths_of_a_form_in_inches_are_mm_and_other_numbers_stay() -> None:
    form = {
        **FORM,
        "units": "in",
        "knowledge": {"cut_sd": 0.001, "wear_sd": 0.0001, "creep_sd": "1 thou", "scale_sd": 0.03},
        "adjusters": {"diameter": {"scale_sd": 0.2, "move_sd": 0.001, "least_step": "1/64"}},
        "readings": {"gap": {**FORM["readings"]["gap"], "cut_sd": "0.03 mm"}},
        "metres_per_piece": 0.05,
    }
    setup = setup_from_dict(form)
    known = setup.knowledge
    assert (known.cut_sd_mm, known.wear_sd_mm_per_m, known.creep_sd_mm) == (0.0254, 0.00254, 0.0254)
    assert (known.scale_sd, setup.metres_per_piece_m) == (0.03, 0.05)
    assert known.of["diameter"] == Scales(scale_sd=0.2, move_sd_mm=0.0254)
    assert known.of["gap"] == Scales(cut_sd_mm=0.03)
    assert setup.adjusters[0].least_step_mm == 0.396875


def test_a_key_in_the_table_of_the_wrong_kind_is_not_silently_ignored() -> None:
    with pytest.raises(LogError, match=r"adjusters\.diameter\.cut_sd is not a known key"):
        setup_from_dict({**FORM, "adjusters": {"diameter": {"cut_sd": 0.1}}})
    with pytest.raises(LogError, match=r"readings\.gap\.move_sd is not a known key"):
        setup_from_dict({**FORM, "readings": {"gap": {**FORM["readings"]["gap"], "move_sd": 0.1}}})


def test_every_problem_of_a_form_is_one_line_with_its_source() -> None:
    with pytest.raises(LogError) as caught:
        setup_from_dict({**FORM, "pieces_left": -1, "unit": "mm", "joint": 3}, source="row 4")
    assert caught.value.problems == (
        'row 4: joint is "3"; a table is needed here.',
        'row 4: pieces_left "-1" will not do. Write a whole number, 0 or more.',
        'row 4: unit is not a known key. Did you mean "units"?',
    )


def test_knowledge_from_a_dict_changes_only_what_it_names() -> None:
    base = Knowledge(of={"gap": Scales(cut_sd_mm=0.05)})
    found = knowledge_from_dict(
        {"cut_sd": 0.03, "scales_known": True, "gap": {"reading_sd": 0.01}}, base, names=["gap", "key"]
    )
    expected = replace(
        base, cut_sd_mm=0.03, scales_known=True, of={"gap": Scales(cut_sd_mm=0.05, reading_sd_mm=0.01)}
    )
    assert found == expected
    assert knowledge_from_dict({}, base) == base


def test_knowledge_in_inches_is_mm_and_a_mistyped_key_is_refused() -> None:
    assert knowledge_from_dict({"offset_sd": math.inf, "move_sd": 0.001}, Knowledge(), "in") == Knowledge(
        offset_sd_mm=math.inf, move_sd_mm=0.0254
    )
    with pytest.raises(LogError, match=r'knowledge: cutsd is not a known key\. Did you mean "cut_sd"\?'):
        knowledge_from_dict({"cutsd": 0.03}, Knowledge())


def test_stakes_from_a_dict_change_only_what_they_name() -> None:
    base = Stakes(readings={"clearance": ReadingStakes(9.0, 8.0)})
    found = stakes_from_dict({"test_cut": 4, "clearance": {"too_high": 30}}, base, ["clearance", "proud"])
    assert found == replace(base, readings={"clearance": ReadingStakes(30.0, 8.0)})
    with pytest.raises(LogError, match=r"stakes: move \"-2\" is out of range\. Write a number 0 or more\."):
        stakes_from_dict({"move": -2}, base)
    with pytest.raises(LogError, match="proud is not a known key"):
        stakes_from_dict({"proud": {"too_high": 1}}, base, ["clearance"])


def test_a_reading_without_stakes_of_its_own_takes_the_default_of_the_table() -> None:
    found = stakes_from_dict({"too_high": 40, "gap": {"too_low": 5}}, Stakes(), ["gap", "proud"])
    assert found.of("gap") == ReadingStakes(40.0, 5.0)
    assert found.of("proud") == ReadingStakes(40.0, 20.0)


def test_the_tables_alone_come_back_from_their_own_form() -> None:
    assert stakes_from_dict(stakes_to_dict(FULL.stakes), Stakes(), ["width"]) == FULL.stakes
    known = knowledge_from_dict(knowledge_to_dict(FULL.knowledge, "in"), Knowledge(), "in")
    assert known == replace(FULL.knowledge, of={})


@given(
    st.floats(allow_nan=False, allow_infinity=False, min_value=-1e4, max_value=1e4),
    st.sampled_from(["mm", "in"]),
)
def test_a_length_comes_back_to_the_last_bit_as_number_and_as_text(mm: float, units: Any) -> None:
    out = length_out(mm, units)
    back = parse_length(out, unit=units).mm if isinstance(out, str) else number_mm(out, units)
    assert back == mm
    assert parse_length(length_to_text(mm, units), unit=units).mm == mm


@given(st.integers(min_value=-2000, max_value=2000))
def test_whole_thousandths_of_an_inch_stay_plain_numbers(thou: int) -> None:
    assert length_out(number_mm(thou / 1000, "in"), "in") == thou / 1000


@given(st.lists(st.floats(min_value=-9, max_value=9), min_size=1, max_size=4), st.sampled_from(["mm", "in"]))
def test_repeats_and_intervals_come_back_from_one_cell(values: list[float], units: Any) -> None:
    readings = (*values, Interval(-math.inf, values[0]), Interval(values[0], 10.0))
    assert reading_from_text(reading_to_text(readings, units), units, "gap") == readings


@pytest.mark.parametrize("key", ["pieces_left", "metres_per_piece", "stock"])
@pytest.mark.parametrize("value", [10**400, -(10**400), math.nan, math.inf, True, [], {}, ""])
def test_a_value_of_a_wild_kind_is_one_problem_and_never_a_crash(key: str, value: Any) -> None:
    with pytest.raises(LogError, match=rf"^row 4: {key} ") as caught:
        setup_from_dict({**FORM, key: value}, source="row 4")
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize("value", [10**400, 1e308, math.nan, True, [], {}, "", "1/3 in", -0.001])
def test_a_wild_length_is_one_problem_and_never_a_crash(value: Any) -> None:
    with pytest.raises(LogError, match=r"^knowledge: cut_sd ") as caught:
        knowledge_from_dict({"cut_sd": value}, Knowledge(), "in")
    assert len(caught.value.problems) == 1

"""From a setup and its log to terms, rows and blocks: what is a column, what is taken off, what is noise."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from setups import CUT_SD, GAP, LEVER, READING_SD, RISE, X, gap_log, plain, standing_at

from calib.errors import CalibError
from calib.regression.footing import reference_settings, start_setting
from calib.regression.terms import Block, Row, blocks_of
from calib.shop import Adjuster, Band, Cut, Cutter, FeelScale, Interval, Joint, Setup

WORDS = FeelScale({"tight": (-1.0, 0.0)}, 0.04)


def only_block(setup: Setup, cuts: list[Cut]) -> Block:
    (block,) = blocks_of(setup, cuts)
    return block


def only_row(setup: Setup, **said: Any) -> Row:
    (row,) = only_block(setup, [Cut(1, "test", {"lever": 0.0}, **said)]).rows
    return row


def names(block: Block) -> list[str]:
    return [term.name for term in block.terms]


def test_a_bare_setup_has_one_unknown():
    block = only_block(plain(), gap_log())
    assert [(t.name, t.prior_sd, t.scaled_by) for t in block.terms] == [("span:gap:0", 0.2, "")]


def test_every_thing_that_is_believed_is_one_more_term():
    known = {
        "move_sd_mm": 0.04, "scale_sd": 0.03, "creep_sd_mm": 0.001, "zero_sd_mm": 0.02,
        "stock_sd_mm": 0.05, "mounting_sd_mm": 0.1,
    }  # fmt: skip
    cuts = [
        Cut(1, "test", {"lever": 0.0}, {"gap": (0.1, 0.12)}, stock="pine"),
        Cut(2, "test", {"lever": 0.2}, {"gap": (0.0,)}, stock="ash", mounting="two"),
        Cut(3, "test", {"lever": 0.3}, {"gap": (0.0,)}),
    ]
    block = only_block(plain(**known), cuts)
    assert {t.name: (t.prior_sd, t.scaled_by) for t in block.terms} == {
        "offset:gap": (0.2, ""), "span:gap:0": (0.1, ""), "span:gap:1": (0.1, ""), "creep:gap": (0.001, ""),
        "zero:gap": (0.02, ""), "stock:gap:pine": (0.05, ""), "stock:gap:ash": (0.05, ""),
        "scale:lever": (0.03, ""), "move:lever:1": (0.04, "move"), "cut:gap:0": (CUT_SD, "scatter"),
    }  # fmt: skip
    assert block.index == {name: i for i, name in enumerate(names(block))}


def test_one_stock_alone_is_no_term_until_the_good_pieces_are_of_another():
    cuts = gap_log([0.0], [0.1], stock="pine")
    setup = plain(stock_sd_mm=0.05)
    assert not [n for n in names(only_block(setup, cuts)) if n.startswith("stock")]
    good = dataclasses.replace(setup, stock="cherry")
    assert [n for n in names(only_block(good, cuts)) if n.startswith("stock")] == [
        "stock:gap:pine",
        "stock:gap:cherry",
    ]


def test_a_typed_value_lands_without_an_error_when_its_sd_is_zero():
    block = only_block(plain(move_sd_mm=0.0), gap_log())
    assert not [n for n in names(block) if n.startswith("move")]


@pytest.mark.parametrize(
    ("landing", "acting"), [("adds", [0, 1, 2, 2, 3, 4]), ("renews", [0, 1, 1, 1, 1, 1])]
)
def test_the_moves_that_act_on_a_cut(landing, acting):
    """All of them where they add, the last one where they renew; none at the first stand."""
    lever = dataclasses.replace(LEVER, landing=landing)
    block = only_block(plain(lever, move_sd_mm=0.04), gap_log())
    columns = block.matrix(block.rows)[:, [n.startswith("move") for n in names(block)]]
    np.testing.assert_array_equal(np.abs(columns).sum(axis=1), acting)
    np.testing.assert_array_equal(columns[-1], [-1.0] * 4 if landing == "adds" else [0, 0, 0, -1.0])


def test_what_geometry_says_is_taken_off_every_row():
    """Target 0, slope -1: the value that is left is the offset as if read at the first setting."""
    shifted = [x + 2.0 for x in X]
    rows = only_block(plain(), gap_log(shifted, [0.1] * 6)).rows
    np.testing.assert_allclose([row.known_mm for row in rows], -np.array(X), rtol=0, atol=1e-12)
    np.testing.assert_allclose([row.value_mm for row in rows], 0.1 + np.array(X), rtol=0, atol=1e-12)


def test_a_finger_joint_s_play_is_slot_minus_key():
    setup = Setup(
        "fingers", Joint("finger"), (Band("play", 0.1, 0.0, 0.2),), (Adjuster("key"),), Cutter("six", 6.0)
    )
    (row,) = only_block(setup, [Cut(1, "test", {"key": 5.9}, {"play": (0.13,)})]).rows
    assert row.known_mm == pytest.approx(0.1, abs=1e-12)
    assert row.value_mm == pytest.approx(0.03, abs=1e-12)


def test_a_scale_that_is_turned_turns_its_slope_and_what_is_known():
    cuts = gap_log([0.0, 0.3], [0.1, 0.1])
    stated, turned = blocks_of(plain(), cuts)[0], blocks_of(plain(), cuts, frozenset(["lever"]))[0]
    assert (stated.slopes[0, 0], turned.slopes[0, 0]) == (-1.0, 1.0)
    assert (stated.rows[1].known_mm, turned.rows[1].known_mm) == (-0.3, 0.3)


def test_the_scatter_of_a_cut_is_noise_alone_and_a_term_when_it_is_shared():
    alone = only_row(plain(), readings={"gap": (0.1,)})
    assert alone.scaled_variance_mm2 == pytest.approx(CUT_SD**2 + READING_SD**2, rel=1e-12)
    assert alone.fixed_variance_mm2 == 0.0
    block = only_block(plain(), [Cut(1, "test", {"lever": 0.0}, {"gap": (0.1, 0.12)})])
    assert names(block) == ["span:gap:0", "cut:gap:0"]
    for row in block.rows:  # what two looks at one cut differ by does not speak of the scatter
        assert row.features["cut:gap:0"] == 1.0
        assert (row.scaled_variance_mm2, row.fixed_variance_mm2) == (0.0, READING_SD**2)


def test_a_word_has_the_scatter_of_its_cut_and_the_spread_of_the_hand():
    row = only_row(plain(feel=WORDS, zero_sd_mm=0.05), feel="tight")
    assert not row.is_number
    assert (row.low_mm, row.high_mm) == (-1.0, 0.0)
    assert row.scaled_variance_mm2 == pytest.approx(CUT_SD**2, rel=1e-12)
    assert row.fixed_variance_mm2 == pytest.approx(0.04**2, rel=1e-12)
    assert "zero:gap" not in row.features


def test_the_limits_of_a_word_move_with_what_is_known():
    cuts = [standing_at(0.0), Cut(2, "test", {"lever": 0.25}, feel="tight")]
    (row,) = only_block(plain(feel=WORDS), cuts).rows
    assert (row.low_mm, row.high_mm) == (-0.75, 0.25)


def test_a_blade_is_a_measurement_with_the_gauge_s_noise_and_zero():
    row = only_row(plain(zero_sd_mm=0.05), readings={"gap": (Interval(0.1, math.inf),)})
    assert not row.is_number
    assert (row.low_mm, row.high_mm) == (0.1, math.inf)
    assert row.features["zero:gap"] == 1.0
    assert row.scaled_variance_mm2 + row.fixed_variance_mm2 == pytest.approx(
        CUT_SD**2 + READING_SD**2, rel=1e-12
    )


def test_a_word_speaks_of_the_first_reading_only():
    screw = Adjuster("screw", moves={"rise": 1.0})
    setup = plain(LEVER, screw, bands=(GAP, RISE), feel=WORDS)
    first, second = blocks_of(setup, [Cut(1, "test", {"lever": 0.0, "screw": 0.0}, feel="tight")])
    assert len(first.rows) == 1
    assert second.rows == ()


@pytest.mark.parametrize(
    ("moves", "blocks"),
    [
        (({"a": 1.0}, {"b": 1.0}, {"c": 1.0}), [("a",), ("b",), ("c",)]),
        (({"a": 1.0, "c": 1.0}, {"b": 1.0}, {"b": 0.0}), [("a", "c"), ("b",)]),
        (({"a": 1.0, "b": 1.0}, {"b": 1.0, "c": 1.0}, {"a": 0.0}), [("a", "b", "c")]),
        (({"a": 1.0, "b": "learn"}, {"c": 1.0}, {"c": 1.0}), [("a", "b"), ("c",)]),
        (({"a": 1.0}, {"c": 0.0}, {"c": 1.0}), [("a",), ("b",), ("c",)]),
    ],
)
def test_readings_that_an_adjuster_links_stand_in_one_block(moves, blocks):
    bands = tuple(Band(name, 0.0, -1.0, 1.0) for name in "abc")
    setup = plain(*(Adjuster(f"s{i}", moves=m) for i, m in enumerate(moves)), bands=bands)
    found = blocks_of(setup, [])
    assert [block.readings for block in found] == blocks
    for block in found:  # an adjuster stands in the block that it moves, and in no other
        mine = [f"s{i}" for i, m in enumerate(moves) if any(m.get(r) for r in block.readings)]
        assert list(block.adjusters) == mine


def test_the_offset_belongs_to_the_first_setting_of_the_log():
    assert reference_settings(plain(), gap_log([0.4, 0.6], [0.0, 0.0])) == {"lever": 0.4}


@pytest.mark.parametrize(
    ("adjuster", "start"),
    [
        (Adjuster("height"), 8.0),
        (Adjuster("key"), 6.0),
        (Adjuster("key", has_scale=False), 0.0),
        (Adjuster("height", has_scale=False), 0.0),
        (Adjuster("key", low_mm=7.0), 7.0),
        (Adjuster("key", high_mm=5.5), 5.5),
    ],
)
def test_where_an_uncut_setup_starts(adjuster, start):
    setup = Setup(
        "fingers", Joint("finger", thickness_mm=8.0), (Band("clearance", 0.07, 0.0, 0.1),), (adjuster,),
        Cutter("six", 6.0),
    )  # fmt: skip
    assert start_setting(setup, adjuster.name) == start
    assert reference_settings(setup, []) == {adjuster.name: start}


def test_the_message_for_a_cut_that_does_not_fit_names_the_cut_and_the_remedy():
    setup = plain(LEVER, Adjuster("screw", moves={"gap": 1.0}), feel=WORDS)
    with pytest.raises(CalibError) as lacking:
        blocks_of(setup, [Cut(7, "test", {"lever": 0.0})])
    assert str(lacking.value) == "cut 7 does not say where screw stood. Give its setting."
    with pytest.raises(CalibError) as word:
        blocks_of(setup, [Cut(8, "test", {"lever": 0.0, "screw": 0.0}, feel="mushy")])
    assert str(word.value) == 'cut 8: feel "mushy" is not a word of setup gaps. It knows: tight.'
    with pytest.raises(CalibError) as reading:
        blocks_of(setup, [Cut(9, "test", {"lever": 0.0, "screw": 0.0}, {"width": (0.1,)})])
    assert str(reading.value) == 'cut 9: setup gaps has no reading "width". It has: gap.'

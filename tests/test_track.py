"""The walk through a log: which moves, pieces, metres, stock and span each cut stands under."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest
from setups import LEVER, plain

from calib.regression.track import MachineState, Track, walk
from calib.shop import Adjuster, Cut

SCREW = Adjuster("screw", moves={"gap": 0.5})
SETUP = dataclasses.replace(plain(LEVER, SCREW), metres_per_piece_m=0.5)


def rows(*said: dict[str, Any]) -> list[Cut]:
    """Cuts numbered from 1; a setting that is not said stays at 0."""
    cuts = []
    for n, more in enumerate(said, 1):
        settings = {name: more.get(name, 0.0) for name in ("lever", "screw")}
        other = {k: v for k, v in more.items() if k not in settings}
        cuts.append(Cut(n, "test", settings, **other))
    return cuts


def walked(*said: dict[str, Any]) -> Track:
    return walk(SETUP, rows(*said))


def now(track: Track) -> MachineState:
    assert track.now is not None
    return track.now


def test_an_empty_log_says_nothing_of_the_machine():
    track = walk(SETUP, [])
    assert (track.states, track.now, track.moves, track.spans, track.stocks) == ((), None, (), 0, ())


def test_the_first_stand_is_no_move():
    track = walked({"lever": 3.0, "screw": 1.0})
    assert track.moves == ()
    assert track.states[0].moves == {"lever": (), "screw": ()}
    assert track.states[0].settings_mm == {"lever": 3.0, "screw": 1.0}


def test_every_change_of_a_setting_is_a_move_of_that_adjuster():
    track = walked({}, {"lever": 0.2}, {"lever": 0.2}, {"lever": 0.1, "screw": 0.4})
    assert [(m.name, m.adjuster) for m in track.moves] == [
        ("move:lever:1", "lever"), ("move:lever:2", "lever"), ("move:screw:3", "screw"),
    ]  # fmt: skip
    assert [m.change_mm for m in track.moves] == pytest.approx([0.2, -0.1, 0.4], abs=1e-12)
    assert track.states[2].moves == {"lever": ("move:lever:1",), "screw": ()}
    assert now(track).moves == {"lever": ("move:lever:1", "move:lever:2"), "screw": ("move:screw:3",)}


def test_less_than_any_scale_shows_is_the_same_place():
    assert walked({}, {"lever": 5e-10}).moves == ()
    assert len(walked({}, {"lever": 2e-9}).moves) == 1


def test_re_set_to_the_same_place_is_a_move():
    track = walked({}, {"moved": frozenset({"screw"})})
    assert [(m.adjuster, m.change_mm) for m in track.moves] == [("screw", 0.0)]


def test_pieces_count_from_the_last_move_and_the_last_of_a_row_is_read():
    track = walked({"pieces": 5}, {"pieces": 4}, {"lever": 0.1, "pieces": 3}, {"lever": 0.1})
    assert [state.pieces_since_move for state in track.states] == [4.0, 8.0, 2.0, 3.0]
    assert now(track).pieces_since_move == 4.0


def test_metres_go_on_through_moves_and_mountings():
    """Half a metre a piece, unless the row says its own; the last piece of a row is read before it ends."""
    track = walked({"pieces": 4}, {"lever": 0.1}, {"metres_m": 2.0, "pieces": 2}, {"mounting": "two"})
    assert [state.metres_m for state in track.states] == pytest.approx([1.5, 2.0, 3.5, 4.5], abs=1e-12)
    assert now(track).metres_m == pytest.approx(5.0, abs=1e-12)


def test_a_row_without_pieces_only_says_where_the_machine_stands():
    track = walked({"pieces": 2}, {"lever": 0.3, "pieces": 0})
    assert now(track).settings_mm["lever"] == 0.3
    assert now(track).metres_m == 1.0
    assert (track.states[1].pieces_since_move, now(track).pieces_since_move) == (0.0, 0.0)


def test_a_new_mounting_starts_a_span_where_old_moves_are_past():
    """The setting that it finds is its first stand, so it is no move; metres stay on the edge."""
    track = walked({}, {"lever": 0.2, "pieces": 3}, {"lever": 0.5, "mounting": "two"}, {"lever": 0.6})
    assert [state.span for state in track.states] == [0, 0, 1, 1]
    assert track.spans == 2
    assert track.states[2].moves == {"lever": (), "screw": ()}
    assert track.states[2].pieces_since_move == 0.0
    assert track.states[3].moves["lever"] == ("move:lever:2",)
    assert track.states[2].metres_m == 2.0


def test_a_new_edge_starts_a_span_and_its_metres_again():
    track = walked({"sharpening": "a", "pieces": 4}, {"sharpening": "b"}, {"lever": 0.1})
    assert [state.span for state in track.states] == [0, 1, 1]
    assert [state.metres_m for state in track.states] == pytest.approx([1.5, 0.0, 0.5], abs=1e-12)


@pytest.mark.parametrize("what", ["mounting", "sharpening"])
def test_what_is_not_said_is_as_in_the_row_before(what):
    track = walked({what: "one"}, {}, {what: "one"}, {what: "two"}, {})
    assert [state.span for state in track.states] == [0, 0, 0, 1, 1]


def test_stocks_are_kept_in_order_of_first_use():
    track = walked({}, {"stock": "pine"}, {}, {"stock": "ash"}, {"stock": "pine"})
    assert [state.stock for state in track.states] == ["", "pine", "pine", "ash", "pine"]
    assert track.stocks == ("", "pine", "ash")
    assert now(track).stock == "pine"

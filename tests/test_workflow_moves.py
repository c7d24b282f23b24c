"""Moves: told to a position, by an amount, as advised or with a cut, and what the model is told of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shopkit import CORNERS, cut, thumb_advice, ticking

from calib.errors import CalibError
from calib.workflow import history, setups
from calib.workflow.cuts import NeedsAnswer, moved_as_advised, moved_to
from calib.workflow.moves import moved_by, positions
from calib.workflow.next import next_step
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop, open_shop

NAME = "chest-corners"


def test_moves_are_rebuilt_from_what_was_said(corners: Shop) -> None:
    """To, by, and told with a cut; two moves between cuts are two to the model; a re-set is one too."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    moved_to(corners, NAME, {"key": 6.05}, texts={"key": "6.05"})
    moved_by(corners, NAME, "key", -0.05, text="0.05 toward")
    assert positions(corners, NAME) == {"key": pytest.approx(6.0, abs=1e-12), "height": 8.1}
    cut(corners, clearance=0.05)
    moved_to(corners, NAME, {"height": 8.1})
    cut(corners, clearance=0.05)
    cut(corners, key=5.98, clearance=0.07)
    _, cuts = history.log_of(corners, NAME)
    assert [(c.number, round(c.settings_mm["key"], 9), sorted(c.moved)) for c in cuts] == [
        (1, 6.14, []),
        (0, 6.05, []),
        (2, 6.0, []),
        (3, 6.0, ["height"]),
        (4, 5.98, []),
    ]
    moves = history.history(corners, NAME).mountings[0].moves
    assert [(m.adjuster, m.kind) for m in moves] == [
        ("key", "to"),
        ("key", "by"),
        ("height", "to"),
        ("key", "cut"),
    ]
    assert moves[1].from_mm == 6.05


def test_a_move_after_the_last_cut_is_known_to_the_next_advice(corners: Shop) -> None:
    """A last row without pieces says where the machine stands now."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    moved_to(corners, NAME, {"key": 6.0})
    last = history.log_of(corners, NAME)[1][-1]
    assert (last.pieces, last.readings, last.settings_mm) == (0, {}, {"key": 6.0, "height": 8.1})


@pytest.mark.parametrize(
    ("move", "message"),
    [
        (lambda shop: moved_as_advised(shop, NAME), "no advised move is open"),
        (lambda shop: moved_to(shop, NAME, {}), "no position was given"),
        (lambda shop: moved_to(shop, NAME, {"key": 41.0}), "outside its range"),
        (lambda shop: moved_by(shop, NAME, "height", 1.0), "not known where the height stood"),
        (lambda shop: moved_by(shop, NAME, "hight", 1.0), 'Did you mean "height"'),
        (lambda shop: moved_by(shop, NAME, "key", float("nan")), "is not a move"),
    ],
)
def test_a_move_that_cannot_be_is_refused(corners: Shop, move: Any, message: str) -> None:
    """One line, nothing stored."""
    with pytest.raises(CalibError, match=message):
        move(corners)
    assert positions(corners, NAME) == {}


def test_an_adjuster_that_was_added_later_stood_where_it_was_first_named(corners: Shop) -> None:
    """And one that was taken away is no longer in the log."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    old = setups.get(corners, NAME)
    stop = replace(old.adjusters[0], name="stop")
    setups.change(corners, NAME, replace(old, adjusters=(old.adjusters[0], stop)))
    with pytest.raises(NeedsAnswer, match="where the stop stood"):
        cut(corners, clearance=0.0)
    moved_to(corners, NAME, {"stop": 2.0})
    cut(corners, clearance=0.0)
    assert [c.settings_mm for c in history.log_of(corners, NAME)[1]] == [{"key": 6.14, "stop": 2.0}] * 2


def test_the_log_is_the_same_when_the_shop_is_opened_again(corners: Shop) -> None:
    """Everything is in the file."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    moved_to(corners, NAME, {"key": 6.0})
    before = history.log_of(corners, NAME)
    with open_shop(corners.path) as again:
        assert history.log_of(again, NAME) == before


def test_an_advised_move_keeps_the_side_of_approach_and_an_own_one_takes_that_of_its_sign(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lost motion: an advised move is told to finish the way that it came before."""
    key, height = CORNERS.adjusters
    loose = replace(CORNERS, adjusters=(replace(key, backlash_mm=0.08), height))
    monkeypatch.setattr("calib.workflow.next.model", lambda: (thumb_advice, "thumb"))
    with open_shop(tmp_path / "loose.db", now=ticking()) as shop:
        setups.add(shop, loose)
        cut(shop, key=6.0, height=8.1, clearance=0.02)

        def side() -> int | None:
            return bench_of(shop.connection, "chest-corners").log[-1].approach.get("key")

        next_step(shop, "chest-corners")
        moved_as_advised(shop, "chest-corners")  # falling, in two goes
        assert side() == 1
        moved_by(shop, "chest-corners", "key", -0.1)
        assert side() == -1
        cut(shop, clearance=0.10)
        next_step(shop, "chest-corners")
        cut(shop, key=5.88, clearance=0.07)  # where it was advised to stand: rising, told to finish falling
        assert side() == -1
        moved_to(shop, "chest-corners", {"key": 6.0})
        assert side() == 1

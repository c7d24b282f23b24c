"""Undo sets the last step aside and deletes nothing; an undo can be undone."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, GROOVE, cut

from calib.errors import CalibError
from calib.store.schema import own_tables
from calib.workflow import cutters, history, mountings, setups, stocks
from calib.workflow.cuts import measure_again, moved_to, work
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop
from calib.workflow.undo import Undone, redo, undo

NAME = "chest-corners"


def _state(shop: Shop) -> object:
    """Return all that can be seen of the shop."""
    names = [setup.name for setup in setups.all(shop)]
    shown = [[replace(m, advice=()) for m in history.history(shop, name).mountings] for name in names]
    logs = [history.log_of(shop, name) for name in names]
    return cutters.all(shop), stocks.all(shop), logs, shown


def _rows(shop: Shop) -> int:
    return sum(
        shop.connection.execute(f"SELECT COUNT(*) FROM {t}").fetchone()[0]
        for t in own_tables(shop.connection)
    )


def test_every_step_is_undone_and_put_back_exactly(shop: Shop, thumb: None) -> None:
    """All the way to an empty shop and back; no row is ever lost, and the words say what it was."""
    steps = [
        lambda: setups.add(shop, CORNERS),
        lambda: cut(shop, key=6.14, height=8.1, clearance=-0.07, feel="mallet"),
        lambda: measure_again(shop, 1, {"clearance": (-0.06,)}, "hand"),
        lambda: measure_again(shop, 1, {"clearance": (-0.05,)}, instead=True),
        lambda: moved_to(shop, NAME, {"key": 6.0}),
        lambda: work(shop, NAME, 4, {"clearance": (0.06,)}, not_moved=True),
        lambda: setups.change(shop, NAME, replace(setups.get(shop, NAME), pieces_left=30)),
        lambda: cutters.sharpen(shop, "spiral-6"),
        lambda: mountings.mount(shop, NAME),
        lambda: stocks.add(shop, "cherry"),
    ]
    states = [_state(shop)]
    for step in steps:
        step()
        if step is not steps[0]:
            next_step(shop, NAME)  # advice is no step of the maker's: undo passes over it
        states.append(_state(shop))
    words = []
    for _ in steps:
        assert _state(shop) == states.pop()
        words.append(undo(shop).what)
    assert words == [
        "stock cherry",
        "a mounting of chest-corners",
        "the sharpening of spiral-6",
        "the change of setup chest-corners",
        "good pieces, number 2, on chest-corners",
        "the move of the key on chest-corners",
        "the new measurement of cut 1 on chest-corners",
        "the new measurement of cut 1 on chest-corners",
        "cut 1 on chest-corners",
        "setup chest-corners",
    ]
    assert undo(shop).what == "cutter spiral-6"  # it came with the setup
    assert _state(shop) == states.pop()
    with pytest.raises(CalibError, match="nothing has been logged that could be undone"):
        undo(shop)
    rows = _rows(shop)
    put_back = [redo(shop) for _ in range(len(steps) + 1)]
    assert [one.what for one in put_back] == ["cutter spiral-6", *reversed(words)]
    assert all(one.again for one in put_back)
    assert _rows(shop) == rows + 2 * len(put_back)
    assert history.find_cut(shop, 1)[1].readings["clearance"] == (-0.05,)
    assert stocks.get(shop, "cherry").name == "cherry"
    with pytest.raises(CalibError, match="nothing has been undone"):
        redo(shop)


def test_undo_then_redo_then_undo(corners: Shop) -> None:
    """As often as one likes."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    before = _state(corners)
    for _ in range(3):
        assert undo(corners) == Undone("cut 1 on chest-corners", NAME)
        assert history.log_of(corners, NAME)[1] == []
        assert redo(corners) == Undone("cut 1 on chest-corners", NAME, again=True)
        assert _state(corners) == before


def test_undo_of_one_setup_leaves_the_others(corners: Shop) -> None:
    """Only what was logged on the one that is named."""
    setups.add(corners, GROOVE)
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    cut(corners, "bottom-groove", setback=5.0)
    assert undo(corners, NAME).what == "cut 1 on chest-corners"
    assert [c.number for c in history.log_of(corners, "bottom-groove")[1]] == [2]
    assert redo(corners, NAME).what == "cut 1 on chest-corners"
    with pytest.raises(CalibError, match='Did you mean "chest-corners"'):
        undo(corners, "chest-corner")


def test_a_cutter_that_is_in_use_is_not_undone(corners: Shop) -> None:
    """The setup that came after it is undone first, or the undo is refused and nothing changes."""
    setups.add(corners, GROOVE)
    undo(corners, NAME)  # the corners setup; its cutter is older, and the groove uses it
    undo(corners)  # the groove setup
    redo(corners)
    undo(corners, "bottom-groove")
    assert undo(corners).what == "cutter spiral-6"
    with pytest.raises(CalibError, match="rests on something else that was undone"):
        redo(corners, "bottom-groove")
    assert setups.all(corners) == []
    assert redo(corners).what == "cutter spiral-6"
    assert redo(corners, "bottom-groove").what == "setup bottom-groove"


def test_a_name_that_was_given_again_cannot_be_put_back(corners: Shop) -> None:
    """There would be two of one name."""
    undo(corners)
    setups.add(corners, CORNERS)
    with pytest.raises(CalibError, match="there would be two setups named chest-corners"):
        redo(corners)
    assert [s.name for s in setups.all(corners)] == [NAME]


def test_a_moves_undo_takes_back_what_was_counted_from_it(shop: Shop) -> None:
    """Without a scale, positions count from each other."""
    from calib.workflow.moves import moved_by, positions

    setups.add(shop, GROOVE)
    moved_by(shop, "bottom-groove", "fence", 0.4)
    moved_by(shop, "bottom-groove", "fence", -0.1)
    assert positions(shop, "bottom-groove")["fence"] == pytest.approx(0.3, abs=1e-12)
    undo(shop)
    assert positions(shop, "bottom-groove") == {"fence": 0.4}

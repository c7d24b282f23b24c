"""Backups are whole; stored advice can be computed again on the log as it was then."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from shopkit import CORNERS, GROOVE, cut, thumb_advice

from calib.errors import CalibError
from calib.store.database import connect, transaction
from calib.workflow import cutters, history, setups
from calib.workflow.cuts import measure_again, work
from calib.workflow.keep import backup, verify
from calib.workflow.logs import import_log
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop, open_shop
from calib.workflow.undo import redo, undo

NAME = "chest-corners"
SAMPLES = sorted((Path(__file__).parents[1] / "sample_logs").glob("*.toml"))


def test_a_backup_is_a_whole_shop_in_one_file(corners: Shop, tmp_path: Path) -> None:
    """Also while another program writes; what it has not finished is not in it."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    other = connect(corners.path)
    with transaction(other):
        other.execute("INSERT INTO setups (created) VALUES ('unfinished')")
        path = backup(corners, tmp_path / "copy.db")
    other.close()
    assert sorted(p.name for p in tmp_path.glob("copy*")) == ["copy.db"]
    with open_shop(path) as copy:
        assert history.log_of(copy, NAME) == history.log_of(corners, NAME)
        assert copy.connection.execute("SELECT COUNT(*) FROM setups").fetchone()[0] == 1


def test_an_older_backup_is_replaced_and_nothing_else_is(corners: Shop, tmp_path: Path) -> None:
    """Not the shop itself, not a letter, not into a folder that is not there."""
    backup(corners, tmp_path / "copy.db")
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    backup(corners, tmp_path / "copy.db")
    with open_shop(tmp_path / "copy.db") as copy:
        assert len(history.log_of(copy, NAME)[1]) == 1
    (tmp_path / "letter.txt").write_text("Dear customer")
    for path in (corners.path, tmp_path / "letter.txt", tmp_path):
        with pytest.raises(CalibError, match="is left alone"):
            backup(corners, path)
    with pytest.raises(CalibError, match="there is no such folder"):
        backup(corners, tmp_path / "nowhere" / "copy.db")
    assert (tmp_path / "letter.txt").read_text() == "Dear customer"


def test_advice_is_computed_again_on_the_log_as_it_was(corners: Shop, thumb: None) -> None:
    """Whatever was logged, measured again, undone, changed, sharpened or cut elsewhere since."""
    setups.add(corners, GROOVE)
    next_step(corners, NAME)
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    next_step(corners, NAME, stakes={"test_cut": 2}, knowledge={"offset_sd": float("inf")})
    measure_again(corners, 1, {"clearance": (0.5,)}, instead=True)
    next_step(corners, NAME, pieces_left=3)
    undo(corners)
    next_step(corners, NAME)
    work(corners, "bottom-groove", 3, metres_m=2.0)
    next_step(corners, NAME)
    redo(corners)
    next_step(corners, NAME)
    setups.change(corners, NAME, replace(setups.get(corners, NAME), bands=CORNERS.bands[:1], pieces_left=2))
    cutters.sharpen(corners, "spiral-6", metres=0.5)
    cutters.change(corners, "spiral-6", nominal_mm=5.98)
    next_step(corners, NAME)
    undo(corners)
    found = verify(corners)
    assert found.problems == ()
    assert (found.advice_checked, found.advice_other_version, found.cuts) == (7, 0, 2)


def test_advice_that_comes_out_differently_is_told(
    corners: Shop, monkeypatch: pytest.MonkeyPatch, thumb: None
) -> None:
    """One line a number, to 1e-6."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    next_step(corners, NAME)

    def shifted(by: float) -> None:
        def advise(*args: object, **asked: object) -> object:
            advice = thumb_advice(*args, **asked)  # type: ignore[arg-type]
            return replace(advice, probability_next=advice.probability_next + by)

        monkeypatch.setattr("calib.workflow.keep.model", lambda: (advise, "thumb/1"))

    shifted(1e-7)
    assert verify(corners).problems == ()
    shifted(1e-5)
    (problem,) = verify(corners).problems
    assert "probability_next was 0.25 and is 0.25001 now" in problem


def test_a_move_or_step_that_is_gone_is_told(
    corners: Shop, monkeypatch: pytest.MonkeyPatch, thumb: None
) -> None:
    """A missing number is a difference too."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    next_step(corners, NAME)
    monkeypatch.setattr(
        "calib.workflow.keep.model",
        lambda: (
            lambda *a, **k: replace(thumb_advice(*a, **k), step="cut_good", moves=(), readings=()),
            "thumb/1",
        ),
    )
    problems = verify(corners).problems
    assert any("key to was 6" in line for line in problems)
    assert any("clearance expected_mm" in line for line in problems)
    assert any("the step was move_and_test and is cut_good now" in line for line in problems)


def test_advice_of_another_version_is_left_alone(
    corners: Shop, monkeypatch: pytest.MonkeyPatch, thumb: None
) -> None:
    """It cannot be expected to come out the same."""
    next_step(corners, NAME)
    monkeypatch.setattr("calib.workflow.keep.model", lambda: (None, "thumb/2"))
    found = verify(corners)
    assert (found.problems, found.advice_checked, found.advice_other_version) == ((), 0, 1)


def test_a_missing_trigger_and_a_broken_reference_are_told(corners: Shop, thumb: None) -> None:
    """What keeps the log whole is itself checked."""
    corners.connection.execute("DROP TRIGGER cuts_no_update")
    corners.connection.execute("PRAGMA foreign_keys = OFF")
    corners.connection.execute("INSERT INTO feels (event_id, cut_id, word) VALUES (1, 999, 'mallet')")
    problems = verify(corners).problems
    assert "cuts is not kept from update: its trigger is missing." in problems
    assert any("feels refers to a row of cuts that is not there" in line for line in problems)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_the_models_own_advice_is_computed_again_to_a_millionth(shop: Shop, path: Path) -> None:
    """On every sample log, with more logged since and with wishes of that one call."""
    name = import_log(shop, path).name
    next_step(shop, name)
    next_step(shop, name, pieces_left=3, stakes={"test_cut": 9.0}, knowledge={"cut_sd": 0.04})
    work(shop, name, 1, not_moved=True)
    found = verify(shop)
    assert (found.problems, found.advice_checked, found.advice_other_version) == ((), 2, 0)

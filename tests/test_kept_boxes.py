"""Boxes in the store: kept with their setups, counted by good pieces, undone and put back."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, GROOVE, cut

from calib.box.progress import boards_left
from calib.errors import CalibError
from calib.shop import Adjuster, Band, Cutter, Joint, Setup
from calib.store import boxes as rows
from calib.store.box_json import numbers_from_json, to_json
from calib.workflow import boxes, keptboxes, setups
from calib.workflow.boxes import BoxQuestion
from calib.workflow.corrections import correct
from calib.workflow.cuts import work
from calib.workflow.shopfloor import Shop
from calib.workflow.undo import redo, undo

CHEST = BoxQuestion(250.0, 180.0, 102.0, 8.0, corners="chest-corners", groove="bottom-groove", copies=2)
INLAY = Setup(
    "lid-inlay",
    Joint("inlay"),
    (Band("gap", 0.16, 0.1, 0.26),),
    (Adjuster("diameter", typed=True),),
    Cutter("downcut-2", 2.0),
    pieces_left=3,
)


@pytest.fixture
def bench(shop: Shop) -> Shop:
    """Return a shop with two setups that have cut."""
    for setup in (CORNERS, GROOVE):
        setups.add(shop, setup)
    cut(shop, key=6.0, height=8.1, clearance=0.07, proud=0.1)
    cut(shop, "bottom-groove", fence=0.0, setback=5.02)
    return shop


def parts(shop: Shop, name: str = "chest") -> dict[str, tuple[int, int]]:
    return {part.part: (part.cut, part.left) for part in keptboxes.get(shop, name).parts}


def test_a_kept_box_is_planned_again_from_its_numbers_just_as_it_was(bench: Shop) -> None:
    planned = keptboxes.keep(bench, "chest", CHEST)
    cut(bench, key=6.0, clearance=0.03)  # what the log learns later does not change what was planned
    kept = keptboxes.get(bench, "chest")
    assert kept.plan == planned.plan
    assert kept.question == CHEST
    assert (kept.known, kept.assumptions) == (planned.known, planned.assumptions)
    anew = keptboxes.plan_again(bench, "chest")
    assert anew.plan.layout.pitch_mm != planned.plan.layout.pitch_mm
    assert keptboxes.get(bench, "chest").plan == anew.plan


def test_numbers_come_back_from_their_text_at_full_precision(bench: Shop) -> None:
    setups.add(bench, replace(CORNERS, name="others"))
    more = {"panel_size": (240.0, 170.0), "sides": "black cherry", "lid_height": 30.0}
    asked = replace(CHEST, corners_b="others", **more)
    for question in (CHEST, asked):
        numbers = boxes.plan(bench, question).numbers
        assert numbers_from_json(to_json(numbers)) == numbers


def test_good_pieces_count_for_the_one_open_box_that_uses_the_setup(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    assert parts(bench) == {"corners": (0, 16), "grooves": (0, 8)}
    logged = work(bench, "chest-corners", 5, not_moved=True)
    assert (logged.box.box, logged.box.left, logged.box.remark) == ("chest", 11, None)
    work(bench, "bottom-groove", 8, not_moved=True)
    assert parts(bench) == {"corners": (5, 11), "grooves": (8, 0)}
    assert keptboxes.get(bench, "chest").left == 11


def test_test_cuts_and_pieces_of_no_box_are_not_counted(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    cut(bench, clearance=0.07)
    assert work(bench, "chest-corners", 4, not_moved=True, box="none").box is None
    assert parts(bench)["corners"] == (0, 16)


def test_with_two_open_boxes_nothing_is_guessed(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    keptboxes.keep(bench, "tray", replace(CHEST, copies=1, height=54.0))
    logged = work(bench, "chest-corners", 4, not_moved=True)
    assert logged.box.box is None
    assert "chest, tray" in logged.box.remark
    assert work(bench, "chest-corners", 8, not_moved=True, box="tray").box.left == 0
    assert parts(bench, "tray")["corners"] == (8, 0)
    assert work(bench, "chest-corners", 4, not_moved=True).box.box == "chest"  # the tray takes no more
    assert parts(bench)["corners"] == (4, 12)


def test_more_pieces_than_a_box_takes_are_counted_and_said(bench: Shop) -> None:
    keptboxes.keep(bench, "tray", replace(CHEST, copies=1))
    logged = work(bench, "bottom-groove", 6, not_moved=True)
    assert logged.box.left == 0
    assert "2 too many" in logged.box.remark


@pytest.mark.parametrize(
    ("setup", "box", "said"),
    [
        ("chest-corners", "chess", 'no box "chess". Did you mean "chest"'),
        ("lid-inlay", "chest", "does not use setup lid-inlay; nothing was stored"),
        ("chest-corners", "old", "is closed; nothing was stored"),
    ],
)
def test_pieces_for_a_wrong_box_are_refused_whole(bench: Shop, setup: str, box: str, said: str) -> None:
    setups.add(bench, INLAY)
    cut_before = setups.get(bench, setup).pieces_left
    keptboxes.keep(bench, "chest", CHEST)
    keptboxes.keep(bench, "old", CHEST)
    keptboxes.close(bench, "old")
    settings = {"diameter": 1.9} if setup == "lid-inlay" else {}
    with pytest.raises(CalibError, match=said):
        work(bench, setup, 4, settings_mm=settings, box=box)
    assert setups.get(bench, setup).pieces_left == cut_before
    assert bench.connection.execute("SELECT COUNT(*) FROM box_work").fetchone()[0] == 0


def test_undo_takes_pieces_off_the_box_and_the_box_off_the_list_and_puts_both_back(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    work(bench, "chest-corners", 5, not_moved=True)
    undo(bench, "chest-corners")
    assert parts(bench)["corners"] == (0, 16)
    redo(bench)
    assert parts(bench)["corners"] == (5, 11)
    undo(bench)
    assert undo(bench).what == "box chest"
    assert keptboxes.all(bench) == []
    redo(bench)
    assert [box.name for box in keptboxes.all(bench)] == ["chest"]


def test_a_new_plan_of_a_box_keeps_its_count_and_can_be_undone(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    work(bench, "chest-corners", 5, not_moved=True)
    keptboxes.keep(bench, "chest", replace(CHEST, copies=1, height=90.0))
    assert parts(bench)["corners"] == (5, 3)
    undo(bench)
    assert parts(bench)["corners"] == (5, 11)
    assert keptboxes.get(bench, "chest").question.height == 102.0


def test_a_corrected_number_of_pieces_is_the_one_that_counts(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    number = work(bench, "chest-corners", 5, not_moved=True).number
    correct(bench, number, pieces=6)
    assert parts(bench)["corners"] == (6, 10)


def test_a_setup_under_a_box_cannot_be_undone_away(bench: Shop) -> None:
    setups.add(bench, INLAY)
    keptboxes.keep(bench, "chest", replace(CHEST, inlay="lid-inlay"))
    with pytest.raises(CalibError, match="box chest rests on something else that was undone"):
        undo(bench, "lid-inlay")
    assert parts(bench)["inlays"] == (0, 2)


def test_two_boxes_never_get_one_name_by_undoing(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    undo(bench)
    keptboxes.keep(bench, "chest", CHEST)
    with pytest.raises(CalibError, match="there would be two boxes named chest"):
        redo(bench)


def test_a_box_on_two_corner_setups_counts_four_ends_on_each(bench: Shop) -> None:
    setups.add(bench, replace(CORNERS, name="ends-corners"))
    keptboxes.keep(bench, "chest", replace(CHEST, corners_b="ends-corners"))
    assert parts(bench) == {"corners of A": (0, 8), "corners of B": (0, 8), "grooves": (0, 8)}


def test_a_closed_box_takes_nothing_more_and_can_be_opened_by_undo(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    keptboxes.close(bench, "chest")
    assert work(bench, "chest-corners", 2, not_moved=True).box is None
    with pytest.raises(CalibError, match="closed already"):
        keptboxes.close(bench, "chest")
    undo(bench)
    undo(bench)
    assert work(bench, "chest-corners", 2, not_moved=True).box.box == "chest"


def test_rows_of_boxes_cannot_be_changed_or_deleted(bench: Shop) -> None:
    import sqlite3

    keptboxes.keep(bench, "chest", CHEST)
    work(bench, "chest-corners", 5, not_moved=True)
    for table in ("boxes", "box_parts", "box_work"):
        for deed in (f"UPDATE {table} SET id = 99", f"DELETE FROM {table}"):
            with pytest.raises(sqlite3.IntegrityError, match="append-only"):
                bench.connection.execute(deed)
    assert len(rows.current(bench.connection)) == 1


def test_a_box_name_that_means_something_else_is_refused(bench: Shop) -> None:
    with pytest.raises(CalibError, match="means no box"):
        keptboxes.keep(bench, "none", CHEST)
    with pytest.raises(CalibError, match="will not do"):
        keptboxes.keep(bench, "a=b", CHEST)
    with pytest.raises(CalibError, match="there is no box"):
        keptboxes.get(bench, "chest")
    assert keptboxes.all(bench) == []


def test_pieces_that_were_cut_before_the_box_was_planned_can_be_counted_for_it(bench: Shop) -> None:
    early = work(bench, "chest-corners", 4, not_moved=True)
    keptboxes.keep(bench, "chest", CHEST)
    found = keptboxes.count_cut(bench, "chest", early.number)
    assert (found.box, found.left) == ("chest", 12)
    with pytest.raises(CalibError, match=f"cut {early.number} counts for box chest already"):
        keptboxes.count_cut(bench, "chest", early.number)
    with pytest.raises(CalibError, match="was a test cut"):
        keptboxes.count_cut(bench, "chest", 1)
    with pytest.raises(CalibError, match="no cut 99"):
        keptboxes.count_cut(bench, "chest", 99)
    with pytest.raises(CalibError, match="no box"):
        keptboxes.count_cut(bench, "tray", early.number)
    undo(bench)
    assert parts(bench)["corners"] == (0, 16)


def test_a_setup_that_was_renamed_is_still_that_of_the_box(bench: Shop) -> None:
    keptboxes.keep(bench, "chest", CHEST)
    setups.change(bench, "chest-corners", replace(setups.get(bench, "chest-corners"), name="fingers"))
    assert keptboxes.get(bench, "chest").parts[0].setup == "fingers"
    assert work(bench, "fingers", 3, not_moved=True).box.left == 13
    assert keptboxes.plan_again(bench, "chest").question.corners == "fingers"
    assert parts(bench)["corners"] == (3, 13)


@pytest.mark.parametrize("part", ["corners", "corners of A", "corners of B", "grooves"])
@pytest.mark.parametrize("copies", [1, 3])
def test_cutting_piece_by_piece_in_the_order_of_work_leaves_the_boards_that_are_told(part, copies) -> None:
    """A pile of boards is worked through: A of every box first, left end before right end."""
    ends = ("left", "right") if part != "grooves" else ("whole",)
    kinds = "A" if part.endswith("A") else "B" if part.endswith("B") else "AB"
    boards = [(f"{kind}{n}", box) for kind in kinds for box in range(1, copies + 1) for n in (1, 2)]
    pile = [(label, box, end) for label, box in boards for end in ends]
    for cut_so_far in range(len(pile) + 1):
        rest = pile[cut_so_far:]
        expected = list(dict.fromkeys((label, box) for label, box, _ in rest))
        found = boards_left(part, cut_so_far, copies)
        assert [(board.label, board.box) for board in found] == expected
        half = bool(rest) and rest[0][2] == "right"
        assert [board.left_end_cut for board in found] == [half, *[False] * (len(found) - 1)][: len(found)]
    assert boards_left("inlays", 0, copies) == ()

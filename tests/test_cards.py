"""Cards by the machine: metres left, the sample joint, what changed since the last, and those of boxes."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shopkit import CORNERS, GROOVE, cut, ticking
from test_pictures import artists, boxes_apart, pdf_content, words
from typer.testing import CliRunner

from calib.cli.program import app
from calib.decision.edgelife import EdgeLeft, Left
from calib.errors import CalibError
from calib.present.card_text import edge_lines
from calib.present.pictures import sheet
from calib.present.pictures.boxcard import draw_box_card
from calib.present.pictures.card import CHECK_MM, draw_card
from calib.workflow import cards, cutters, gauges, keptboxes, setups
from calib.workflow.boxes import BoxQuestion
from calib.workflow.cuts import work
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop, open_shop
from calib.workflow.undo import undo

CHEST = BoxQuestion(
    250.0, 180.0, 102.0, 8.0, corners="chest-corners", groove="bottom-groove", lid_height=30.0
)


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Shop]:
    """Return a shop with two setups that have cut, and a box that uses both."""
    with open_shop(tmp_path / "shop.db", now=ticking()) as shop:
        for setup in (CORNERS, GROOVE):
            setups.add(shop, setup)
        cut(shop, key=6.0, height=8.1, clearance=0.07, proud=0.1)
        cut(shop, "bottom-groove", fence=0.0, setback=5.02)
        keptboxes.keep(shop, "chest", CHEST)
        yield shop


def test_the_first_card_has_nothing_to_compare_with(bench: Shop) -> None:
    card = cards.card(bench, "chest-corners")
    assert (card.since, card.changed) == ("", ())
    assert not [text for text in words(draw_card(card)) if text.startswith("Changed")]


def test_a_card_that_is_printed_again_says_what_changed(bench: Shop) -> None:
    cards.printed(bench, "chest-corners")
    assert cards.card(bench, "chest-corners").changed == ("Nothing.",)
    cut(bench, key=6.02, clearance=0.06)
    work(bench, "chest-corners", 3)
    old = setups.get(bench, "chest-corners")
    wider = replace(old.bands[0], high_mm=0.15)
    setups.change(bench, "chest-corners", replace(old, bands=(wider, old.bands[1])))
    cutters.sharpen(bench, "spiral-6")
    card = cards.card(bench, "chest-corners")
    assert card.since == "2025-03-01"
    assert card.changed == (
        "next mounting: start key 5.98 mm, was 6.00 mm",
        "stands at: key 6.02 mm, was 6.00 mm",
        "clearance: band 0.03 to 0.15 mm, was 0.03 to 0.12 mm",
        "edge spiral-6 #2, was spiral-6 #1",
        "since then: 1 test cut, 3 good pieces",
    )
    said = words(draw_card(card))
    assert "Changed since the card of 2025-03-01" in said
    assert "edge spiral-6 #2, was spiral-6 #1" in said
    cards.printed(bench, "chest-corners")
    assert cards.card(bench, "chest-corners").changed == ("Nothing.",)


def test_printing_a_card_changes_no_advice_and_is_not_what_undo_undoes(bench: Shop) -> None:
    before = next_step(bench, "chest-corners")
    stored = bench.connection.execute("SELECT COUNT(*) FROM advice").fetchone()[0]
    cards.printed(bench, "chest-corners")
    assert next_step(bench, "chest-corners") == before
    assert bench.connection.execute("SELECT COUNT(*) FROM advice").fetchone()[0] == stored
    assert undo(bench).what == "box chest"


def test_a_kept_sample_joint_is_named_with_its_place(bench: Shop) -> None:
    gauges.add(bench, "chest-corners-sample", "sample", 0.05, note="in the drawer")
    gauges.add(bench, "others-sample", "sample", 0.05)
    (line,) = cards.card(bench, "chest-corners").samples
    assert line == "Kept sample joint: chest-corners-sample (in the drawer). Compare the first cut with it."
    said = " ".join(words(draw_card(cards.card(bench, "chest-corners"))))
    assert "in the drawer" in said
    assert "others-sample" not in said


@pytest.mark.parametrize(
    ("pieces", "metres", "line"),
    [
        (240.9, 12.04, "Edge: play holds at least 12 m (240 pieces) more, at 90 %, if nothing is moved."),
        (1.2, 0.06, "Edge: play holds at least 0.1 m (1 piece) more, at 90 %, if nothing is moved."),
        (0.0, 0.0, "Edge: play does not hold a piece at 90 % as it stands."),
        (None, None, None),
        (float("inf"), float("inf"), None),
    ],
)
def test_metres_left_are_said_where_they_are_known(
    pieces: float | None, metres: float | None, line: str | None
) -> None:
    left = EdgeLeft("corners", 0.9, pieces is not None, (Left("play", pieces, metres, None),), (), None, 0.05)
    assert edge_lines(left) == ([] if line is None else [line])


def test_a_setup_whose_pieces_are_all_cut_still_tests_first_on_its_next_mounting(bench: Shop) -> None:
    old = setups.get(bench, "chest-corners")
    setups.change(bench, "chest-corners", replace(old, pieces_left=0))
    assert any(line.startswith("Cut first: a test cut") for line in cards.card(bench, "chest-corners").start)


# --- boxes ----------------------------------------------------------------------------------------


def test_the_card_of_a_box_says_what_is_left_and_how_to_cut_it(bench: Shop) -> None:
    card = cards.box_card(bench, "chest")
    plan = keptboxes.get(bench, "chest").plan
    assert card.left == (
        "corners: 0 of 8 cut, 8 left, on chest-corners",
        "grooves: 0 of 4 cut, 4 left, on bottom-groove",
    )
    front, end = plan.boards[0], plan.boards[2]
    size = f"{front.length_mm:.2f} x {front.width_mm:.2f} x"
    assert card.cut_list[0].startswith(f"A1 front and A2 back: {size}")
    assert card.cut_list[1].startswith(f"B1 right end and B2 left end: {end.length_mm:.2f} x")
    assert plan.groove_a.stop is not None
    stop = f"{plan.groove_a.stop.axis_mm:.2f} mm"
    assert f"A boards: stop the cutter's axis {stop} from both ends." in card.groove
    said = " ".join(words(draw_box_card(card)))
    for text in ("Box chest", "2025-03-01", "Chance that it closes", "Panel:", "Switch off and unplug"):
        assert text in said, text


def test_the_card_of_a_box_says_what_was_cut_since_the_last(bench: Shop) -> None:
    cards.box_printed(bench, "chest")
    assert cards.box_card(bench, "chest").changed == ("Nothing.",)
    work(bench, "chest-corners", 3)
    assert cards.box_card(bench, "chest").changed == ("3 good pieces on chest-corners",)
    keptboxes.keep(bench, "chest", replace(CHEST, setback=8.0, copies=2))
    keptboxes.keep(bench, "another", replace(CHEST, setback=8.0))
    pieces, anew, copies = cards.box_card(bench, "chest").changed
    assert pieces == "3 good pieces on chest-corners"
    assert anew.startswith("planned anew: chance that it closes")
    assert copies == "2 of them, was 1"
    assert cards.box_card(bench, "another").since == ""


def test_the_boards_on_the_card_are_to_scale(bench: Shop) -> None:
    (axes,) = draw_box_card(cards.box_card(bench, "chest")).axes
    plan = keptboxes.get(bench, "chest").plan
    outlines = [patch for patch in axes.patches if patch.get_gid() == "outline"]
    sides = [patch.get_xy().max(axis=0) - patch.get_xy().min(axis=0) for patch in outlines]
    scales = [
        mm / (board.length_mm, plan.layout.width_mm)
        for mm, board in zip(sides, (plan.boards[0], plan.boards[2]), strict=True)
    ]
    assert [one for pair in scales for one in pair] == pytest.approx([scales[0][0]] * 4)
    (line,) = artists(axes, "check")
    assert line.get_xdata()[1] - line.get_xdata()[0] == CHECK_MM


@pytest.mark.parametrize("paper", ["a5", "half-letter"])
@pytest.mark.parametrize("unit", ["mm", "in"])
def test_no_text_of_these_cards_leaves_the_sheet_or_meets_another(bench: Shop, paper: Any, unit: str) -> None:
    gauges.add(bench, "chest-corners-sample", "sample", 0.05, note="in the drawer")
    cards.printed(bench, "chest-corners")
    cards.box_printed(bench, "chest")
    cut(bench, key=6.02, clearance=0.06)
    work(bench, "chest-corners", 3)
    boxes_apart(draw_card(cards.card(bench, "chest-corners", unit), paper))
    boxes_apart(draw_box_card(cards.box_card(bench, "chest", unit), paper))


def test_the_check_line_of_a_box_card_is_50_mm_in_the_file(bench: Shop, tmp_path: Path) -> None:
    """One unit of a PDF is 1/72 inch (ISO 32000-1, 8.3.2.3)."""
    path = sheet.save(draw_box_card(cards.box_card(bench, "chest")), tmp_path / "card.pdf")
    lines = re.findall(r"([\d.]+) ([\d.]+) m\n([\d.]+) ([\d.]+) l\s+S", pdf_content(path))
    level = [[float(x) / 72 * 25.4 for x in line] for line in lines if line[1] == line[3]]
    assert [x1 - x0 for x0, y, x1, _ in level if y < 10.0] == pytest.approx([50.0], abs=0.01)


def test_the_command_writes_both_cards_and_remembers_that_it_did(bench: Shop, tmp_path: Path) -> None:
    run, db = CliRunner().invoke, str(bench.path)
    for words_, key in ((["chest-corners"], "setup"), (["--box", "chest"], "box")):
        since = []
        for _ in range(2):
            done = run(app, ["card", *words_, "-o", str(tmp_path / "c.pdf"), "--db", db, "--json"])
            assert done.exit_code == 0, done.output
            said = json.loads(done.stdout)
            assert said[key] == words_[-1]
            since.append(said["card"]["since"])
        assert since[0] == ""
        assert re.fullmatch(r"\d{4}-\d\d-\d\d", since[1])
        assert b"/FontFile2" in (tmp_path / "c.pdf").read_bytes()


def test_a_card_that_could_not_be_written_is_not_remembered(bench: Shop, tmp_path: Path) -> None:
    done = CliRunner().invoke(
        app, ["card", "chest-corners", "-o", str(tmp_path / "no" / "c.pdf"), "--db", str(bench.path)]
    )
    assert done.exit_code == 1
    assert cards.card(bench, "chest-corners").since == ""
    with pytest.raises(CalibError, match=r'no box "ches"\. Did you mean "chest"'):
        cards.box_card(bench, "ches")

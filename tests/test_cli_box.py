"""`calib box`: the chests of the samples from their logs, nominal boxes, and boxes that cannot be."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from calib.cli.program import app
from calib.workflow import boxes

SAMPLES = Path(__file__).parents[1] / "sample_logs"


@pytest.fixture
def run(tmp_path, monkeypatch):
    monkeypatch.setenv("CALIB_DB", str(tmp_path / "shop.db"))
    monkeypatch.setenv("COLUMNS", "80")
    return lambda *words: CliRunner().invoke(app, list(words))


@pytest.fixture
def chest(run):
    for name in ("chest-corners", "bottom-groove"):
        assert run("import", str(SAMPLES / f"{name}.toml")).exit_code == 0
    return run


def test_a_chest_is_planned_from_what_the_logs_know(chest):
    setups = ("--corners", "chest-corners", "--groove", "bottom-groove")
    found = json.loads(chest("box", "plan", "--outside", "250x180x101.4", *setups, "--json").stdout)
    assert found["schema"] == "calib.box/1"
    layout = found["plan"]["layout"]
    # The last corners read 0.06 to 0.08: the pitch is twice the slot less that, not twice the cutter.
    assert 11.91 < layout["pitch_mm"] < 11.95
    assert [text.split()[0] for text in found["known"]] == ["proud", "clearance", "depth", "setback"]
    assert found["plan"]["groove_depth_mm"] == pytest.approx(3.96, rel=0, abs=0.03)
    assert {board["length_mm"] for board in found["plan"]["boards"]} == {250.2, 180.2}
    assert 0.5 < found["plan"]["chance"]["closes"] < 1.0
    assert not any(text.startswith(("clearance", "depth")) for text in found["assumptions"])


def test_without_setups_every_number_is_named_an_assumption(run, tmp_path):
    text = run("box", "plan", "--outside", "250x180x102").stdout
    assumed = text[text.index("Assumptions") :]
    for name in ("proud", "slot", "clearance", "depth", "setback", "groove width", "plywood", "air of"):
        assert name in assumed
    assert "From the log" not in text
    assert not (tmp_path / "shop.db").exists()


def test_a_setup_that_was_never_cut_gives_its_target_as_an_assumption(run):
    (run("setup", "add", "corners", "--joint", "finger", "--thickness", "8", "--cutter-width", "6",
         "--fit", "hand", "--stake", "ordinary"))  # fmt: skip
    text = run("box", "plan", "--outside", "250x180x102", "--corners", "corners").stdout
    assert "clearance" in text[text.index("Assumptions") :]
    assert "From the log" not in text


def test_inside_and_outside_give_the_same_box(run):
    one = json.loads(run("box", "plan", "--outside", "250x180x102", "--json").stdout)
    two = json.loads(run("box", "plan", "--inside", "234x164x102", "--json").stdout)
    assert one["plan"] == two["plan"]


def test_inches_are_said_in_inches(run):
    text = run("box", "plan", "--outside", "10x7x4", "--thickness", "5/16", "--panel", "plywood-1/4",
               "--cutter", "1/4", "--setback", "1/4", "--units", "in").stdout  # fmt: skip
    assert "A1 front 10.0079 " in " ".join(text.split())
    assert " mm" not in text[: text.index("Assumptions")]


def test_a_solid_panel_is_made_smaller_across_its_grain_and_a_lid_is_sawn_between_fingers(run):
    solid = ("--panel", "black cherry-5.7", "--lid", "28")
    plan = json.loads(run("box", "plan", "--outside", "250x180x102", *solid, "--json").stdout)["plan"]
    lost = plan["panel_x"]["made"]["float_mm"], plan["panel_y"]["made"]["float_mm"]
    assert lost[0] == pytest.approx(1.0, rel=0, abs=1e-6)
    assert lost[1] > 1.5
    lid = plan["lid"]
    assert plan["rip"]["rip_to_mm"] == pytest.approx(101.37, rel=0, abs=1e-6)  # 8 pitches and a finger
    assert lid["body_mm"] + 1.0 + lid["lid_mm"] == pytest.approx(101.37, rel=0, abs=1e-6)


@pytest.mark.parametrize(
    ("words", "said", "code"),
    [
        (["--outside", "250x180x10"], "narrower than two fingers", 1),
        (["--outside", "250x180x102", "--depth", "8"], "goes through stock", 1),
        (["--outside", "250x180x102", "--depth", "7.5"], "no stop possible", 1),
        (["--outside", "250x180x102", "--slack", "9"], "does not reach", 1),
        (["--outside", "250x180x102", "--corners", "nope"], "nope", 1),
        (["--outside", "250x180x102", "--panel", "oak"], "has no thickness", 2),
        (["--outside", "250x180x102", "--panel", "blak cherry-6"], "black cherry", 1),
        (["--outside", "250x180"], "length x width x height", 2),
        (["--outside", "250x180x102", "--humidity", "35"], "is no range", 2),
        (["--outside", "250x180x102", "--made-at", "80"], "is not between", 1),
        (["--outside", "250x180x102", "--humidity", "60-35"], "runs from wet to dry", 2),
        (["--outside", "250x180x102", "--panel", "mdf-6", "--humidity", "5-95"], "Narrow the range", 1),
        (["--outside", "250x180x102", "--panel-size", "243x171"], "is bigger than its grooves allow", 1),
        (["--outside", "250x180x102", "--panel-size", "240x160"], "Make a larger one", 1),
        (["--outside", "250x180x102", "--panel-size", "240"], "is not length x width", 2),
        (["--outside", "250x180x102", "--panel", "plywood-9"], "does not enter a groove 6.00 mm wide", 1),
        (["--outside", "250x180x102", "--lid", "102"], "leaves nothing below it", 1),
        (["--outside", "250x180x102", "--lid", "28", "--kerf", "7"], "takes a whole finger", 1),
        (["--outside", "250x180x102", "--copies", "0"], "0 boxes cannot be planned", 1),
        (["--outside", "250x180x102", "--corners-b", "chest-corners"], "Give --corners too", 1),
        (["none", "--outside", "250x180x102"], "means no box", 1),
        (["chest"], "there is no box chest yet", 2),
        ([], "--outside or --inside", 2),
    ],
)
def test_a_box_that_cannot_be_gets_one_clear_line(chest, words, said, code):
    """Nothing is kept of it either."""
    unnamed = bool(words) and words[0].startswith("--")
    done = chest("box", "plan", *(["tray"] if unnamed else []), *words)
    assert done.exit_code == code
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stdout == ""
    assert json.loads(chest("box", "list", "--json").stdout)["items"] == []


def test_a_groove_setup_is_no_corner_setup(chest):
    done = chest("box", "plan", "--outside", "250x180x102", "--corners", "bottom-groove")
    assert (done.exit_code, "not a finger joint" in done.stderr) == (1, True)


def test_diagonals_say_which_one_to_squeeze(run):
    text = run("box", "square", "300", "200", "360.055", "361.055").stdout
    assert "0.172°" in text
    assert "second diagonal" in text
    assert "0.60 mm over the second side, 0.90 mm over the first" in " ".join(text.split())
    found = json.loads(run("box", "square", "300", "200", "360.5", "360.5", "--json").stdout)
    assert (found["schema"], found["squeeze"]) == ("calib.square/1", "neither")


def test_a_box_needs_the_shop_only_for_setups():
    asked = boxes.BoxQuestion(250.0, 180.0, 102.0, 8.0)
    assert not boxes.needs_shop(asked)
    assert boxes.plan(None, asked).known == ()


@pytest.fixture
def kept(chest):
    """A box of two chests on both setups."""
    setups = ("--corners", "chest-corners", "--groove", "bottom-groove")
    done = chest("box", "plan", "chest", "--outside", "250x180x101.4", "--copies", "2", *setups)
    assert done.stdout.startswith("Kept as chest: calib box show chest. Not so? calib undo\n")
    return chest


def test_a_box_is_kept_listed_counted_shown_and_closed(kept):
    assert "chest" in kept("box", "list").stdout
    work = kept("work", "chest-corners", "--pieces", "6", "--not-moved")
    assert "Counted for box chest: 10 of these left to cut." in work.stdout
    shown = kept("box", "show", "chest").stdout
    assert shown.startswith("Box chest: next cut corners, 10 left: calib next chest-corners\n")
    assert re.search(r"^corners +chest-corners +6 +10 +16$", shown, re.MULTILINE)
    assert re.search(r"^grooves +bottom-groove +0 +8 +8$", shown, re.MULTILINE)
    assert "Cut list, 2 of each" in shown
    assert "never tells you that a setting is safe" in " ".join(shown.split())
    assert "Cut list" not in kept("box", "show", "chest", "--short").stdout
    assert "is closed; nothing more is counted" in kept("box", "close", "chest").stdout
    assert "Counted" not in kept("work", "chest-corners", "--pieces", "2", "--not-moved").stdout


def test_undo_at_the_bench_takes_the_pieces_off_the_box_again(kept):
    kept("work", "bottom-groove", "--pieces", "8", "--not-moved")
    assert json.loads(kept("box", "show", "chest", "--json").stdout)["parts"][1]["left"] == 0
    assert kept("undo").exit_code == 0
    assert json.loads(kept("box", "show", "chest", "--json").stdout)["parts"][1]["left"] == 8
    assert kept("undo").exit_code == 0
    assert kept("box", "list").stdout.startswith("No box yet")


def test_which_of_two_boxes_is_asked_on_stderr_and_never_guessed(kept):
    kept("box", "plan", "tray", "--outside", "250x180x54", "--corners", "chest-corners")
    done = kept("work", "chest-corners", "--pieces", "4", "--not-moved")
    assert "Not counted for a box: chest, tray all use chest-corners" in done.stderr
    assert "Counted" not in done.stdout
    named = kept("work", "chest-corners", "--pieces", "4", "--not-moved", "--box", "tray")
    assert "Counted for box tray: 4 of these left to cut." in named.stdout
    number = re.search(r"as number (\d+)", done.stdout)[1]
    assert "Counted for box chest: 12" in kept("box", "count", "chest", number).stdout


def test_a_kept_box_is_shown_as_it_was_planned_and_planned_again_by_its_name(kept):
    before = json.loads(kept("box", "show", "chest", "--json").stdout)["plan"]
    kept("cut", "chest-corners", "clearance=0.02", "proud=0.1", "--not-moved")
    assert json.loads(kept("box", "show", "chest", "--json").stdout)["plan"] == before
    again = json.loads(kept("box", "plan", "chest", "--json").stdout)
    assert again["plan"]["layout"]["pitch_mm"] > before["layout"]["pitch_mm"]
    assert json.loads(kept("box", "show", "chest", "--json").stdout)["plan"] == again["plan"]


def test_two_corner_setups_are_planned_and_counted_apart(chest):
    chest("setup", "add", "ends", "--joint", "finger", "--thickness", "8", "--cutter-width", "6",
          "--fit", "hand", "--stake", "ordinary")  # fmt: skip
    two = ("--corners", "chest-corners", "--corners-b", "ends")
    text = chest("box", "plan", "chest", "--outside", "250x180x101.4", *two).stdout
    assert "A and B are cut on two setups" in " ".join(text.split())
    parts = json.loads(chest("box", "show", "chest", "--json").stdout)["parts"]
    told = [(part["part"], part["setup"], part["left"]) for part in parts]
    assert told == [("corners of A", "chest-corners", 4), ("corners of B", "ends", 4), ("grooves", None, 4)]


def test_a_panel_that_is_there_is_told_whether_it_fits(run):
    text = run("box", "plan", "--outside", "250x180x102", "--panel-size", "240.6x170.6").stdout
    flat = " ".join(text.split())
    assert "The panel of 240.60 mm by 170.60 mm fits its grooves at 8.5 % moisture." in flat
    assert "Play along: 1.40 mm, all through the season; held by 3.30 mm a side, at least 2.60 mm." in flat
    solid = ("--panel", "black cherry-5.7", "--panel-size", "240.6x171.7")
    flat = " ".join(run("box", "plan", "--outside", "250x180x102", *solid).stdout.split())
    assert "It would bottom out across on the wettest day by 0.77 mm: trim it." in flat


def test_an_inlay_is_told_what_to_type_in_for_both_parts(run):
    assert run("import", str(SAMPLES / "lid-inlay.toml")).exit_code == 0
    text = run("box", "inlay", "60x20", "--setup", "lid-inlay", "--corner", "0.3").stdout
    assert text.startswith("Type in 1.860 mm for the pocket and 1.860 mm for the insert.")
    assert "Round the insert's corners" in " ".join(text.split())
    assert "Know the stop button" in " ".join(text.split())
    found = json.loads(run("box", "inlay", "60x20", "--setup", "lid-inlay", "--json").stdout)
    assert found["schema"] == "calib.inlay/1"
    assert found["plan"]["cutter_mm"] == pytest.approx(1.94, rel=0, abs=0.02)  # as the sample's truth says
    assert found["assumptions"] == []
    for words, said in (
        (["60"], "is not length x width"),
        (["60x20"], "which cutter"),
        (["60x1", "--cutter", "2"], "does not enter a pocket"),
        (["60x20", "--setup", "lid-inlay", "--gap", "5"], "Draw the insert smaller"),
        (["60x20", "--setup", "lid-inlay", "--recut", "all"], "is none of both"),
    ):
        done = run("box", "inlay", *words)
        assert done.exit_code in (1, 2)
        assert said in done.stderr
        assert len(done.stderr.strip().splitlines()) == 1


@pytest.mark.parametrize("width", ["40", "80"])
def test_every_line_of_a_box_fits_the_terminal(kept, monkeypatch, width):
    monkeypatch.setenv("COLUMNS", width)
    inlay = ["inlay", "60x20", "--cutter", "2"]
    for words in (["show", "chest"], ["list"], inlay, ["show", "chest", "--short"]):
        lines = kept("box", *words).stdout.splitlines()
        assert max(map(len, lines)) <= int(width)

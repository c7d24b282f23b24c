"""`calib box`: the chests of the samples from their logs, nominal boxes, and boxes that cannot be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from calib.cli.main import app
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
        ([], "--outside or --inside", 2),
    ],
)
def test_a_box_that_cannot_be_gets_one_clear_line(chest, words, said, code):
    done = chest("box", "plan", *words)
    assert done.exit_code == code
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stdout == ""


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

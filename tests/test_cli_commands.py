"""Every command, typed as a maker would, through the program's own front door."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from calib.cli.program import app

SAMPLES = Path(__file__).parents[1] / "sample_logs"
FIVE = (
    "--joint",
    "finger",
    "--thickness",
    "8",
    "--cutter-width",
    "6",
    "--fit",
    "hand",
    "--stake",
    "ordinary",
)
ADD = ["setup", "add", "corners", *FIVE]
Run = Callable[..., Result]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Return a function that runs one command on a database of its own, at 80 columns."""
    monkeypatch.setenv("CALIB_DB", str(tmp_path / "shop.db"))
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.chdir(tmp_path)

    def _run(*words: str, answers: str | None = None) -> Result:
        return CliRunner().invoke(app, list(words), input=answers)

    return _run


@pytest.fixture
def corners(run: Run) -> Run:
    """Return the same, with a setup in the database."""
    assert run(*ADD).exit_code == 0
    return run


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pretend that somebody sits at a terminal."""
    monkeypatch.setattr("calib.cli.cuts.at_terminal", lambda: True)
    monkeypatch.setattr("calib.cli.setups.at_terminal", lambda: True)


def answer(result: Result) -> dict[str, Any]:
    """Return the one JSON object of a command that went well."""
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def cuts_in(run: Run) -> int:
    """Count the cuts that the history shows."""
    history = answer(run("history", "--json"))
    return sum(len(mounting["cuts"]) for mounting in history["mountings"])


def refused(result: Result, code: int, message: str) -> None:
    """Assert that a command ended in one line on stderr, with a code, and said nothing else."""
    assert result.exit_code == code, result.output
    assert message in result.stderr
    assert result.stderr.count("\n") == 1
    assert result.stdout == ""


# --- the main job -------------------------------------------------------------------------------


def test_a_whole_dial_in_as_a_maker_types_it(corners: Run) -> None:
    """From the first cut in scrap to the last good piece, with each answer saying what comes next."""
    assert corners("setup", "change", "corners", "pieces_left=8", "key.thread=M6").exit_code == 0
    first = corners("cut", "corners", "key=6.14", "clearance=-0.07", "feel=mallet")
    assert first.stdout.startswith("Cut 1. Write 1 on the piece.\n")
    advice = answer(corners("next", "corners", "--json"))
    assert advice["step"] in ("move_and_test", "move_and_cut_good")
    assert advice["moves"][0]["change_mm"] < 0  # tighter than wanted: the gap has to get smaller
    moved = corners("moved", "corners")
    assert moved.exit_code == 0
    assert "6.14" in moved.stdout
    second = corners("cut", "clearance=0.06", "clearance=0.07")
    assert second.stdout.startswith("Cut 2.")
    assert corners("again", "2", "clearance=0.065").exit_code == 0
    text = corners("next").stdout
    assert "that the next good piece is in its band" in text
    assert answer(corners("next", "--json"))["cuts_used"] == 2
    worked = corners("work", "--pieces", "4", "clearance=0.06", "--not-moved")
    assert "4 left to cut" in worked.stdout
    history = corners("history").stdout
    assert "4 good" in history
    assert "-0.07" in history
    assert "after cut 1" in history
    assert cuts_in(corners) == 3


def test_next_as_json_is_the_published_advice(corners: Run) -> None:
    """Exactly the form that Python gives, one object."""
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    advice = answer(corners("next", "corners", "--json"))
    assert advice["schema"] == "calib.advice/1"
    assert advice["setup"] == "corners"
    assert set(advice["minutes"]) == {"cut_now", "best"}
    assert 0 < advice["probability_next"] < 1


@pytest.mark.parametrize("columns", ["40", "80"])
def test_next_fits_the_terminal(corners: Run, monkeypatch: pytest.MonkeyPatch, columns: str) -> None:
    """A phone's terminal too."""
    monkeypatch.setenv("COLUMNS", columns)
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    for command in (("next", "corners"), ("setup", "show"), ("setup", "list")):
        shown = corners(*command)
        assert shown.exit_code == 0, shown.output
        for line in shown.stdout.splitlines():
            assert len(line) <= int(columns)
            assert line == line.rstrip()


def test_an_inch_maker_sees_inches(corners: Run) -> None:
    """And the echo says what was understood."""
    cut = corners("cut", "corners", "key=1/4", "clearance=-3 thou", "--units", "in")
    assert cut.exit_code == 0, cut.output
    assert "key 1/4 = 6.35 mm" in cut.stderr
    assert "clearance -3 thou = -0.0762 mm" in cut.stderr
    assert "key 0.2500 in" in cut.stdout
    logged = answer(corners("history", "--json"))["mountings"][-1]["cuts"][0]
    assert logged["settings_mm"]["key"] == pytest.approx(6.35, rel=1e-12)
    assert logged["readings"]["clearance"][0] == pytest.approx(-0.0762, rel=1e-12)


def test_plain_millimetres_are_not_echoed(corners: Run) -> None:
    """What was typed plainly needs no second line."""
    assert corners("cut", "corners", "key=6.14", "clearance=-0.07").stderr == ""
    assert "key 0.25 = 6.35 mm" in corners("cut", "key=0.25", "clearance=0", "--units", "in").stderr


def test_a_value_that_looks_25_times_off_is_asked_about(corners: Run) -> None:
    """It is stored as typed, and told."""
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    assert "Was it in mm?" in corners("cut", "corners", "key=156", "clearance=-0.05").stderr
    assert cuts_in(corners) == 2


# --- the question that only the maker can answer ----------------------------------------------------


def _advised_to_move(run: Run) -> None:
    run("cut", "corners", "key=6.30", "clearance=-0.25")
    assert answer(run("next", "corners", "--json"))["moves"]


def test_without_a_terminal_an_unclear_cut_is_refused_and_not_stored(corners: Run) -> None:
    """Never guess."""
    _advised_to_move(corners)
    refused(corners("cut", "corners", "clearance=0.05"), 1, "--not-moved")
    assert cuts_in(corners) == 1


@pytest.mark.usefixtures("terminal")
def test_in_a_terminal_the_program_asks(corners: Run) -> None:
    """A wrong answer is asked again; "moved" takes the advised position."""
    _advised_to_move(corners)
    to = answer(corners("next", "corners", "--json"))["moves"][0]["to_mm"]
    cut = corners("cut", "corners", "clearance=0.05", answers="perhaps\nmoved\n")
    assert cut.exit_code == 0, cut.output
    assert 'Please answer "moved" or "not".' in cut.stderr
    logged = answer(corners("history", "--json"))["mountings"][-1]["cuts"][-1]
    assert logged["settings_mm"]["key"] == pytest.approx(to, abs=1e-9)


@pytest.mark.usefixtures("terminal")
def test_a_feel_between_two_words_is_asked_for_and_understood(corners: Run) -> None:
    """Without words the program asks; what does not lie side by side is asked again."""
    cut = corners("cut", "corners", answers="6.14\n\npalm/slides\nhand/palm\n")
    assert cut.exit_code == 0, cut.output
    assert "side by side" in cut.stderr
    assert answer(corners("history", "--json"))["mountings"][-1]["cuts"][-1]["feel"] == "hand/palm"


@pytest.mark.parametrize(("option", "same"), [("--not-moved", True), ("--as-advised", False)])
def test_an_option_answers_it_too(corners: Run, option: str, same: bool) -> None:
    """For scripts and for the quick."""
    _advised_to_move(corners)
    assert corners("cut", "corners", "clearance=-0.24", option).exit_code == 0
    logged = answer(corners("history", "--json"))["mountings"][-1]["cuts"][-1]
    assert (logged["settings_mm"]["key"] == 6.30) is same


@pytest.mark.usefixtures("terminal")
def test_an_answer_that_is_broken_off_stores_nothing(corners: Run) -> None:
    """Ctrl-C or the end of input at the question leaves the database as it was."""
    _advised_to_move(corners)
    assert corners("cut", "corners", "clearance=0.05", answers="").exit_code == 1
    assert cuts_in(corners) == 1


def test_as_advised_with_a_wrong_word_leaves_the_move_open(corners: Run) -> None:
    """A refused command stores neither cut nor move."""
    _advised_to_move(corners)
    refused(corners("cut", "corners", "feel=snug", "--as-advised"), 1, "snug")
    assert answer(corners("history", "--json"))["mountings"][-1]["moves"] == []
    assert corners("moved", "corners").exit_code == 0


def test_as_advised_without_advice_stores_nothing(corners: Run) -> None:
    """There is nothing to follow."""
    corners("cut", "corners", "key=6.30", "clearance=-0.25")
    result = corners("cut", "corners", "clearance=0.05", "--as-advised")
    assert result.exit_code == 1
    assert cuts_in(corners) == 1


# --- moves ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "to_mm"),
    [
        (["key=6.00"], 6.00),
        (["key", "by", "0.14", "toward"], 6.00),
        (["key", "by", "0.10", "away"], 6.24),
        (["key", "by", "-0.14"], 6.00),
        (["key", "by", "+0.10"], 6.24),
        (["key", "by", "1/8", "turn", "toward", "the", "cutter"], 6.015),
    ],
)
def test_a_move_is_logged_in_the_words_of_the_trade(corners: Run, words: list[str], to_mm: float) -> None:
    """Positions, directions, signs, and turns of a known thread (M6: 1 mm a turn)."""
    corners("setup", "change", "corners", "key.thread=M6")
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    made = answer(corners("moved", "corners", *words, "--json"))["moves"]
    assert made[0]["adjuster"] == "key"
    assert made[0]["from_mm"] == pytest.approx(6.14, abs=1e-9)
    assert made[0]["to_mm"] == pytest.approx(to_mm, abs=1e-9)


def test_the_next_cut_stands_where_the_move_went(corners: Run) -> None:
    """Without naming the position again."""
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    corners("moved", "corners", "key", "by", "0.14", "toward")
    cut = answer(corners("cut", "corners", "clearance=0.06", "--json"))
    assert cut["cut"]["settings_mm"]["key"] == pytest.approx(6.00, abs=1e-9)


# --- wrong input: one line, an exit code, nothing stored -----------------------------------------------


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["cut", "corner", "key=6", "clearance=0.1"], 1, 'Did you mean "corners"?'),
        (["cut", "corners", "key=6"], 2, "nothing was read"),
        (["cut", "corners", "key=6", "clearence=0.1"], 1, 'Did you mean "clearance"?'),
        (["cut", "corners", "key=six", "clearance=0.1"], 1, 'key "six" is not a length'),
        (["cut", "corners", "key=6", "clearance=0.1", "mallet"], 2, "name=value"),
        (["cut", "corners", "key=6", "feel=snug"], 1, "snug"),
        (["cut", "corners", "key=6", "feel=palm/slides"], 1, "side by side: nostart/mallet, mallet/palm"),
        (["cut", "corners", "key=6", "clearance=0.1", "--piecs", "3"], 2, "there is no option --piecs"),
        (["cut", "corners", "clearance=0.1"], 1, "key"),
        (["cut", "corners", "key=6", "clearance=0.1", "--as-advised", "--not-moved"], 2, "contradict"),
        (["again", "99", "clearance=0.1"], 1, "99"),
        (["moved", "corners"], 1, "advi"),
        (["moved", "corners", "key", "by", "0.14"], 2, "which way"),
        (["moved", "corners", "fence=3"], 1, 'has no "fence"'),
        (["moved", "corners", "clearance=0.1"], 1, "positions, not readings"),
        (["next", "corner"], 1, 'Did you mean "corners"?'),
        (["setup", "show", "nothing"], 1, "nothing"),
        (["setup", "change", "corners", "clearance.low=0.5"], 1, "below"),
        (["setup", "change", "corners", "clearance.lw=0.5"], 1, 'Did you mean "low"?'),
        (ADD, 1, "corners"),
        (["cutter", "add", "new", "--width", "-3"], 1, "is not above 0"),
        (["cutter", "sharpen", "cutter-6", "--kind", "honed"], 2, "reground"),
        (["cutter", "show", "cuter-6"], 1, 'Did you mean "cutter-6"?'),
        (["cutter", "change", "cutter-6"], 2, "nothing to change"),
        (["stock", "show", "oak"], 1, "oak"),
        (["gauge", "add", "dial"], 2, "--resolution is missing"),
        (["mount", "corner"], 1, 'Did you mean "corners"?'),
        (["export", "corners", "--to", "log.txt"], 2, "does not end in .toml"),
    ],
)
def test_wrong_input_is_one_line_and_stores_nothing(
    corners: Run, words: list[str], code: int, message: str
) -> None:
    """Where, what was found, what to do."""
    before = (answer(corners("setup", "show", "--json")), cuts_in(corners))
    refused(corners(*words), code, message)
    assert (answer(corners("setup", "show", "--json")), cuts_in(corners)) == before


def test_two_wrong_words_are_two_lines(corners: Run) -> None:
    """Both are reported at once."""
    result = corners("cut", "corners", "key=six", "clearance=seven")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 2
    assert cuts_in(corners) == 0


def test_a_log_that_is_not_there_is_refused(run: Run) -> None:
    """Both files are named, and nothing is stored."""
    result = run("import", "nowhere.toml")
    assert result.exit_code == 1
    assert "nowhere.toml" in result.stderr
    assert "nowhere.csv" in result.stderr
    assert answer(run("setup", "list", "--json"))["items"] == []


def test_an_empty_shop_says_how_to_start(run: Run) -> None:
    """No setup, no cutter, no stock, no gauge: each list names its add."""
    for noun in ("setup", "cutter", "stock", "gauge"):
        assert f"calib {noun} add" in run(noun, "list").stdout
    refused(run("next"), 1, "setup")


def test_a_file_that_is_no_database_is_refused(run: Run, tmp_path: Path) -> None:
    """One line, and the file stays as it was."""
    other = tmp_path / "letter.txt"
    other.write_text("Dear Sir, this is no database at all, but a letter of some length.\n" * 20)
    refused(run("setup", "list", "--db", str(other)), 1, "letter.txt")
    assert other.read_text().startswith("Dear Sir")


# --- setups ---------------------------------------------------------------------------------------


@pytest.mark.usefixtures("terminal")
def test_in_a_terminal_a_setup_is_five_questions(run: Run) -> None:
    """Three have a default; a wrong answer is asked again."""
    result = run("setup", "add", answers="mortise\nfinger\n8\n1/4 in\n\nirreplaceable\n")
    assert result.exit_code == 0, result.output
    assert "there is no joint" in result.stderr
    assert "= 6.350 mm" in result.stderr
    setup = answer(run("setup", "show", "corners", "--json"))
    assert setup["joint"]["thickness"] == 8
    assert setup["cutter"]["nominal"] == 6.35
    assert setup["stakes"]["clearance"]["too_high"] == 120


def test_elsewhere_a_missing_answer_is_named(run: Run) -> None:
    """Nothing waits for an answer that cannot come."""
    refused(run(*ADD[:-2]), 2, "--stake is missing")
    refused(run("setup", "add"), 2, "--joint, --thickness, --cutter-width, --fit, --stake are missing")


def test_a_setup_is_listed_shown_and_changed(corners: Run) -> None:
    """The change is told, and can be undone."""
    assert "corners" in corners("setup", "list").stdout
    assert "band 0.03 to 0.10 mm" in corners("setup", "show", "corners").stdout
    assert "0.0012 to 0.0039 in" in corners("setup", "show", "corners", "--units", "in").stdout
    changed = corners("setup", "change", "corners", "clearance.high=0.12", "stakes.test_cut=5")
    assert "band 0.03 to 0.12 mm" in changed.stdout
    assert answer(corners("setup", "list", "--json"))["items"][0]["stakes"]["test_cut"] == 5
    assert "nothing has changed" in corners("setup", "change", "corners", "stakes.test_cut=5").stdout


# --- what the shop has -------------------------------------------------------------------------------


def test_cutters_are_added_sharpened_and_shown(run: Run) -> None:
    """Width in any unit; a sharpening starts the metres again."""
    added = run("cutter", "add", "quarter", "--width", "1/4 in", "--metres", "12,5")
    assert added.exit_code == 0, added.output
    assert "width 1/4 in = 6.350 mm" in added.stderr
    cutter = answer(run("cutter", "show", "quarter", "--json"))
    assert (cutter["nominal_mm"], cutter["metres_m"]) == (6.35, 12.5)
    sharp = run("cutter", "sharpen", "quarter", "--kind", "reground", "--measured", "6.28")
    assert "Sharp again" in sharp.stdout
    assert answer(run("cutter", "show", "quarter", "--json"))["metres_m"] == 0
    assert run("cutter", "change", "quarter", "--note", "two flutes").exit_code == 0
    assert "two flutes" in run("cutter", "list").stdout


def test_stocks_are_added_and_changed(run: Run) -> None:
    """Species, thickness, moisture."""
    assert (
        run("stock", "add", "cherry", "--species", "cherry, black", "--thickness", "5/16 in").exit_code == 0
    )
    assert run("stock", "change", "cherry", "--moisture", "8.5").exit_code == 0
    stock = answer(run("stock", "show", "cherry", "--json"))
    assert (stock["thickness_mm"], stock["moisture_percent"]) == (7.9375, 8.5)
    assert "cherry, black" in run("stock", "list").stdout


def test_gauges_are_added_and_changed(run: Run) -> None:
    """Resolution and limit of error."""
    assert run("gauge", "add", "calliper", "--resolution", "0.01", "--limit-of-error", "0.02").exit_code == 0
    assert run("gauge", "change", "calliper", "--limit-of-error", "0.03").exit_code == 0
    gauge = answer(run("gauge", "show", "calliper", "--json"))
    assert (gauge["resolution_mm"], gauge["limit_of_error_mm"]) == (0.01, 0.03)
    assert "calliper" in run("gauge", "list").stdout


def test_mounting_again_says_where_to_start(corners: Run) -> None:
    """From the mounting before."""
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    corners("cut", "corners", "key=6.00", "clearance=0.07")
    mounted = corners("mount", "corners", "--note", "after the trays")
    assert mounted.exit_code == 0, mounted.output
    assert mounted.stdout.startswith("Mounting ")
    assert answer(corners("mount", "corners", "--json"))["number"] >= 2


def test_what_the_shop_taught_is_shown_after_each_mounting(corners: Run) -> None:
    """With the chance of the first cut, apart for a kept joint; nothing measured is an answer too."""
    assert "nothing was learned" in corners("learn").stdout
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    corners("cut", "corners", "key=6.00", "clearance=0.07")
    mounted = corners("mount", "corners", "--kept-joint", "chest 1")
    assert "% that the first cut is in its band." in " ".join(mounted.stdout.split())
    assert "Put it back with chest 1 as the gauge." in mounted.stdout
    nameless = corners("mount", "corners", "--kept-joint", " ")
    assert nameless.exit_code == 1
    assert nameless.stderr.startswith("kept joint: it has no name.")
    assert "It rests on mounting 1." in mounted.stdout
    corners("cut", "corners", "key=6.00", "clearance=0.06")
    shown = corners("learn", "corners")
    assert shown.exit_code == 0, shown.output
    assert "corners: 2 mountings, 3 readings, 1 move." in shown.stdout
    [found] = answer(corners("learn", "--json"))["items"]
    assert (found["setup"], found["mountings"], found["readings"], found["moves"]) == ("corners", 2, 3, 1)
    kinds = {part["kind"] for part in found["components"]}
    assert kinds == {"scatter", "move", "mounting", "kept", "offset", "scale"}
    refused = corners("learn", "cornres")
    assert refused.exit_code == 1
    assert 'Did you mean "corners"' in refused.stderr
    assert corners("verify").exit_code == 0


# --- keeping ----------------------------------------------------------------------------------------


def test_a_cut_can_be_undone_and_put_back(corners: Run) -> None:
    """Nothing is deleted."""
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    undone = corners("undo")
    assert undone.stdout.startswith("Undone: ")
    assert cuts_in(corners) == 0
    assert corners("undo", "--redo").stdout.startswith("Put back: ")
    assert cuts_in(corners) == 1


def test_logs_go_in_and_out(run: Run, tmp_path: Path) -> None:
    """The same import twice changes nothing; an export is not written over by accident."""
    log = str(SAMPLES / "chest-corners.toml")
    assert "Read chest-corners" in run("import", log).stdout
    assert "nothing has changed" in run("import", log).stdout
    assert run("export", "chest-corners").exit_code == 0
    assert (tmp_path / "chest-corners.csv").read_text().count("\n") > 3
    refused(run("export", "chest-corners"), 1, "is there already")
    assert run("export", "chest-corners", "--force").exit_code == 0
    assert run("export", "chest-corners", "--to", "-").stdout.startswith("schema")


def test_a_backup_is_whole_and_verified(corners: Run, tmp_path: Path) -> None:
    """The copy answers as the first does."""
    corners("cut", "corners", "key=6.14", "clearance=-0.07")
    given = answer(corners("next", "--json"))
    assert corners("backup", "copy.db").exit_code == 0
    assert answer(corners("next", "--json", "--db", "copy.db")) == given
    checked = corners("verify")
    assert checked.exit_code == 0, checked.output
    assert checked.stdout.startswith("All is well")
    assert answer(corners("verify", "--json"))["problems"] == []


def test_completion_offers_names_and_keeps_silent_on_failure(corners: Run, monkeypatch) -> None:
    """Read-only; a missing database is no error."""
    from types import SimpleNamespace

    from calib.cli.complete import cutter_names, setup_names

    context = SimpleNamespace(params={})
    assert setup_names(context, "cor") == ["corners"]
    assert setup_names(context, "x") == []
    assert cutter_names(context, "") == ["cutter-6"]
    monkeypatch.setenv("CALIB_DB", "/nowhere/at/all.db")
    assert setup_names(context, "") == []


def _all_commands() -> list[list[str]]:
    """Return the words of every command that there is."""
    import typer

    found = []
    for name, command in typer.main.get_command(app).commands.items():  # type: ignore[attr-defined]
        inner = getattr(command, "commands", None)
        found += [[name, sub] for sub in inner] if inner else [[name]]
    return found


@pytest.mark.parametrize("words", _all_commands(), ids=" ".join)
def test_every_command_has_two_examples_and_the_shared_options(run: Run, words: list[str]) -> None:
    """Examples of its own, and --db, --json, --units."""
    text = run(*words, "--help").stdout
    own = [line for line in text.splitlines() if line.strip().startswith(f"calib {' '.join(words)}")]
    assert len(own) >= 2
    for option in ("--db", "--json", "--units"):
        assert option in text

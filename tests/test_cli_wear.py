"""`calib wear` as a maker types it."""

from __future__ import annotations

from test_cli_commands import Run, answer, corners, refused, run

__all__ = ["corners", "run"]


def worn(run: Run) -> None:
    """A few good runs on one mounting, a piece measured after each."""
    assert run("setup", "change", "corners", "metres_per_piece=0.2", "pieces_left=900").exit_code == 0
    assert run("cut", "corners", "key=5.95", "clearance=0.08").exit_code == 0
    for clearance in ("0.08", "0.07", "0.06", "0.06", "0.05"):
        assert run("work", "corners", "--pieces", "100", f"clearance={clearance}").exit_code == 0


def test_wear_says_how_long_first_and_the_cautions_last(corners: Run) -> None:
    worn(corners)
    lines = corners("wear", "cutter-6").stdout.splitlines()
    assert lines[0] == "cutter-6 #1: 100 m cut since it was sharp."
    assert lines[2].startswith("corners, clearance: holds at least ")
    assert " at 90 %" in " ".join(lines[2:4])
    assert lines[-1].endswith("that a setting is safe.")
    assert max(map(len, lines)) <= 80


def test_wear_as_json_has_no_nan_and_lengths_in_mm(corners: Run) -> None:
    worn(corners)
    form = answer(corners("wear", "cutter-6", "--json", "--confidence", "0.8", "--regrind", "5"))
    assert form["schema"] == "calib.wear/1"
    [edge] = form["edges"]
    low, middle, high = edge["recession90_mm"]
    assert 0.0 <= low <= middle <= high
    [ahead] = edge["setups"]
    assert (ahead["setup"], ahead["left"]["confidence"], form["regrind_min"]) == ("corners", 0.8, 5.0)
    assert ahead["left"]["readings"][0]["pieces"] > 0
    assert len(edge["picture"]["metres_m"]) == len(edge["picture"]["median_mm"])
    assert [one["cut"] for one in edge["picture"]["readings"]] == [1, 2, 3, 4, 5, 6]
    assert ahead["regrind_after_pieces"] > 0
    longer = answer(corners("wear", "cutter-6", "--json", "--confidence", "0.6"))
    assert (
        longer["edges"][0]["setups"][0]["left"]["readings"][0]["pieces"]
        > ahead["left"]["readings"][0]["pieces"]
    )


def test_a_setup_whose_pieces_need_no_metres_is_asked_for_them(corners: Run) -> None:
    assert corners("cut", "corners", "key=5.95", "clearance=0.08").exit_code == 0
    text = " ".join(corners("wear", "cutter-6").stdout.split())
    assert "add no metres to the edge. Say how many: calib setup change corners metres_per_piece=0.05" in text


def test_wrong_words_end_in_one_line(corners: Run) -> None:
    refused(corners("wear", "cuter-6"), 1, 'Did you mean "cutter-6"?')
    refused(corners("wear", "cutter-6", "--confidence", "90"), 1, "Give 0.5 to 0.99, such as 0.9 for 90 %")
    refused(corners("wear", "cutter-6", "--regrind", "-3"), 1, "Give its minutes, 0 or more")
    assert corners("cutter", "add", "spare", "--width", "6").exit_code == 0
    refused(corners("wear", "spare"), 1, "no setup uses cutter spare yet")
    refused(corners("stock", "add", "board", "--abrasiveness", "0"), 1, "Give 1 for a wood like cherry")


def test_a_stock_shows_how_fast_it_wears_an_edge(run: Run) -> None:
    assert run("stock", "add", "board", "--species", "birch plywood").exit_code == 0
    assert answer(run("stock", "show", "board", "--json"))["abrasiveness"] == 3.0
    assert run("stock", "change", "board", "--abrasiveness", "2.5").exit_code == 0
    assert answer(run("stock", "show", "board", "--json"))["abrasiveness"] == 2.5
    assert run("undo").exit_code == 0
    assert answer(run("stock", "show", "board", "--json"))["abrasiveness"] == 3.0

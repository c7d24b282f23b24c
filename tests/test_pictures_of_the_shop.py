"""Pictures of wear, honesty and boxes: what is drawn, in which unit, how far. No pixel is compared."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from test_pictures import artists, boxes_apart, words
from typer.testing import CliRunner

from calib.box.drawing import BoardDrawing, draw_boards
from calib.cli.program import app
from calib.decision.edgelife import EdgeLeft, Left, WearPicture, WornReading
from calib.monitor.honesty import honesty
from calib.present.pictures.boxes import draw_box
from calib.present.pictures.honesty import draw_honesty
from calib.present.pictures.wear import draw_wear
from calib.workflow.boxes import BoxQuestion, plan

SAMPLES = Path(__file__).parents[1] / "sample_logs"
MM_PER_INCH = 25.4


def patches(axes: Any, gid: str) -> list[Any]:
    return [patch for patch in axes.patches if patch.get_gid() == gid]


# --- wear -----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Edge:
    """An edge as the picture takes it."""

    picture: WearPicture
    established: bool = True


@dataclass(frozen=True)
class Report:
    """A report as the picture takes it."""

    edges: tuple[Edge, ...]
    sharpening: str = "spiral-6 #2"
    cutter: str = "spiral-6"
    confidence: float = 0.9


def left(setup: str, metres: float | None) -> EdgeLeft:
    one = Left("clearance", None if metres is None else metres / 0.05, metres, None)
    return EdgeLeft(setup, 0.9, metres is not None, (one,), (), None, 0.05)


READINGS = (
    WornReading("corners", "clearance", 1, 2.0, 0.001, 0.004),
    WornReading("trays", "clearance", 2, 9.0, 0.011, 0.003),
    WornReading("corners", "clearance", 3, 12.0, 0.012, 0.004),
)
PICTURE = WearPicture(
    (0.0, 10.0, 20.0), (0.0, 0.004, 0.008), (0.0, 0.01, 0.02), (0.0, 0.02, 0.04), 12.5, READINGS,
    (left("corners", 5.0), left("trays", None)),
)  # fmt: skip
WORN = Report((Edge(PICTURE),))


def test_recession_its_band_and_the_readings_are_drawn_in_micrometres() -> None:
    curve = draw_wear(WORN).axes[0]
    (line,) = artists(curve, "recession")
    assert list(line.get_xdata()) == [0.0, 10.0, 20.0]
    assert list(line.get_ydata()) == pytest.approx([0.0, 10.0, 20.0])
    (band,) = [c for c in curve.collections if c.get_gid() == "nine in ten"]
    corners = {(round(x, 6), round(y, 6)) for x, y in band.get_paths()[0].vertices}
    assert {(20.0, 8.0), (20.0, 40.0), (10.0, 4.0), (10.0, 20.0)} <= corners
    read = sorted((dot.get_xdata()[0], round(dot.get_ydata()[0], 9)) for dot in artists(curve, "read"))
    assert read == [(2.0, 1.0), (9.0, 11.0), (12.0, 12.0)]
    ends = sorted(tuple(bar.get_ydata()) for bar in artists(curve, "uncertainty"))
    assert ends == [pytest.approx(pair) for pair in [(-7.0, 9.0), (4.0, 20.0), (5.0, 17.0)]]
    assert curve.get_ylabel() == "edge worn back (µm)"
    assert curve.get_xlabel() == "metres cut since it was sharp (m of ordinary hardwood)"
    assert curve.get_xlim() == (0.0, 20.0)
    low, high = curve.get_ylim()
    assert low < 0.0
    assert high > 40.0


def test_each_setup_has_a_sign_of_its_own_and_the_sign_stands_at_its_name() -> None:
    curve, rows = draw_wear(WORN).axes
    signs = [(dot.get_marker(), dot.get_markerfacecolor()) for dot in artists(curve, "read")]
    assert len(set(signs)) == 2
    named = [(dot.get_marker(), dot.get_markerfacecolor()) for dot in rows.lines if dot.get_marker() in "os"]
    assert set(named) == set(signs)


def test_the_metres_left_are_a_bar_from_now_and_said_with_their_probability() -> None:
    figure = draw_wear(WORN)
    curve, rows = figure.axes
    assert rows.get_xlim() == curve.get_xlim()
    (bar,) = artists(rows, "left")
    assert list(bar.get_xdata()) == pytest.approx([12.5, 17.5])
    (now,) = artists(curve, "now")
    assert now.get_xdata()[0] == 12.5
    said = words(figure)
    assert "corners: holds at least 5.0 m more, at 90 %" in said
    assert "trays: how long it holds is not known yet" in said
    assert "now, 12 m" in said


def test_a_reading_far_out_does_not_stretch_the_picture_but_is_shown_at_its_edge() -> None:
    wild = replace(PICTURE, readings=(*READINGS, WornReading("corners", "clearance", 4, 12.2, 0.9, 0.004)))
    curve = draw_wear(Report((Edge(wild),))).axes[0]
    (arrow,) = artists(curve, "beyond")
    assert arrow.get_ydata()[0] == curve.get_ylim()[1] < 200.0
    assert len(artists(curve, "read")) == 3


def test_recession_in_inches_is_told_in_thousandths_of_an_inch() -> None:
    curve = draw_wear(WORN, "in").axes[0]
    (line,) = artists(curve, "recession")
    assert line.get_ydata()[-1] == pytest.approx(0.02 / MM_PER_INCH * 1000.0)
    assert curve.get_ylabel() == "edge worn back (thou)"


def test_an_edge_that_no_cut_speaks_of_says_so() -> None:
    assert "The cuts hardly narrow it yet." in words(draw_wear(Report((Edge(PICTURE, False),))))
    assert "The cuts hardly narrow it yet." not in words(draw_wear(WORN))


# --- honesty --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Judged:
    """What was judged, as the picture takes it."""

    chances: Any
    ranges: Any
    setup: str | None = None
    cuts: int = 10


SAID = [0.3, 0.35, 0.7, 0.75, 0.95, 0.95, 0.95, 0.95, 0.95, 0.95]
CAME = [0, 1, 1, 0, 1, 1, 1, 1, 1, 0]
JUDGED = Judged(honesty(SAID, CAME), honesty([0.9] * 10, [1] * 8 + [0, 0]))


def test_a_dot_is_what_came_true_over_what_was_said_in_per_cent() -> None:
    bins, ranges = draw_honesty(JUDGED).axes
    dots = [(dot.get_xdata()[0], dot.get_ydata()[0]) for dot in artists(bins, "came")]
    assert dots == [pytest.approx(pair) for pair in [(32.5, 50.0), (72.5, 50.0), (95.0, 500.0 / 6.0)]]
    (dot,) = artists(ranges, "came")
    assert dot.get_xdata()[0] == pytest.approx(80.0)
    assert bins.get_xlabel() == "chance given that the next reading is in its band (%)"
    assert bins.get_ylabel() == "came true (%)"
    assert ranges.get_xlabel() == "fell in the range for nine readings in ten (%)"
    assert bins.get_xlim() == (0.0, 100.0)


def test_the_grey_is_two_standard_errors_of_a_share_either_way_within_0_and_100() -> None:
    """Six at 95 %: the standard error of their share is sqrt(0.95 * 0.05 / 6) (D)."""
    bins, ranges = draw_honesty(JUDGED).axes
    ends = [tuple(bar.get_ydata()) for bar in artists(bins, "expected")]
    assert ends[-1] == pytest.approx((95.0 - 200.0 * (0.95 * 0.05 / 6) ** 0.5, 100.0))
    assert ends[0] == pytest.approx((0.0, 32.5 + 200.0 * ((0.3 * 0.7) + (0.35 * 0.65)) ** 0.5 / 2))
    (bar,) = artists(ranges, "expected")
    assert tuple(bar.get_xdata()) == pytest.approx((90.0 - 200.0 * (0.09 / 10) ** 0.5, 100.0))


def test_the_line_of_true_chances_is_drawn_and_each_dot_says_of_how_many() -> None:
    figure = draw_honesty(replace(JUDGED, setup="corners"))
    (line,) = artists(figure.axes[0], "true")
    assert list(line.get_xdata()) == list(line.get_ydata()) == [0, 100]
    said = words(figure)
    assert said.count("of 2") == 2
    assert "of 6" in said
    assert "of 10" in said
    assert "corners: how often its chances came true (10 cuts)" in said


# --- a box ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def boards() -> tuple[BoardDrawing, ...]:
    """Return the boards of a box with a stopped groove and a lid, of nominal numbers."""
    return draw_boards(plan(None, BoxQuestion(250.0, 180.0, 102.0, 8.0, lid_height=30.0)).plan)


def test_the_boards_are_drawn_to_one_scale_with_their_outline_groove_and_stops(
    boards: tuple[BoardDrawing, ...],
) -> None:
    figure = draw_box("chest", boards)
    assert boards[0].stop_marks is not None
    wide = []
    for axes, board in zip(figure.axes[:2], (boards[0], boards[2]), strict=True):
        (outline,) = patches(axes, "outline")
        assert [tuple(xy) for xy in outline.get_xy()[:-1]] == [pytest.approx(xy) for xy in board.outline]
        (groove,) = patches(axes, "groove")
        (x0, y0), (x1, y1) = groove.get_xy().min(axis=0), groove.get_xy().max(axis=0)
        assert ((x0, x1), (y0, y1)) == (pytest.approx(board.groove[0]), pytest.approx(board.groove[1]))
        stops = [mark.get_xdata()[0] for mark in artists(axes, "stop")]
        assert stops == pytest.approx(board.stop_marks)
        box = axes.get_position()
        inches = figure.get_size_inches() * (box.width, box.height)
        assert (axes.get_xlim()[1], axes.get_ylim()[1]) == pytest.approx((board.length_mm, board.width_mm))
        wide += [inches[0] / board.length_mm, inches[1] / board.width_mm]
    assert wide == pytest.approx([wide[0]] * 4)


def test_the_round_end_of_a_groove_is_a_half_circle_about_its_stop_mark(
    boards: tuple[BoardDrawing, ...],
) -> None:
    board = boards[0]
    assert board.stop_marks is not None
    (groove,) = patches(draw_box("chest", boards).axes[0], "groove")
    middle = 0.5 * sum(board.groove[1])
    near = [(x, y) for x, y in groove.get_xy() if x > board.stop_marks[1] + 1e-6]
    assert len(near) > 8
    for x, y in near:
        off = ((x - board.stop_marks[1]) ** 2 + (y - middle) ** 2) ** 0.5
        assert off == pytest.approx(board.round_ends_mm)


def test_finger_lines_walls_lid_and_stops_are_named_from_the_reference_edge(
    boards: tuple[BoardDrawing, ...],
) -> None:
    figure = draw_box("chest", boards)
    for axes, board in zip(figure.axes[2:], (boards[0], boards[2]), strict=True):
        said = {text.get_text() for text in axes.texts}
        lines = {f"{mm:.2f}" for span in (*board.slots, *board.fingers) for mm in span if mm}
        assert lines <= said
        assert {f"{mm:.2f}" for mm in board.groove[1]} <= said
        assert board.lid_line is not None
        assert f"lid {board.lid_line[0]:.2f}" in said
    said = words(figure)
    assert "A1 front and A2 back, 8.00 mm thick" in said
    assert "B1 right end and B2 left end, 8.00 mm thick" in said
    assert "along the board (mm)" in said


def test_a_box_in_inches_is_drawn_in_inches(boards: tuple[BoardDrawing, ...]) -> None:
    axes = draw_box("chest", boards, "in").axes[0]
    assert axes.get_xlim()[1] == pytest.approx(boards[0].length_mm / MM_PER_INCH)
    assert axes.get_xlabel() == "along the board (in)"


@pytest.mark.parametrize("unit", ["mm", "in"])
def test_no_text_of_these_pictures_meets_another_or_leaves_it(
    boards: tuple[BoardDrawing, ...], unit: str
) -> None:
    boxes_apart(draw_box("chest", boards, unit))
    boxes_apart(draw_wear(WORN, unit))
    boxes_apart(draw_wear(Report((Edge(replace(PICTURE, now_m=19.9)), Edge(PICTURE, False))), unit))
    boxes_apart(draw_honesty(JUDGED))
    many = honesty([0.1, 0.3, 0.5, 0.7, 0.85, 0.95], [0, 1, 0, 1, 1, 1])
    boxes_apart(draw_honesty(Judged(many, honesty([0.9], [0]))))


def test_a_box_with_very_many_fingers_names_only_as_many_lines_as_there_is_room_for() -> None:
    asked = BoxQuestion(200.0, 150.0, 240.0, 6.0, cutter=3.0, groove_cutter=3.0, panel_thickness=2.5)
    tall = draw_boards(plan(None, asked).plan)
    boxes_apart(draw_box("tall", tall))


# --- the command ----------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["svg", "pdf", "png"])
@pytest.mark.parametrize("asked", [["chest-corners", "--what", "wear"], ["--box", "chest"]])
def test_plot_draws_wear_and_boxes_into_the_file_it_says(
    tmp_path: Path, ending: str, asked: list[str]
) -> None:
    db, out = str(tmp_path / "shop.db"), tmp_path / f"x.{ending}"
    run = CliRunner().invoke
    assert run(app, ["import", str(SAMPLES / "chest-corners.toml"), "--db", db]).exit_code == 0
    assert run(app, ["box", "plan", "chest", "--outside", "250x180x102", "--db", db]).exit_code == 0
    done = run(app, ["plot", *asked, "-o", str(out), "--db", db, "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["file"] == str(out)
    assert out.read_bytes()[:5] in (b"<?xml", b"%PDF-", b"\x89PNG\r")
    if ending == "svg":
        assert "</text>" in out.read_text("utf-8")
    if ending == "pdf":
        assert b"/FontFile2" in out.read_bytes()


@pytest.mark.parametrize(
    ("line", "code", "said"),
    [
        ("plot --what honesty", 1, "the shop: nothing to draw yet. It takes advice (calib next), followed"),
        ("plot chest --what box", 1, 'no box "chest"'),
        ("plot --what box", 1, "which box? No box is kept yet"),
        ("plot lid-inlay --box chest", 2, "--box chest draws that box alone"),
        ("plot lid-inlay --what wear -o a.gif", 2, "the file should end in .svg or .pdf or .png"),
        ("plot lid-inlya --what wear", 1, 'Did you mean "lid-inlay"'),
    ],
)
def test_what_cannot_be_drawn_is_said_in_one_line(tmp_path: Path, line: str, code: int, said: str) -> None:
    db = str(tmp_path / "shop.db")
    assert CliRunner().invoke(app, ["import", str(SAMPLES / "lid-inlay.toml"), "--db", db]).exit_code == 0
    done = CliRunner().invoke(app, [*line.split(), "--db", db])
    assert done.exit_code == code, done.output
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1

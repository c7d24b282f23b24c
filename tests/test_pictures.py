"""Pictures: what is drawn, in which unit, and how it lies in the file. No pixel is compared."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import zlib
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from calib.cli.program import app
from calib.decision.advise import advise
from calib.decision.profile import chances_along, forecasts
from calib.errors import CalibError, UsageError
from calib.logfile import load_log
from calib.present.pictures import sheet
from calib.present.pictures.band import draw_band
from calib.present.pictures.dialin import MOST_CUTS, DialIn, draw_dial_in
from calib.regression.infer import posterior
from calib.workflow import cards, pictures
from calib.workflow.logs import import_log
from calib.workflow.shopfloor import Shop, open_shop

SAMPLES = Path(__file__).parents[1] / "sample_logs"
MM_PER_INCH = 25.4


@pytest.fixture(scope="module")
def corners() -> DialIn:
    """Return the dial-in of the sample with two readings."""
    return dial_in_of("chest-corners")


def dial_in_of(name: str) -> DialIn:
    with TemporaryDirectory() as folder, open_shop(Path(folder) / "shop.db") as shop:
        import_log(shop, SAMPLES / f"{name}.toml")
        return pictures.dial_in(shop, name)


def artists(axes: Any, gid: str) -> list[Any]:
    return [line for line in axes.lines if line.get_gid() == gid]


def words(figure: Any) -> list[str]:
    from matplotlib.text import Text

    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


def test_every_reading_of_every_cut_is_drawn_where_it_was_read(corners: DialIn) -> None:
    figure = draw_dial_in(corners)
    assert len(figure.axes) == len(corners.setup.bands)
    for axes, band in zip(figure.axes, corners.setup.bands, strict=True):
        drawn = [(line.get_xdata()[0], line.get_ydata()[0]) for line in artists(axes, "read")]
        read = [(x, value) for x, cut in enumerate(corners.cuts) for value in cut.readings[band.name]]
        assert np.array(drawn) == pytest.approx(np.array(read))
        low, high = axes.get_ylim()
        assert all(low < y < high for _, y in drawn)
        assert low < band.low_mm < band.high_mm < high


def test_test_cuts_are_rings_and_good_pieces_are_black(corners: DialIn) -> None:
    fills = [line.get_markerfacecolor() for line in artists(draw_dial_in(corners).axes[1], "read")]
    assert fills == ["white" if cut.kind == "test" else "black" for cut in corners.cuts]


def test_the_ranges_that_are_drawn_are_those_that_were_believed_before_each_cut(corners: DialIn) -> None:
    """The range before cut 3 is that of the advice on the two cuts before it, at the same setting."""
    axes = draw_dial_in(corners).axes[0]
    thin = [tuple(line.get_ydata()) for line in artists(axes, "nine in ten")]
    thick = [tuple(line.get_ydata()) for line in artists(axes, "half")]
    assert len(thin) == len(thick) == len(corners.cuts)  # all but the first cut, and the one to come
    setup, cuts = load_log(SAMPLES / "chest-corners.toml")
    assert cuts[2].settings_mm == cuts[1].settings_mm
    expected = posterior(setup, cuts[:2]).next_reading("clearance")
    assert thin[1] == pytest.approx(expected.interval(0.9), abs=1e-6)
    assert thick[1] == pytest.approx(expected.interval(0.5), abs=1e-6)
    assert all(low < inner[0] < inner[1] < high for (low, high), inner in zip(thin, thick, strict=True))


def test_the_belief_narrows_over_the_sample(corners: DialIn) -> None:
    clearance = [f.most_mm[1] - f.most_mm[0] for f in corners.forecasts if f.reading == "clearance"]
    assert clearance[-1] < 0.5 * clearance[0]


def test_moves_are_marked_in_the_panels_that_they_concern(corners: DialIn) -> None:
    """The key was moved before cuts 2 and 4, the height before cut 2 alone."""
    clearance, proud = draw_dial_in(corners).axes
    assert [line.get_xdata()[0] for line in artists(clearance, "move")] == [0.5, 2.5]
    assert [line.get_xdata()[0] for line in artists(proud, "move")] == [0.5]


def test_a_move_that_is_advised_is_marked_before_the_next_cut() -> None:
    setup, cuts = load_log(SAMPLES / "chest-corners.toml")
    advice = advise(setup, cuts[:1])
    assert advice.moves
    to = {move.adjuster: move.to_mm for move in advice.moves}
    found = forecasts(setup, cuts[:1], advice)
    assert {f.cut for f in found} == {None}
    by_name = {reading.name: reading for reading in advice.readings}
    for forecast in found:
        assert forecast.most_mm == pytest.approx(by_name[forecast.reading].interval90_mm, abs=1e-6)
    along = chances_along(setup, cuts[:1], advice)
    assert {one.adjuster: one.advised_mm for one in along} == pytest.approx(to)


def test_labels_name_number_kind_setting_band_and_unit(corners: DialIn) -> None:
    said = words(draw_dial_in(corners))
    for text in ("clearance (mm)", "proud (mm)", "key mm", "5.98", "6.14", "target 0.07", "low 0.03", "next"):
        assert text in said
    assert said.count("good") == 2
    assert [said.index(number) for number in "123456"] == sorted(said.index(number) for number in "123456")


def test_inches_are_drawn_as_inches(corners: DialIn) -> None:
    mm, inches = (draw_dial_in(corners, unit).axes[0] for unit in ("mm", "in"))
    assert inches.get_ylabel() == "clearance (in)"
    at = [artists(axes, "read")[0].get_ydata()[0] for axes in (mm, inches)]
    assert at[0] == pytest.approx(MM_PER_INCH * at[1])
    assert mm.get_ylim()[1] == pytest.approx(MM_PER_INCH * inches.get_ylim()[1])


def test_a_reading_between_limits_is_an_upright_with_ends() -> None:
    axes = draw_dial_in(dial_in_of("lid-inlay")).axes[0]
    (between,) = artists(axes, "between")
    assert tuple(between.get_ydata()) == pytest.approx((0.15, 0.25))


def test_a_cut_that_was_only_felt_shows_what_the_word_stands_for(corners: DialIn) -> None:
    """Mallet is below 0 at both ends or open below; the upright ends where the word or the panel does."""
    felt = replace(corners.cuts[0], readings={})
    assert felt.feel == "mallet"
    low, high = corners.setup.feel.words["mallet"]
    figure = draw_dial_in(replace(corners, cuts=(felt, *corners.cuts[1:])))
    clearance, proud = figure.axes
    (between,) = artists(clearance, "between")
    assert tuple(between.get_ydata()) == pytest.approx((max(low, clearance.get_ylim()[0]), high))
    assert "mallet" in words(figure)
    assert not artists(proud, "between")


def test_a_long_log_shows_its_last_cuts_and_says_so(corners: DialIn) -> None:
    many = tuple(replace(corners.cuts[i % 6], number=i + 1) for i in range(30))
    said = words(draw_dial_in(replace(corners, cuts=many, forecasts=())))
    assert f"chest-corners: the last {MOST_CUTS} of 30 cuts" in said
    assert "30" in said
    assert "21" not in said


def test_a_sharpened_cutter_and_a_new_mounting_are_named(corners: DialIn) -> None:
    last = corners.cuts[-1]
    for change, word in (({"sharpening": "again"}, "sharpened"), ({"mounting": "2"}, "mounted anew")):
        later = replace(corners, to_come=replace(last, **change))  # type: ignore[arg-type]
        figure = draw_dial_in(later)
        assert word in words(figure)
        (line,) = artists(figure.axes[0], word)
        assert line.get_xdata()[0] == len(corners.cuts) - 0.5


@pytest.mark.parametrize("name", ["chest-corners", "bottom-groove", "lid-inlay"])
def test_no_two_texts_of_a_picture_overlap_and_none_leaves_it(name: str) -> None:
    setup, cuts = load_log(SAMPLES / f"{name}.toml")
    for used in (cuts[:1], cuts):
        advice = advise(setup, used)
        boxes_apart(draw_band(setup, chances_along(setup, used, advice)))
    boxes_apart(draw_dial_in(dial_in_of(name)))


def boxes_apart(figure: Any) -> None:
    """Assert that texts do not touch; the picture's own edge counts."""
    from matplotlib.text import Text

    figure.draw_without_rendering()
    unseen = _ticks_beyond(figure)
    shown = [t for t in figure.findobj(Text) if t.get_text() and t.get_visible() and id(t) not in unseen]
    boxes = [(t.get_text(), t.get_window_extent()) for t in shown]
    edge = figure.bbox
    for i, (text, box) in enumerate(boxes):
        assert edge.x0 <= box.x0 < box.x1 <= edge.x1, text
        assert edge.y0 <= box.y0 < box.y1 <= edge.y1, text
        for other, there in boxes[i + 1 :]:
            apart = box.x1 <= there.x0 + 1 or there.x1 <= box.x0 + 1
            apart = apart or box.y1 <= there.y0 + 1 or there.y1 <= box.y0 + 1
            assert apart, (text, other)


def _ticks_beyond(figure: Any) -> set[int]:
    """Return the labels of ticks beyond the ends of an axis, which are not drawn."""
    beyond = set()
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in axis.get_major_ticks():
                if not low <= tick.get_loc() <= high or not axes.axison:
                    beyond |= {id(tick.label1), id(tick.label2)}
    return beyond


# --- why this move --------------------------------------------------------------------------------


def test_the_chance_along_a_scale_agrees_with_the_advice() -> None:
    """Where the advice would put it, the curve says what the advice says."""
    setup, cuts = load_log(SAMPLES / "chest-corners.toml")
    advice = advise(setup, cuts[:1])
    by_name = {reading.name: reading for reading in advice.readings}
    for one in chances_along(setup, cuts[:1], advice):
        assert one.advised_chance == pytest.approx(by_name[one.reading].probability_next, abs=1e-9)
        assert one.settings_mm[0] < one.now_mm < one.settings_mm[-1]
        assert one.advised_chance > 0.9 * max(one.chances)
        assert one.now_chance < one.advised_chance


def test_staying_is_surer_than_moving_to_the_same_place() -> None:
    setup, cuts = load_log(SAMPLES / "chest-corners.toml")
    advice = advise(setup, cuts)
    assert not advice.moves
    key = next(one for one in chances_along(setup, cuts, advice) if one.adjuster == "key")
    nearest = min(range(len(key.settings_mm)), key=lambda i: abs(key.settings_mm[i] - key.now_mm))
    assert key.now_chance > key.chances[nearest] + 0.02
    assert key.advised_mm is None


def test_the_band_picture_draws_curve_and_settings_in_per_cent() -> None:
    setup, cuts = load_log(SAMPLES / "chest-corners.toml")
    along = chances_along(setup, cuts[:1], advise(setup, cuts[:1]))
    figure = draw_band(setup, along)
    for axes, one in zip(figure.axes, along, strict=True):
        (curve,) = artists(axes, "chance")
        assert list(curve.get_ydata()) == pytest.approx([100 * c for c in one.chances])
        assert list(curve.get_xdata()) == pytest.approx(one.settings_mm)
        (now,), (to,) = artists(axes, "now"), artists(axes, "advised")
        assert now.get_xdata()[0] == pytest.approx(one.now_mm)
        assert to.get_ydata()[0] == pytest.approx(100 * one.advised_chance)
        assert axes.get_xlabel() == f"{one.adjuster} (mm)"
        assert axes.get_ylabel() == f"{one.reading} in band (%)"


def test_nothing_is_drawn_before_anything_was_measured() -> None:
    setup, _ = load_log(SAMPLES / "chest-corners.toml")
    with pytest.raises(CalibError, match="nothing to draw yet"):
        chances_along(setup, [], advise(setup, []))


# --- files ----------------------------------------------------------------------------------------


def test_text_in_an_svg_is_text_and_the_same_log_gives_the_same_file(corners: DialIn, tmp_path: Path) -> None:
    one, two = (sheet.save(draw_dial_in(corners), tmp_path / f"{n}.svg").read_text("utf-8") for n in "ab")
    assert one == two
    assert ">clearance (mm)</text>" in one
    assert ">target 0.07</text>" in one


def test_the_fonts_are_in_the_pdf(corners: DialIn, tmp_path: Path) -> None:
    raw = sheet.save(draw_dial_in(corners), tmp_path / "a.pdf").read_bytes()
    assert raw.startswith(b"%PDF")
    assert b"/FontFile2" in raw  # the outlines of a TrueType font (ISO 32000-1, 9.9)
    assert b"/Type3" not in raw


def test_no_colour_is_in_a_picture(corners: DialIn, tmp_path: Path) -> None:
    text = sheet.save(draw_dial_in(corners), tmp_path / "a.svg").read_text("utf-8")
    for colour in re.findall(r"#([0-9a-f]{6})\b", text):
        assert colour[:2] == colour[2:4] == colour[4:], colour


def test_a_file_of_another_kind_or_in_no_folder_is_refused(corners: DialIn, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"a\.jpg: the file should end in \.svg or \.pdf or \.png"):
        sheet.save(draw_dial_in(corners), tmp_path / "a.jpg")
    with pytest.raises(CalibError, match="cannot be written"):
        sheet.save(draw_dial_in(corners), tmp_path / "nowhere" / "a.svg")


@pytest.mark.parametrize("what", ["dial-in", "band"])
@pytest.mark.parametrize("ending", ["svg", "pdf", "png"])
def test_plot_writes_the_file_it_says(tmp_path: Path, what: str, ending: str) -> None:
    db, out = str(tmp_path / "shop.db"), tmp_path / f"x.{ending}"
    run = CliRunner().invoke
    assert run(app, ["import", str(SAMPLES / "lid-inlay.toml"), "--db", db]).exit_code == 0
    done = run(app, ["plot", "lid-inlay", "--what", what, "-o", str(out), "--db", db, "--json"])
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["schema"] == "calib.picture/1"
    assert Path(said["file"]) == out
    assert out.read_bytes()[:5] in (b"<?xml", b"%PDF-", b"\x89PNG\r")


def test_everyday_commands_load_no_matplotlib(tmp_path: Path) -> None:
    """Nor does the help of the commands that draw."""
    db = str(tmp_path / "shop.db")
    for line in (
        f"import {SAMPLES / 'lid-inlay.toml'} --db {db}",
        f"cut lid-inlay gap=0.15 --db {db}",
        f"next lid-inlay --db {db}",
        f"history lid-inlay --db {db}",
        "plot --help",
        "card --help",
    ):
        look = "print('LOADED', 'matplotlib' in sys.modules)"
        code = f"import sys\nfrom calib.cli.main import run\ntry: run()\nfinally:\n {look}"
        done = subprocess.run(
            [sys.executable, "-c", code, *line.split()], capture_output=True, encoding="utf-8", check=False
        )
        assert done.returncode == 0, done.stderr
        assert done.stdout.rstrip().endswith("LOADED False"), line


def marks_of(path: Path) -> dict[str, list[float]]:
    """Return the coordinates of what an SVG tells, by name, and how often each text is said."""
    from xml.etree import ElementTree

    space = "{http://www.w3.org/2000/svg}"
    found: dict[str, list[float]] = {}
    for group in ElementTree.parse(path).iter(f"{space}g"):
        name = group.get("id", "")
        if name in ("read", "half", "nine in ten", "move", "high", "target", "low"):
            for path_ in group.findall(f"{space}path"):
                found.setdefault(name, []).extend(map(float, re.findall(r"-?\d+\.?\d*", path_.get("d", ""))))
            for use in group.iter(f"{space}use"):
                found.setdefault(name, []).extend((float(use.get("x", "")), float(use.get("y", ""))))
    for text in ElementTree.parse(path).iter(f"{space}text"):
        found.setdefault(f"text {text.text}", []).append(1.0)
    return found


def test_the_picture_in_the_readme_is_what_the_program_draws(corners: DialIn, tmp_path: Path) -> None:
    """Regenerate: calib import, then calib plot, of sample_logs/chest-corners.toml in a new database."""
    readme = (SAMPLES.parent / "README.md").read_text(encoding="utf-8")
    assert "(sample_logs/chest-corners.svg)" in readme
    shown = marks_of(SAMPLES / "chest-corners.svg")
    drawn = marks_of(sheet.save(draw_dial_in(corners), tmp_path / "again.svg"))
    assert len(shown["read"]) == 2 * (7 + 6)
    assert shown.keys() == drawn.keys()
    for name, numbers in shown.items():
        assert drawn[name] == pytest.approx(numbers, abs=0.05), name


# --- the card -------------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    with open_shop(tmp_path / "shop.db", now=lambda: "2025-03-01T08:00:00+00:00") as opened:
        for name in ("lid-inlay", "chest-corners"):
            import_log(opened, SAMPLES / f"{name}.toml")
        yield opened


def pdf_content(path: Path) -> str:
    """Return the drawing commands of a PDF, unpacked."""
    raw, found = path.read_bytes(), []
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", raw, re.DOTALL):
        try:
            found.append(zlib.decompress(match[1]).decode("latin-1"))
        except zlib.error:
            continue
    return "\n".join(found)


@pytest.mark.parametrize(("paper", "size_mm"), [("a5", (148.0, 210.0)), ("half-letter", (139.7, 215.9))])
def test_the_check_line_is_50_mm_on_a_sheet_of_its_true_size(
    shop: Shop, tmp_path: Path, paper: Any, size_mm: tuple[float, float]
) -> None:
    """One unit of a PDF is 1/72 inch (ISO 32000-1, 8.3.2.3)."""
    from calib.present.pictures.card import draw_card

    path = sheet.save(draw_card(cards.card(shop, "chest-corners"), paper), tmp_path / "card.pdf")
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", path.read_bytes())
    assert box is not None
    assert [float(x) / 72 * MM_PER_INCH for x in box.groups()] == pytest.approx(size_mm, abs=0.05)
    lines = re.findall(r"([\d.]+) ([\d.]+) m\n([\d.]+) ([\d.]+) l\s+S", pdf_content(path))
    level = [[float(x) / 72 * MM_PER_INCH for x in line] for line in lines if line[1] == line[3]]
    lengths = [x1 - x0 for x0, y, x1, _ in level if y < 10.0]
    assert lengths == pytest.approx([50.0], abs=0.01)


def test_the_card_says_what_hangs_by_the_machine(shop: Shop) -> None:
    from calib.present.pictures.card import draw_card

    card = cards.card(shop, "chest-corners")
    said = " ".join(words(draw_card(card)))
    for text in (
        "chest-corners", "2025-03-01", "Set key 6.00 mm, height 8.25 mm. It rests on mounting 1.",
        "Cut first: a test cut in scrap",
        "key 5.98 mm; + is away from the cutter", "M6 screw", "band 0.03 to 0.12 mm, target 0.07 mm",
        "that the next good piece", "mounting 1, 2025-03-01, spiral-6: key 5.98, height 8.25 mm",
        "Switch off and unplug", "it never tells you that a setting is safe", "print at 100 %",
    ):  # fmt: skip
        assert text in re.sub(r"\s+", " ", said), text
    assert "100 % that" not in said


def test_the_expected_range_of_the_next_mounting_is_wider_than_that_of_the_next_cut(shop: Shop) -> None:
    card = cards.card(shop, "chest-corners")

    def width(lines: tuple[str, ...]) -> float:
        found = re.search(r"expect (-?[\d.]+) to (-?[\d.]+) mm", " ".join(lines))
        assert found is not None
        return float(found[2]) - float(found[1])

    assert width(card.start) > 5 * width(card.readings)


@pytest.mark.parametrize("paper", ["a5", "half-letter"])
@pytest.mark.parametrize("name", ["chest-corners", "lid-inlay"])
def test_no_text_of_a_card_leaves_the_sheet_or_meets_another(shop: Shop, paper: Any, name: str) -> None:
    from calib.present.pictures.card import draw_card

    boxes_apart(draw_card(cards.card(shop, name), paper))


def test_a_long_card_is_set_smaller_and_still_ends_above_the_check_line(shop: Shop) -> None:
    from calib.present.pictures.card import draw_card

    card = cards.card(shop, "chest-corners")
    boxes_apart(draw_card(replace(card, mountings=card.mountings * 12)))


def test_a_rising_key_is_drawn_away_from_the_cutter_unless_its_scale_counts_the_other_way(shop: Shop) -> None:
    from calib.present.pictures.card import draw_card

    card = cards.card(shop, "chest-corners")
    key, height = card.setup.adjusters
    turned = replace(card.setup, adjusters=(replace(key, counts_other_way=True), height))
    for setup, sign in ((card.setup, -1), (turned, 1)):
        arrows = [t for t in draw_card(replace(card, setup=setup)).axes[0].texts if hasattr(t, "arrow_patch")]
        tips = [(a.xy[0] - a.get_position()[0], a.xy[1] - a.get_position()[1]) for a in arrows]
        assert tips[0] == pytest.approx((6.0 * sign, 0.0))
        assert tips[1] == pytest.approx((0.0, 6.0))


def test_a_card_is_a_pdf_and_nothing_else(shop: Shop, tmp_path: Path) -> None:
    run = CliRunner().invoke
    done = run(app, ["card", "lid-inlay", "-o", str(tmp_path / "c.png"), "--db", str(shop.path)])
    assert done.exit_code == 2
    assert "should end in .pdf" in done.stderr
    done = run(app, ["card", "lid-inlay", "-o", str(tmp_path / "c.pdf"), "--db", str(shop.path), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["schema"] == "calib.card/1"
    assert b"/FontFile2" in (tmp_path / "c.pdf").read_bytes()

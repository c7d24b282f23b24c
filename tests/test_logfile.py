"""Reading and writing the two files of a log: what comes in, what is refused, and the way back."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from calib.errors import CalibError, LogError
from calib.logfile import load_log, log_from_texts, log_to_texts, write_log
from calib.shop import Cut, Interval, Setup

TOML = """\
schema = "calib.log/1"
name = "corners"
units = "mm"
pieces_left = 16
metres_per_piece = 0.05
[joint]
kind = "finger"
[cutter]
nominal = 6.0
[readings.clearance]
target = 0.07
low = 0.03
high = 0.12
[readings.proud]
target = 0.1
low = 0.0
high = 0.2
[adjusters.key]
low = 4.0
high = 9.0
[adjusters.height]
"""
CSV = """\
kind,pieces,key,height,clearance,proud,feel,moved,note
test,1,6.14,8.1,-0.07,,mallet,,
test,1,6.00,,0.06|0.08,0.1,,,
good,4,,,,,,key,"first, of four"
"""


def read(csv_text: str = CSV, toml_text: str = TOML) -> tuple[Setup, list[Cut]]:
    return log_from_texts(toml_text, csv_text, "c.toml", "c.csv")


def problems(csv_text: str = CSV, toml_text: str = TOML) -> tuple[str, ...]:
    with pytest.raises(LogError) as caught:
        read(csv_text, toml_text)
    return caught.value.problems


def test_a_row_becomes_a_cut_and_an_empty_position_is_unchanged() -> None:
    _, cuts = read()
    assert [cut.number for cut in cuts] == [1, 2, 3]
    assert cuts[0] == Cut(1, "test", {"key": 6.14, "height": 8.1}, {"clearance": (-0.07,)}, feel="mallet")
    assert cuts[1].settings_mm == {"key": 6.0, "height": 8.1}
    assert cuts[1].readings == {"clearance": (0.06, 0.08), "proud": (0.1,)}
    assert (cuts[2].pieces, cuts[2].moved, cuts[2].note) == (4, frozenset({"key"}), "first, of four")


def test_only_kind_an_adjuster_and_a_reading_are_needed() -> None:
    toml_text = TOML[: TOML.index("[readings.proud]")] + "[adjusters.key]\n"
    setup, cuts = read("kind,key,clearance\ntest,6.1,0.0\n", toml_text)
    assert len(setup.bands) == 1
    assert cuts == [Cut(1, "test", {"key": 6.1}, {"clearance": (0.0,)})]


def test_a_heading_without_rows_is_an_empty_log() -> None:
    assert read(CSV.splitlines()[0])[1] == []


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("<0.05", Interval(-math.inf, 0.05)),
        (">0.10", Interval(0.10, math.inf)),
        ("0.05..0.10", Interval(0.05, 0.10)),
        ("-0.10 .. -0.03", Interval(-0.10, -0.03)),
        ("\N{MINUS SIGN}0.07", -0.07),
        ("+0.07", 0.07),
        ("1/64 in", 0.396875),
        ("12 thou", 0.3048),
    ],
)
def test_a_reading_may_be_an_interval_or_have_a_unit_of_its_own(cell: str, expected: object) -> None:
    _, cuts = read(f"kind,key,height,clearance\ntest,6,8,{cell}\n")
    assert cuts[0].readings["clearance"] == (expected,)


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_a_file_with_another_delimiter_may_have_decimal_commas(delimiter: str) -> None:
    rows = ["kind|metres|key|height|clearance|note", "test|1,250|6,14|8.1|-0,07|a, b"]
    _, cuts = read("\n".join(rows).replace("|", delimiter))
    assert cuts[0] == Cut(
        1, "test", {"key": 6.14, "height": 8.1}, {"clearance": (-0.07,)}, metres_m=1.25, note="a, b"
    )


def test_comments_blank_lines_and_the_mark_of_a_spreadsheet_are_passed_over(tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_text(TOML, encoding="utf-8")
    text = '# the "story, told\n\n' + CSV.replace("\ntest,1,6.00", "\n# between\n  \n,,,,,,,,\ntest,1,6.00")
    (tmp_path / "c.csv").write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    assert load_log(tmp_path / "c.toml") == read()
    assert load_log(tmp_path / "c.csv") == read()


def test_a_note_in_quotes_may_hold_lines_and_hashes_and_later_lines_are_still_numbered_right() -> None:
    text = 'kind,key,height,clearance,note\ntest,6,8,0,"one\n# two\n\nthree"\ntest,6,8,x,\n'
    assert problems(text)[0].startswith('c.csv:6: clearance "x" is not a length.')
    assert read(text.replace("x", "0"))[1][0].note == "one\n# two\n\nthree"


def test_a_log_in_inches_is_mm_inside() -> None:
    toml_text = TOML.replace('units = "mm"', 'units = "in"').replace("target = 0.07", 'target = "0.07 mm"')
    toml_text = toml_text.replace("low = 0.03", "low = 0.001").replace("high = 0.12", 'high = "5 thou"')
    toml_text = toml_text.replace("low = 4.0", "low = 0.1").replace("high = 9.0", "high = 0.5")
    toml_text = toml_text.replace("nominal = 6.0", 'nominal = "1/4"')
    setup, cuts = read("kind,key,height,clearance\ntest,1/4,5/16,0.003\n", toml_text)
    assert (setup.band("clearance").low_mm, setup.band("clearance").target_mm) == (0.0254, 0.07)
    assert (setup.band("clearance").high_mm, setup.cutter.nominal_mm) == (0.127, 6.35)
    assert cuts[0].settings_mm == {"key": 6.35, "height": 7.9375}
    assert cuts[0].readings["clearance"] == (0.0762,)


def test_an_adjuster_without_a_scale_counts_from_its_first_position() -> None:
    toml_text = TOML.replace("[adjusters.height]", "[adjusters.height]\nscale = false")
    _, cuts = read("kind,key,height,clearance\ntest,6,,0\ntest,,-0.2,0\n", toml_text)
    assert [cut.settings_mm["height"] for cut in cuts] == [0.0, -0.2]
    _, cuts = read("kind,key,clearance\ntest,6,0\n", toml_text)
    assert cuts[0].settings_mm["height"] == 0.0


@pytest.mark.parametrize(
    ("cell", "names"),
    [("yes", {"key", "height"}), ("key height", {"key", "height"}), ("height+key", {"key", "height"}),
     ('"key, height"', {"key", "height"}), ("key", {"key"}), ("no", set()), ("", set())],
)  # fmt: skip
def test_moved_names_the_adjusters_that_were_set_again(cell: str, names: set[str]) -> None:
    _, cuts = read(f"kind,key,height,clearance,moved\ntest,6,8,0,{cell}\n")
    assert cuts[0].moved == names


def test_a_row_of_no_pieces_and_no_reading_only_says_where_the_machine_stands() -> None:
    _, cuts = read("kind,pieces,key,height,clearance\ntest,1,6,8,0\ntest,0,6.1,,\n")
    assert (cuts[1].pieces, cuts[1].settings_mm["key"]) == (0, 6.1)


def one_row(**cells: str) -> str:
    row = {"kind": "test", "key": "6", "height": "8", "clearance": "0", **cells}
    return ",".join(row) + "\n" + ",".join(row.values()) + "\n"


@pytest.mark.parametrize(
    ("csv_text", "expected"),
    [
        (one_row(kind="tset"), ':2: kind "tset" is neither test nor good. Write one of the two.'),
        (one_row(kind=""), ':2: kind "" is neither test nor good. Write one of the two.'),
        (one_row(metres="-1"), ':2: metres "-1" will not do. Write the metres cut in this row, 0 or more.'),
        (one_row(metres="nan"), ':2: metres "nan" will not do. Write the metres cut in this row, 0 or more.'),
        (one_row(pieces="0"), ':2: pieces "0" will not do. Write a whole number, 1 or more.'),
        (one_row(pieces="1.5"), ':2: pieces "1.5" will not do. Write a whole number, 1 or more.'),
        (one_row(feel="malet"), ':2: feel "malet" is not a word of this setup. Did you mean "mallet"?'),
        (one_row(moved="kee"), ':2: moved "kee" is not an adjuster. Did you mean "key"?'),
        (
            one_row(key="9.5"),
            ':2: key "9.5" is outside its range 4.00 to 9.00 mm. Mend the number, or the range in the setup.',
        ),
        (one_row(key=""), ":2: key is empty in the first row. Write where its scale stood."),
        (
            one_row(clearance="0.1|"),
            ":2: clearance has an empty reading beside a |. Take the | away or write the number.",
        ),
        (
            one_row(clearance="0.2..0.1"),
            ':2: clearance "0.2..0.1" is an empty interval. Write the lower limit first.',
        ),
        (one_row(at_hand="maybe"), ':2: at_hand "maybe" will not do. Write yes or no.'),
        (one_row(clearence="0"), ':1: there is no column "clearence". Did you mean "clearance"?'),
        ("kind,key,height,proud,proud\n", ':1: the column "proud" is there twice. Take one away.'),
        (
            "key,height,clearance\n6,8,0\n",
            ':1: the column "kind" is missing. Add it, with test or good in each row.',
        ),
        ("kind,key,height\ntest,6,8\n", ':1: no reading has a column. Add "clearance".'),
        (
            "kind,key,clearance\ntest,6,0\n",
            ':1: the adjuster "height" has no column. Add one with where its '
            "scale stood, or write scale = false in [adjusters.height].",
        ),
        (
            "number,kind,key,height,clearance\n3,test,6,8,0\n3,test,6,8,0\n",
            ": cut number 3 is there twice. Give each cut its own number.",
        ),
        ("# nothing\n", ": it has no heading. Start with a line such as kind,key,height,clearance,proud."),
    ],
)
def test_a_mistake_in_a_row_is_one_line_with_its_place(csv_text: str, expected: str) -> None:
    assert problems(csv_text) == (f"c.csv{expected}",)


def test_a_fraction_no_rule_has_is_answered_with_the_one_that_was_meant() -> None:
    toml_text = TOML.replace('units = "mm"', 'units = "in"').replace("high = 9.0", "high = 900")
    found = problems("kind,key,height,clearance\ntest,3/46,8,0\n", toml_text)
    assert found == ('c.csv:2: key "3/46" is not a length. Did you mean 3/64?',)


def test_a_problem_stays_one_line_whatever_the_cell_holds() -> None:
    assert problems(one_row(kind='"te\nst"')) == (
        'c.csv:2: kind "te st" is neither test nor good. Write one of the two.',
    )


def test_decimal_commas_between_commas_are_seen_as_too_many_fields() -> None:
    found = problems("kind,key,height,clearance\ntest,6,14,8,1,-0,07\n")
    assert found[0].startswith("c.csv:2: 7 fields, but the heading has 4.")
    assert "separate the columns by ;" in found[0]


def test_ten_mistakes_in_two_files_are_ten_lines_in_the_order_of_the_files() -> None:
    toml_text = TOML.replace("pieces_left = 16", 'pieces_left = "many"').replace("nominal", "nominel")
    toml_text = toml_text.replace("high = 0.2\n", "high = -1\n")
    rows = ["tset,1,6,8,0,,,,", "test,0,6,8,0,,,,", "test,1,x,8,0,,,,", "test,1,6,8,x,,,,",
            "test,1,6,8,0,,malet,,", "test,1,6,8,0,,,kee,", "test,1,99,8,0,,,,"]  # fmt: skip
    found = problems("\n".join([CSV.splitlines()[0], *rows]), toml_text)
    assert len(found) == 10
    assert [line.split(":")[0] for line in found] == ["c.toml"] * 3 + ["c.csv"] * 7
    assert [line.split(":")[1] for line in found[3:]] == ["2", "3", "4", "5", "6", "7", "8"]


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            'schema = "calib.log/1"',
            'schema = "calib.log/2"',
            ':1: schema "calib.log/2" is not known. This program reads "calib.log/1".',
        ),
        ('schema = "calib.log/1"', "", ": schema is missing."),
        ('units = "mm"', 'units = "cm"', ':3: units "cm" is not known. Write mm or in.'),
        (
            'kind = "finger"',
            'kind = "fingers"',
            ':7: joint.kind "fingers" is not known. Did you mean "finger"?',
        ),
        (
            "target = 0.07",
            "target = 0.5",
            ":11: readings.clearance.target 0.5 is outside the band 0.03 to 0.12 (mm). "
            "Move the target or the band.",
        ),
        (
            "low = 0.03",
            "low = 0.3",
            ":12: readings.clearance.low 0.3 is not below high 0.12 (mm). Swap them or widen the band.",
        ),
        ("low = 0.03\n", "", ":10: readings.clearance.low is missing."),
        ("low = 0.03", "lo = 0.03", ":10: readings.clearance.low is missing."),
        (
            "low = 0.03",
            "low = true",
            ':12: readings.clearance.low "true" is not a length. '
            'Write a number in mm, or text such as "1/4 in".',
        ),
        (
            "low = 0.03",
            "low = nan",
            ':12: readings.clearance.low "nan" is not a length. '
            'Write a number in mm, or text such as "1/4 in".',
        ),
        ("high = 0.12", "high = inf", ":13: readings.clearance.high is infinite. Write a length in mm."),
        ("low = 4.0", "low = 9.5", ":19: adjusters.key.low is not below high. Swap them or widen the range."),
        (
            "low = 4.0",
            "lest_step = 0.02",
            ':19: adjusters.key.lest_step is not a known key. Did you mean "least_step"?',
        ),
        (
            "low = 4.0",
            "least_step = -0.02",
            ':19: adjusters.key.least_step "-0.02" is below 0. Write 0 or more.',
        ),
        (
            "low = 4.0",
            "scale = 0",
            ':19: adjusters.key.scale "0" will not do. Write true or false, without quotes.',
        ),
        (
            "low = 4.0",
            "moves = { clearence = 1 }",
            ':19: adjusters.key.moves.clearence is not a known key. Did you mean "clearance"?',
        ),
        (
            "low = 4.0",
            'moves = { clearance = "learn" }',
            ':19: adjusters.key.moves.clearance "learn" is not a slope. '
            "Write how far the reading goes when the adjuster moves by 1, such as -1.0.",
        ),
        (
            "[cutter]",
            "[knowledge]\ncut_sd = -1\n[cutter]",
            ':9: knowledge.cut_sd "-1" is below 0. Write 0 or more.',
        ),
        (
            "[cutter]",
            "[knowledge]\nblunder_probability = 1\n[cutter]",
            ':9: knowledge.blunder_probability "1" is out of range. Write a number from 0 to below 1.',
        ),
        (
            "[cutter]",
            "[stakes.clearence]\ntoo_high = 3\n[cutter]",
            ':8: stakes.clearence is not a known key. Did you mean "clearance"?',
        ),
        (
            "[cutter]",
            "[feel]\nwords = { tight = [0.1, 0.0] }\n[cutter]",
            ":9: feel.words.tight: low is not below high. Swap them.",
        ),
        (
            "[readings.proud]",
            "[readings.note]",
            ':14: readings: "note" is a heading of the CSV. Take another name.',
        ),
        ("[adjusters.height]", "[adjusters.proud]", None),
        ("nominal = 6.0", "nominal = 6,0", None),
    ],
)
def test_a_mistake_in_the_setup_is_a_line_with_its_place(old: str, new: str, expected: str | None) -> None:
    found = problems(toml_text=TOML.replace(old, new, 1))
    if expected is None:
        assert all(line.startswith(("c.toml", "c.csv")) for line in found)
    else:
        assert f"c.toml{expected}" in found


def test_what_is_not_toml_is_said_with_its_line() -> None:
    found = problems(toml_text=TOML.replace("nominal = 6.0", "nominal = = 6"))
    assert len(found) == 1
    assert found[0].startswith("c.toml:9: this is not TOML: ")


def test_a_plain_joint_needs_to_be_told_what_its_adjusters_move() -> None:
    found = problems(toml_text=TOML.replace('"finger"', '"plain"'))
    assert (
        "c.toml:18: adjusters.key.moves is missing; a plain joint needs it. "
        "Write moves = { clearance = 1.0 }." in found
    )


def test_a_reading_that_the_joint_does_not_have_is_refused() -> None:
    found = problems(
        toml_text=TOML.replace("[readings.proud]", "[readings.prowd]"), csv_text="kind,key,height,clearance\n"
    )
    assert len(found) == 1
    assert found[0].startswith("c.toml: ")
    assert "prowd" in found[0]


def test_a_missing_half_of_a_log_is_named(tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_text(TOML, encoding="utf-8")
    with pytest.raises(
        LogError, match=r"c\.csv: there is no such file\. A log needs this CSV with the cuts\."
    ):
        load_log(tmp_path / "c.toml")
    with pytest.raises(LogError) as caught:
        load_log(tmp_path / "d.toml")
    assert len(caught.value.problems) == 2
    with pytest.raises(LogError, match=r"a log is named by its \.toml file"):
        load_log(tmp_path / "c")


def test_a_file_that_is_not_utf_8_is_named_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "c.toml").write_text(TOML, encoding="utf-8")
    (tmp_path / "c.csv").write_bytes(CSV.replace("first", "pr\u00fcf").encode("latin-1"))
    with pytest.raises(LogError, match=r"^c\.csv:4: this is not UTF-8 text\. Save the file as UTF-8\.$"):
        load_log(tmp_path / "c.toml")


def test_a_log_that_cannot_be_written_is_one_line(tmp_path: Path) -> None:
    setup, cuts = read()
    with pytest.raises(CalibError, match="cannot be written"):
        write_log(setup, cuts, tmp_path / "nowhere" / "c.toml")


@pytest.mark.parametrize("units", ["mm", "in"])
def test_a_written_log_reads_back_as_the_very_same(tmp_path: Path, units: str) -> None:
    import dataclasses

    setup, cuts = read()
    setup = dataclasses.replace(setup, units=units)
    third = dataclasses.replace(
        cuts[2], number=7, metres_m=0.1 + 0.2, stock="cherry", mounting="m", sharpening="s", when="today",
        note="a;\tb\n# c \"quoted\", done", at_hand=False, feel="hand",
        readings={"clearance": (1 / 3, Interval(-math.inf, 0.1), Interval(0.2, math.inf), Interval(0, 0.2))},
    )  # fmt: skip
    write_log(setup, [*cuts[:2], third], tmp_path / "c.toml")
    assert load_log(tmp_path / "c.toml") == (setup, [*cuts[:2], third])
    assert sorted(file.name for file in tmp_path.iterdir()) == ["c.csv", "c.toml"]


def test_a_log_as_texts_is_what_is_written(tmp_path: Path) -> None:
    setup, cuts = read()
    write_log(setup, cuts, tmp_path / "c.toml")
    files = tuple((tmp_path / name).read_text(encoding="utf-8") for name in ("c.toml", "c.csv"))
    assert files == log_to_texts(setup, cuts)

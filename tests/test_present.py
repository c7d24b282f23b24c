"""What people read: the advice answer first, chances that are never certain, tables that fit."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import pytest

from calib.decision.advice import Advice, Expectation, Move
from calib.decision.hand import way_of
from calib.errors import UsageError
from calib.present.advice_text import advice_sentence, render_advice, step_sentences
from calib.present.directions import direction_sign
from calib.present.figures import figure, minutes, percent, span, typed_figure
from calib.present.history_text import cut_line, cut_table
from calib.present.layout import paragraph, table, table_or_records, to_ascii
from calib.present.picture import belief_line
from calib.present.plain import as_plain
from calib.shop import Adjuster, Band, Cut, Interval, Joint, Setup

HOW = "toward the cutter by 0.14 mm, to 6.00 mm on its scale: an eighth of a turn (50°) of its M6 screw"
GOLDEN = Path(__file__).parent / "golden"

CLEARANCE = Expectation("clearance", 0.07, 0.03, 0.12, 0.072, 0.03, (0.022, 0.121), 0.86, 0.31)
PROUD = Expectation("proud", 0.20, 0.10, 0.30, 0.18, 0.04, (0.11, 0.25), 0.9996, 0.985)
SETUP = Setup(
    "corners",
    Joint("finger"),
    (Band("clearance", 0.07, 0.03, 0.12),),
    (Adjuster("key", least_step_mm=0.02, thread="M6"),),
)


def one_reading(**changes: object) -> Advice:
    """Return an advice to move and test, with parts changed."""
    advice = Advice(
        setup="corners",
        cuts_used=3,
        step="move_and_test",
        moves=(Move("key", 6.14, 6.00, HOW),),
        readings=(CLEARANCE,),
        pieces_left=16,
        probability_next=0.86,
        probability_all=0.31,
        cut_now_min=71.0,
        best_min=38.5,
        tests_expected=1.3,
        check_after_pieces=10,
        holds_for_pieces=600,
        doubts=("Cut 3 reads 0.21 mm below the others. Measure it again?",),
        warnings=("The scatter rests on three cuts.",),
        cautions=(
            "Isolate: switch off and unplug before touching the cutter, key, fence or height.",
            "A test cut is a cut: same guards, same rules.",
        ),
        hints=("Cut scrap of the final thickness, the same species.",),
    )
    return dataclasses.replace(advice, **changes)  # type: ignore[arg-type]


def two_readings() -> Advice:
    """Return an advice on two readings."""
    moves = (
        Move("key", 6.14, 6.00, ""),
        Move("height", 8.10, 8.20, "up by 0.10 mm, to 8.20 mm on its scale"),
    )
    return one_reading(
        readings=(CLEARANCE, PROUD), moves=moves, step="move_and_cut_good", probability_next=0.855
    )


@pytest.mark.parametrize(
    ("name", "advice", "settings"),
    [
        ("advice_80", one_reading(), {"width": 80}),
        ("advice_40", one_reading(), {"width": 40}),
        ("advice_two_readings_ascii_in", two_readings(), {"width": 72, "ascii_only": True, "units": "in"}),
    ],
)
def test_the_advice_reads_as_reviewed(name: str, advice: Advice, settings: dict) -> None:
    """Whole outputs, reviewed by eye; a change of wording is a change of these files."""
    assert render_advice(advice, **settings) + "\n" == (GOLDEN / f"{name}.txt").read_text("utf-8")


@pytest.mark.parametrize("width", [40, 57, 80, 120])
@pytest.mark.parametrize("ascii_only", [False, True])
def test_no_line_is_wider_than_asked_or_ends_in_blanks(width: int, ascii_only: bool) -> None:
    """Everything wraps, the picture too."""
    for advice in (one_reading(), two_readings()):
        for line in render_advice(advice, width=width, ascii_only=ascii_only).split("\n"):
            assert len(line) <= width
            assert line == line.rstrip()


def test_ascii_advice_holds_no_other_sign() -> None:
    """For an output that can show nothing else."""
    text = render_advice(two_readings(), ascii_only=True)
    assert text.isascii()
    assert "+/-" in text


def test_the_answer_is_the_first_line() -> None:
    """The step, as a sentence with unit and direction."""
    first = render_advice(one_reading(), width=200).split("\n")[:2]
    assert first == [
        f"Move the key {HOW}.",
        "Then make one more test cut.",
    ]


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({"step": "cut_good", "moves": ()}, ["Cut the 16 good pieces; leave everything where it is."]),
        (
            {"step": "cut_good", "moves": (), "pieces_left": 1},
            ["Cut the good piece; leave everything where it is."],
        ),
        ({"step": "test_again", "moves": ()}, ["Move nothing; make one more test cut."]),
        ({"step": "test_again", "moves": (), "cuts_used": 0}, ["Move nothing; make a first test cut."]),
        (
            {"step": "measure_again", "moves": (), "measure_again_cut": 7},
            ["Measure cut 7 again before you move or cut anything."],
        ),
        ({"step": "resharpen", "moves": ()}, ["Sharpen or change the cutter before the next good piece."]),
        (
            {
                "step": "move_and_test",
                "moves": (Move("diameter", 3.175, 3.05, "type 3.05 mm as the cutter's diameter"),),
            },
            ["Type 3.05 mm as the cutter's diameter.", "Then make one more test cut."],
        ),
        (
            {
                "step": "move_and_cut_good",
                "moves": (Move("fence", 0.0, 0.4, "away from the cutter by 0.40 mm"),),
            },
            ["Move the fence away from the cutter by 0.40 mm.", "Then cut the 16 good pieces."],
        ),
        (
            {"step": "cut_good", "moves": (), "pieces_left": 0},
            ["Nothing is left to cut. More to do: calib setup change corners pieces_left=16"],
        ),
    ],
)
def test_every_step_is_a_sentence(changes: dict, expected: list[str]) -> None:
    """Each of the six steps says what the hands do."""
    assert step_sentences(one_reading(**changes)) == expected


def test_a_scale_that_counts_the_other_way_keeps_the_direction_of_the_hand() -> None:
    """In short too, the direction is that of the advice and not that of the sign."""
    how = "away from the cutter by 0.14 mm, to 6.00 mm on its scale"
    advice = one_reading(moves=(Move("key", 6.14, 6.00, how),))
    assert advice_sentence(advice, "in").startswith("Move the key 0.0055 in away from the cutter")
    assert advice_sentence(advice).startswith("Move the key 0.14 mm away from the cutter, to 6.00 mm.")


def test_a_jig_without_a_scale_gets_no_position() -> None:
    """Only how far, and which way."""
    advice = one_reading(moves=(Move("fence", 0.0, 0.4, "away from the cutter by 0.40 mm"),))
    assert advice_sentence(advice).startswith("Move the fence 0.40 mm away from the cutter. Then")


def test_hints_for_a_test_are_given_only_when_a_test_is_advised() -> None:
    """Whoever is told to cut the good stock needs no words on scrap."""
    assert "So that the next test counts" in render_advice(one_reading())
    assert "So that the next test counts" not in render_advice(one_reading(step="move_and_cut_good"))


@pytest.mark.parametrize(
    ("probability", "expected"),
    [
        (1.0, "over 99 %"),
        (0.996, "over 99 %"),
        (0.99, "99 %"),
        (0.5, "50 %"),
        (0.01, "1 %"),
        (0.004, "under 1 %"),
        (0.0, "under 1 %"),
    ],
)
def test_nothing_is_certain_and_nothing_impossible(probability: float, expected: str) -> None:
    """Never 100 %, never 0 %."""
    assert percent(probability) == expected


def test_a_certain_advice_still_prints_no_100_percent() -> None:
    """Through the whole text."""
    sure = dataclasses.replace(CLEARANCE, probability_next=1.0, probability_all=0.0)
    text = render_advice(one_reading(readings=(sure,), probability_next=1.0, probability_all=0.0), width=200)
    assert "100 %" not in text
    assert "over 99 % that the next good piece is in its band; under 1 % that all 16 are" in text


def test_a_probability_always_says_of_what() -> None:
    """Every per cent sign is followed by "that"; only the length of an interval is not a chance."""
    for line in render_advice(two_readings(), width=400).split("\n"):
        for part in line.split(" %")[1:]:
            assert part.startswith(" that ")
    assert advice_sentence(one_reading()).endswith("86 % that the next good piece is in your band.")


def test_inches_are_the_same_lengths_in_another_unit() -> None:
    """The text in inches converts every length."""
    text = render_advice(one_reading(), units="in", width=200)
    assert "Move the key toward the cutter by 0.0055 in, to 0.2362 in on its scale: an eighth" in text
    assert "Cut 3 reads 0.0083 in below the others" in text
    assert " mm" not in text


def test_an_advice_in_inches_can_be_read_in_millimetres() -> None:
    """And the word "in" is left alone."""
    inches = one_reading(units="in", doubts=("Cut 3 in cherry reads 0.0083 in too low. Again?",))
    assert "Cut 3 in cherry reads 0.21 mm too low." in render_advice(inches, units="mm")


def test_an_unknown_reading_is_said_in_words_not_as_nan() -> None:
    """Before the first cut the prior may be flat."""
    flat = dataclasses.replace(CLEARANCE, u_mm=math.inf, interval90_mm=(-math.inf, math.inf))
    text = render_advice(one_reading(readings=(flat,)))
    assert "not known yet" in text
    assert "inf" not in text
    assert "nan" not in text


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (dataclasses.replace(CLEARANCE, expected_mm=0.08), ".===[====|o====]===."),
        (dataclasses.replace(CLEARANCE, expected_mm=0.07), ".===[====@=====]===."),
    ],
)
def test_the_picture_shows_band_target_and_range(reading: Expectation, expected: str) -> None:
    """Brackets are the band, = the range, | the target, o the expectation, @ both."""
    wide = dataclasses.replace(reading, interval90_mm=(0.01, 0.14))
    assert belief_line(wide, 20, ascii_only=True) == expected


def test_the_picture_of_a_one_sided_band_stays_inside() -> None:
    """An open end stands at the edge."""
    open_band = dataclasses.replace(CLEARANCE, high_mm=math.inf)
    line = belief_line(open_band, 30, ascii_only=True)
    assert line.count("[") == line.count("]") == 1
    assert line.endswith("]")


@pytest.mark.parametrize(
    ("adjuster", "change", "other_way", "expected"),
    [
        ("key", -0.1, False, "toward the cutter"),
        ("key", 0.1, False, "away from the cutter"),
        ("key", 0.1, True, "toward the cutter"),
        ("fence", 0.1, False, "away from the cutter"),
        ("height", 0.1, False, "up"),
        ("height", -0.1, False, "down"),
        ("lever", -0.1, False, "down the scale"),
    ],
)
def test_a_direction_is_said_in_the_adjusters_own_words(
    adjuster: str, change: float, other_way: bool, expected: str
) -> None:
    """The sign of the scale becomes a way to turn."""
    assert way_of(adjuster, change, other_way) == expected


@pytest.mark.parametrize(
    ("adjuster", "word", "sign"),
    [
        (Adjuster("key"), "toward", -1),
        (Adjuster("key"), "Away", 1),
        (Adjuster("key", counts_other_way=True), "toward", 1),
        (Adjuster("height"), "up", 1),
        (Adjuster("height"), "less", -1),
        (Adjuster("lever"), "more", 1),
    ],
)
def test_a_direction_word_has_a_sign(adjuster: Adjuster, word: str, sign: int) -> None:
    """And the other way round."""
    assert direction_sign(adjuster, word) == sign


def test_a_direction_that_an_adjuster_does_not_know_is_refused() -> None:
    """A key goes toward or away, never up."""
    with pytest.raises(UsageError, match='key: "up" does not say which way'):
        direction_sign(Adjuster("key"), "up")


@pytest.mark.parametrize(
    ("made", "expected"),
    [
        (figure(-0.0001), "0.00"),
        (figure(6.14, "in"), "0.2417"),
        (typed_figure(3.175), "3.175"),
        (typed_figure(3.1), "3.10"),
        (span(-math.inf, math.inf), "anything"),
        (span(0.1, math.inf), "over 0.10 mm"),
        (minutes(1), "1 minute"),
        (minutes(9.74), "9.5 minutes"),
        (minutes(38.5), "38 minutes"),
        (to_ascii("−0.07 ± 0.02 mm · ½ turn"), "-0.07 +/- 0.02 mm . 1/2 turn"),
    ],
)
def test_figures(made: str, expected: str) -> None:
    """Numbers as a shop says them."""
    assert made == expected


def test_a_number_is_never_parted_from_its_unit() -> None:
    """At any width."""
    text = "move the key 0.14 mm toward the cutter and expect 0.07 ± 0.05 mm then"
    for width in range(24, 80):
        lines = paragraph(text, width)
        assert " ".join(line.strip() for line in lines) == text
        assert not any(line.startswith(("mm", "±")) for line in lines)


def test_a_table_that_is_too_wide_becomes_paragraphs() -> None:
    """At 40 columns nothing is cut off."""
    head, rows = ["cut", "key mm", "note"], [["7", "6.14", "a long remark on the wood that was used"]]
    assert table(head, rows, right=[0, 1])[1].startswith("  7    6.14  a long")
    narrow = table_or_records(head, rows, 40, right=[0, 1])
    assert " ".join(line.strip() for line in narrow) == f"cut 7, key 6.14 mm, note {rows[0][2]}"
    assert all(len(line) <= 40 for line in narrow)


def test_cuts_are_a_table_with_repeats_intervals_and_resets() -> None:
    """One row a cut, one unit a column."""
    cuts = [
        Cut(1, "test", {"key": 6.14}, {"clearance": (-0.07, -0.06)}, feel="mallet"),
        Cut(2, "test", {"key": 6.14}, {"clearance": (Interval(-math.inf, 0.05),)}, moved=frozenset({"key"})),
        Cut(3, "good", {"key": 6.0}, {}, pieces=16, note="cherry"),
    ]
    assert cut_table(SETUP, cuts) == [
        "cut  kind     key mm   clearance mm  feel    note",
        "  1  test      6.14   -0.07 | -0.06  mallet",
        "  2  test      6.14*  under 0.05 mm",
        "  3  16 good   6.00                          cherry",
    ]
    assert cut_line(SETUP, cuts[0]) == "cut 1, key 6.14 mm, clearance -0.07 and -0.06 mm, feel mallet"
    assert cut_line(SETUP, cuts[1]) == "cut 2, key 6.14 mm, clearance under 0.05 mm"


def test_json_has_no_infinity_and_no_unknown_type() -> None:
    """Plain numbers, text, lists; a surprise is a programming mistake."""
    cut = Cut(2, "test", {"key": 6.14}, {"clearance": (Interval(-math.inf, 0.05),)}, moved=frozenset({"key"}))
    plain = as_plain(cut)
    assert plain["readings"] == {"clearance": [{"low_mm": None, "high_mm": 0.05}]}
    assert plain["moved"] == ["key"]
    with pytest.raises(TypeError):
        as_plain(object())

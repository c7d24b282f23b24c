"""The words after a command are understood, or refused in one line each."""

from __future__ import annotations

import math

import pytest

from calib.cli.movewords import amount_mm, sort_words
from calib.cli.words import OTHERS, pairs, read_words, split_setup
from calib.errors import CalibError, LogError, UsageError
from calib.shop import JOINT_KINDS, Adjuster, Band, Interval, Joint, Setup
from calib.workflow import newsetup
from calib.workflow.newsetup import Answers, new_setup
from calib.workflow.setupchange import changed

SETUP = Setup(
    "corners",
    Joint("finger"),
    (Band("clearance", 0.07, 0.03, 0.12), Band("proud", 0.2, 0.1, 0.3)),
    (Adjuster("key"), Adjuster("height")),
)
EVERYTHING = ("adjusters", *OTHERS)


def test_the_first_word_without_an_equals_sign_is_the_setup() -> None:
    """The rest are values."""
    assert split_setup(["corners", "key=6"]) == ("corners", ["key=6"])
    assert split_setup(["key=6", "clearance=0"]) == (None, ["key=6", "clearance=0"])
    assert split_setup([]) == (None, [])


def test_a_reading_named_twice_is_a_repeat() -> None:
    """In the order typed; the texts stay beside the values."""
    said = read_words(SETUP, ["key=6.14", "clearance=-0.07", "clearance=-0.06|-0.05"], allowed=EVERYTHING)
    assert said.readings == {"clearance": (-0.07, -0.06, -0.05)}
    assert said.settings_mm == {"key": 6.14}
    assert said.texts == {"key": "6.14", "clearance": "-0.07|-0.06|-0.05"}


def test_a_bare_number_takes_the_unit_asked_for_and_a_named_unit_wins() -> None:
    """Lengths in any form."""
    said = read_words(SETUP, ["key=0.25", "height=6 mm", "clearance=3 thou"], "in", EVERYTHING)
    assert said.settings_mm["key"] == pytest.approx(6.35, rel=1e-12)
    assert said.settings_mm["height"] == 6.0
    assert said.readings["clearance"][0] == pytest.approx(0.0762, rel=1e-12)


def test_everything_else_that_a_cut_can_say() -> None:
    """Feel, stock, note, gauge, metres, what was set again, and go/no-go."""
    words = [
        "feel=mallet",
        "stock=cherry",
        "note=a = b",
        "gauge=dial",
        "metres=0,8",
        "moved=key",
        "proud=<0.05",
    ]
    said = read_words(SETUP, words, allowed=EVERYTHING)
    assert said.plain == {"feel": "mallet", "stock": "cherry", "note": "a = b", "gauge": "dial"}
    assert said.metres_m == 0.8
    assert said.moved == {"key"}
    assert said.readings["proud"] == (Interval(-math.inf, 0.05),)
    assert read_words(SETUP, ["moved=yes"], allowed=EVERYTHING).moved == {"key", "height"}


@pytest.mark.parametrize(
    ("word", "message"),
    [
        ("mallet", '"mallet" is not of the form name=value'),
        ("key=", '"key=" has no value'),
        ("=6", '"=6" has no name'),
        ("--piecs", "there is no option --piecs"),
        ("clearence=0.1", 'setup corners has no "clearence". Did you mean "clearance"?'),
        ("fence=3", 'setup corners has no "fence"'),
        ("clearance=tight", 'clearance "tight" is not a length'),
        ("clearance=3/46 in", "Did you mean 3/64?"),
        ("key=1/4", "is a fraction without a unit"),
        ("metres=far", 'metres "far" is not a number of metres'),
        ("metres=-1", "is not a number of metres"),
        ("metres=nan", "is not a number of metres"),
        ("moved=fence", 'moved "fence" is no adjuster'),
    ],
)
def test_a_wrong_word_is_refused_in_one_line(word: str, message: str) -> None:
    """Where, what was found, what to do."""
    with pytest.raises(CalibError) as refused:
        read_words(SETUP, [word], allowed=EVERYTHING)
    assert message in str(refused.value)
    assert "\n" not in str(refused.value)


def test_all_wrong_words_are_reported_together() -> None:
    """One line each."""
    with pytest.raises(LogError) as refused:
        read_words(SETUP, ["key=x", "clearance=y", "proud=0.1"], allowed=EVERYTHING)
    assert len(refused.value.problems) == 2


def test_what_can_be_said_only_once_is_not_repeated() -> None:
    """A second position is a slip."""
    with pytest.raises(UsageError, match="key is given twice"):
        read_words(SETUP, ["key=6", "key=7"], allowed=EVERYTHING)


def test_again_takes_readings_but_no_positions() -> None:
    """A piece on the bench has no position any more."""
    with pytest.raises(CalibError, match='has no "key"'):
        read_words(SETUP, ["key=6"], allowed=("feel", "gauge"))


def test_pairs_split_at_the_first_equals_sign() -> None:
    """A note may hold more of them."""
    assert pairs(["note=a=b"]) == [("note", "a=b")]


@pytest.mark.parametrize(
    ("words", "kind", "setup", "rest"),
    [
        ([], "advised", None, ()),
        (["corners"], "advised", "corners", ()),
        (["corners", "key=6.00"], "to", "corners", ("key=6.00",)),
        (["key=6.00", "height=8"], "to", None, ("key=6.00", "height=8")),
        (["corners", "key", "by", "0.14", "toward"], "by", "corners", ("0.14", "toward")),
        (["key", "BY", "-0.14"], "by", None, ("-0.14",)),
    ],
)
def test_the_three_forms_of_moved(words: list[str], kind: str, setup: str | None, rest: tuple) -> None:
    """As advised, to a position, by an amount."""
    sorted_words = sort_words(words)
    assert (sorted_words.kind, sorted_words.setup, sorted_words.rest) == (kind, setup, rest)


@pytest.mark.parametrize("words", [["by", "0.1"], ["key", "by"], ["a", "b", "c", "by", "0.1"]])
def test_a_move_by_an_amount_needs_adjuster_and_amount(words: list[str]) -> None:
    """And shows how it is written."""
    with pytest.raises(UsageError, match="by an amount is written"):
        sort_words(words)


@pytest.mark.parametrize(
    ("adjuster", "words", "expected"),
    [
        (Adjuster("key"), ["0.14", "toward"], -0.14),
        (Adjuster("key"), ["0.14", "away", "from", "the", "cutter"], 0.14),
        (Adjuster("key"), ["-0.14"], -0.14),
        (Adjuster("key"), ["+5", "thou"], 0.127),
        (Adjuster("key"), ["1/64", "in", "toward", "the", "cutter"], -0.396875),
        (Adjuster("height"), ["0.1", "up"], 0.1),
        (Adjuster("height"), ["0.1", "down"], -0.1),
        (Adjuster("lever"), ["2", "less"], -2.0),
        (Adjuster("key", counts_other_way=True), ["0.14", "toward"], 0.14),
    ],
)
def test_an_amount_and_a_direction_make_a_change(
    adjuster: Adjuster, words: list[str], expected: float
) -> None:
    """Toward the cutter is a smaller gap, up is a higher cutter."""
    assert amount_mm(adjuster, words, "mm") == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["0.14"], "which way"),
        (["-0.14", "toward"], "a sign or a direction, not both"),
        (["0", "toward"], "is no move"),
        (["0.14", "up"], "does not say which way"),
        (["a bit", "toward"], "is not a length"),
        (["1/8", "turn", "toward"], "has no thread"),
    ],
)
def test_an_amount_that_says_too_little_or_too_much_is_refused(words: list[str], message: str) -> None:
    """Never guess."""
    with pytest.raises(CalibError, match=message):
        amount_mm(Adjuster("key"), words, "mm")


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_five_answers_make_a_setup_that_geometry_understands(kind: str) -> None:
    """Bands with the target inside, adjusters with slopes, stakes for every reading."""
    from calib.geometry import describe

    for fit in newsetup.fits_of(kind):
        setup = new_setup(Answers(newsetup.joint_word(kind), 8.0, 6.0, fit))
        model = describe(setup, {adjuster.name: 6.0 for adjuster in setup.adjusters})
        for band in setup.bands:
            assert band.low_mm < band.target_mm < band.high_mm
            assert any(model.slopes[band.name].values())
            assert band.name in setup.stakes.readings


def test_what_is_at_stake_is_minutes_and_tight_can_be_pared() -> None:
    """Scrap costs little; what cannot be replaced costs much; a tight finger less than a loose one."""
    cheap = new_setup(Answers("finger", 8.0, 6.0, stake="scrap")).stakes.of("clearance")
    dear = new_setup(Answers("finger", 8.0, 6.0, stake="irreplaceable")).stakes.of("clearance")
    assert cheap.too_high_min < dear.too_high_min
    assert dear.too_low_min < dear.too_high_min


def test_a_new_setup_counts_in_the_unit_asked_for() -> None:
    """The lengths stay what they were."""
    inches = new_setup(Answers("finger", 8.0, 6.35, units="in"))
    assert inches.units == "in"
    assert inches.bands == new_setup(Answers("finger", 8.0, 6.35)).bands


@pytest.mark.parametrize(
    ("word", "joint", "meant"),
    [("hand-push", "finger", "hand"), ("Easy", "inlay", "easy"), ("mallet", "finger", "mallet")],
)
def test_a_fit_can_be_said_in_several_words(word: str, joint: str, meant: str) -> None:
    """As makers say it."""
    assert newsetup.fit_word(word, joint) == meant


@pytest.mark.parametrize(
    ("read", "message"),
    [
        (lambda: newsetup.fit_word("hnad", "finger"), 'Did you mean "hand"'),
        (lambda: newsetup.fit_word("mallet", "groove"), "Choose one of: firm, hand, easy"),
        (lambda: newsetup.joint_word("mortise"), "Choose one of: finger, groove, inlay, plain"),
        (lambda: newsetup.stake_word("gold"), "Choose one of: scrap, ordinary, irreplaceable"),
    ],
)
def test_a_word_that_is_not_known_gets_the_choices(read, message: str) -> None:
    """In one line."""
    with pytest.raises(UsageError, match=message):
        read()


def test_a_setup_changes_by_paths_of_its_form() -> None:
    """A reading's or an adjuster's name stands for its table."""
    setup = new_setup(Answers("finger", 8.0, 6.0))
    wanted = [
        ("clearance.low", "0.02"),
        ("key.thread", "M6"),
        ("stakes.test_cut", "5"),
        ("pieces_left", "16"),
        ("knowledge.move_sd", "1 thou"),
        ("name", "chest-corners"),
    ]
    new = changed(setup, wanted)
    assert new.band("clearance").low_mm == 0.02
    assert new.adjuster("key").thread == "M6"
    assert new.stakes.test_cut_min == 5
    assert (new.pieces_left, new.name) == (16, "chest-corners")
    assert new.knowledge.move_sd_mm == pytest.approx(0.0254, rel=1e-12)
    assert changed(new, [("key.thread", ""), ("pieces_left", "1")]).adjuster("key").thread is None


def test_a_bare_length_in_a_change_takes_the_unit_asked_for() -> None:
    """Only lengths do: minutes stay minutes."""
    setup = new_setup(Answers("finger", 8.0, 6.0))
    new = changed(setup, [("clearance.high", "0.005"), ("stakes.test_cut", "5")], "in")
    assert new.band("clearance").high_mm == pytest.approx(0.127, rel=1e-12)
    assert new.stakes.test_cut_min == 5


@pytest.mark.parametrize(
    ("path", "value", "message"),
    [
        ("clearence.low", "1", 'Did you mean "clearance"'),
        ("clearance.lw", "1", 'Did you mean "low"'),
        ("clearance..low", "1", "is not a path"),
        ("clearance.low", "tight", "is not a length"),
        ("clearance.low", "0.5", "below"),
        ("pieces_left.x", "1", "has no parts"),
        ("pieces_left", "-1", "whole number"),
        ("stakes.move", "-1", "out of range"),
    ],
)
def test_a_change_that_will_not_do_is_refused_in_one_line(path: str, value: str, message: str) -> None:
    """The form is checked as a log is."""
    with pytest.raises(CalibError, match=message) as refused:
        changed(new_setup(Answers("finger", 8.0, 6.0)), [(path, value)])
    assert "\n" not in str(refused.value)

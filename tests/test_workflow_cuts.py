"""Logging cuts: numbers, positions that are never guessed, repeats, corrections, good pieces."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from shopkit import CORNERS, GROOVE, cut

from calib.errors import CalibError
from calib.shop import Interval
from calib.workflow import cutters, history, mountings, setups, stocks
from calib.workflow.corrections import correct
from calib.workflow.cuts import NeedsAnswer, measure_again, moved_as_advised, work
from calib.workflow.moves import moved_by
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop

NAME = "chest-corners"


def test_a_cut_gets_a_number_that_is_unique_in_the_database(corners: Shop) -> None:
    """Across setups, and after an undo too: 2 may already be written on a piece."""
    from calib.workflow.undo import undo

    setups.add(corners, GROOVE)
    assert cut(corners, key=6.14, height=8.1, clearance=-0.07).number == 1
    assert cut(corners, "bottom-groove", setback=4.9).number == 2
    undo(corners)
    assert cut(corners, clearance=-0.05).number == 3


def test_a_cut_is_kept_as_it_was_said(corners: Shop) -> None:
    """Readings, repeats, intervals, words, stock and note, and the text as typed beside the value."""
    logged = cut(
        corners,
        key=6.14,
        height=8.1,
        clearance=(-0.07, -0.06),
        proud=Interval(0.0, 0.15),
        feel="mallet",
        stock="cherry",
        note="fresh backer",
        metres_m=0.4,
        texts={"key": "6.14", "clearance": "-0,07|-0.06", "feel": "mallet"},
        gauge="callipers",
    )
    _, (found,) = history.log_of(corners, NAME)
    assert found == logged.cut
    assert found.settings_mm == {"key": 6.14, "height": 8.1}
    assert found.readings == {"clearance": (-0.07, -0.06), "proud": (Interval(0.0, 0.15),)}
    assert (found.feel, found.stock, found.note, found.metres_m) == ("mallet", "cherry", "fresh backer", 0.4)
    assert (found.mounting, found.sharpening) == ("1", "spiral-6 #1")
    assert found.when is not None
    typed = corners.connection.execute("SELECT DISTINCT text, gauge FROM measurements ORDER BY id").fetchall()
    assert [tuple(row) for row in typed] == [("-0,07|-0.06", "callipers"), (None, "callipers")]
    assert logged.echo == ("key 6.14 = 6.14 mm", "clearance -0,07|-0.06 = -0.07, -0.06 mm")


def test_positions_that_are_left_out_are_where_they_were(corners: Shop) -> None:
    """Each cut has all of them."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    assert cut(corners, key=6.0, clearance=0.05).cut.settings_mm == {"key": 6.0, "height": 8.1}
    assert cut(corners, clearance=0.05).cut.settings_mm == {"key": 6.0, "height": 8.1}


def test_a_position_that_was_never_given_is_asked_for(corners: Shop) -> None:
    """It is not taken to be 0, and nothing is stored."""
    with pytest.raises(NeedsAnswer, match=r"not known where the height stood. Add height=...") as asked:
        cut(corners, key=6.14, clearance=-0.07)
    assert asked.value.settings_mm == {}
    assert history.log_of(corners, NAME)[1] == []


def test_a_jig_without_a_scale_counts_from_0(shop: Shop) -> None:
    """Its first cut needs no position, and it is moved by amounts."""
    setups.add(shop, GROOVE)
    assert cut(shop, "bottom-groove", setback=4.6).cut.settings_mm == {"fence": 0.0}
    moved_by(shop, "bottom-groove", "fence", 0.4)
    assert cut(shop, "bottom-groove", setback=5.0).cut.settings_mm == {"fence": 0.4}


# --- after advice with a move ----------------------------------------------------------------------


@pytest.fixture
def advised(corners: Shop, thumb: None) -> Shop:
    """Return a shop where the advice was to move the key from 6.14 to 6.00."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    assert next_step(corners, NAME).moves[0].to_mm == pytest.approx(6.0, abs=1e-12)
    return corners


def test_after_advice_with_a_move_a_cut_without_positions_is_a_question(advised: Shop) -> None:
    """Never guess; the question carries where the scales stand when the answer is yes; nothing is stored."""
    for log in (lambda: cut(advised, clearance=0.06), lambda: work(advised, NAME, 4)):
        with pytest.raises(NeedsAnswer, match=f"Say calib moved {NAME} first") as asked:
            log()
        assert asked.value.question == "Moved as advised (key to 6 mm), or not moved?"
        assert asked.value.settings_mm == {"key": pytest.approx(6.0, abs=1e-12)}
        assert "\n" not in str(asked.value)
    assert len(history.log_of(advised, NAME)[1]) == 1


def test_each_answer_ends_the_question(advised: Shop) -> None:
    """Not moved, a position, or a move logged; and it stays answered."""
    assert cut(advised, clearance=-0.06, not_moved=True).cut.settings_mm["key"] == 6.14
    assert cut(advised, clearance=-0.06).cut.settings_mm["key"] == 6.14
    next_step(advised, NAME)
    assert cut(advised, key=6.02, clearance=0.04).cut.settings_mm["key"] == 6.02
    next_step(advised, NAME)
    moved_as_advised(advised, NAME)
    assert cut(advised, clearance=0.06).cut.settings_mm["key"] == pytest.approx(5.99, abs=1e-9)


def test_another_adjusters_position_does_not_answer_for_the_advised_one(advised: Shop) -> None:
    """The height was said, the key was not."""
    with pytest.raises(NeedsAnswer, match="move the key to 6 mm"):
        cut(advised, height=8.0, clearance=0.06)


def test_a_re_set_answers_the_question_and_is_a_move(advised: Shop) -> None:
    """The key was taken off and set to the same place again."""
    logged = cut(advised, clearance=-0.05, moved=frozenset({"key"}))
    assert logged.cut.settings_mm["key"] == 6.14
    assert logged.cut.moved == {"key"}


def test_advice_without_a_move_asks_nothing(corners: Shop, thumb: None) -> None:
    """The scales are where they were."""
    cut(corners, key=6.14, height=8.1, clearance=0.07)
    assert next_step(corners, NAME).moves == ()
    assert cut(corners, clearance=0.06).cut.settings_mm["key"] == 6.14


def test_advice_that_rests_on_an_undone_cut_asks_nothing(advised: Shop) -> None:
    """The cut was a slip; logged again, it is where it was."""
    from calib.workflow.undo import undo

    undo(advised)
    assert cut(advised, key=6.14, height=8.1, clearance=0.0).number == 2
    assert cut(advised, clearance=0.0).cut.settings_mm["key"] == 6.14


# --- what cannot be ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "message"),
    [
        ({"key": 60.0, "clearance": 0.1}, "key 60 mm is outside its range 0 to 40 mm"),
        ({"key": float("nan"), "clearance": 0.1}, "key nan mm is not a position"),
        ({"fence": 1.0}, 'no adjuster "fence". It has: key, height'),
        ({"setback": 1.0}, 'no reading "setback". It has: clearance, proud'),
        ({"clearance": float("nan")}, "clearance nan is not a reading"),
        ({"clearance": float("inf")}, "clearance inf is not a reading"),
        ({"clearance": Interval(0.2, 0.1)}, "is not a reading"),
        ({"feel": "malet"}, 'no feel "malet". Did you mean "mallet"?'),
        ({"metres_m": -1.0}, "metres -1 will not do"),
        ({"metres_m": float("inf")}, "metres inf will not do"),
        ({"moved": frozenset({"kei"})}, 'no adjuster "kei". Did you mean "key"?'),
        ({"pieces": 0}, "0 pieces cannot be logged"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line_and_not_stored(
    corners: Shop, said: dict[str, Any], message: str
) -> None:
    """Where, what was found, what to do."""
    with pytest.raises(CalibError) as refused:
        cut(corners, **{"key": 6.14, "height": 8.1, **said})
    assert message in str(refused.value)
    assert "\n" not in str(refused.value)
    assert history.log_of(corners, NAME)[1] == []


def test_a_setup_that_is_not_there_is_named_nearly(corners: Shop) -> None:
    """A slip of one letter."""
    with pytest.raises(CalibError, match='Did you mean "chest-corners"'):
        cut(corners, "chest-corner", key=6.14, height=8.1)


def test_a_value_25_times_off_is_a_question_and_stored_as_typed(corners: Shop) -> None:
    """Inches taken for mm, in a position or in a reading; a tight joint is no reason to ask."""
    assert cut(corners, key=6.14, height=8.1, clearance=-0.07).questions == ()
    wrong = cut(corners, key=0.2417, clearance=-0.07)
    assert len(wrong.questions) == 1
    assert wrong.questions[0].startswith("key: ")
    assert wrong.cut.settings_mm["key"] == 0.2417
    read = cut(corners, clearance=3.05)
    assert len(read.questions) == 1
    assert read.questions[0].startswith("clearance: ")
    assert read.cut.readings["clearance"] == (3.05,)
    assert cut(corners, clearance=0.003).questions[0].startswith("clearance: ")


def test_a_stock_that_is_nearly_known_is_a_question(corners: Shop) -> None:
    """Another spelling would be another wood to the model."""
    stocks.add(corners, "cherry", species="black cherry")
    assert cut(corners, key=6.14, height=8.1, stock="cherry").questions == ()
    assert cut(corners, stock="chery").questions == (
        'stock "chery" is not among the shop\'s stocks. Was "cherry" meant?',
    )
    assert cut(corners, stock="oak").questions == ()


# --- again, and corrections ----------------------------------------------------------------------


def test_measuring_again_adds_a_repeat(corners: Shop) -> None:
    """The old value stays beside the new one, on the cut that was meant."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    cut(corners, key=6.0, clearance=0.05)
    assert measure_again(corners, 1, {"clearance": (-0.06,)}).cut.readings == {"clearance": (-0.07, -0.06)}
    assert history.find_cut(corners, 2)[1].readings == {"clearance": (0.05,)}


def test_measuring_instead_sets_the_old_readings_aside(corners: Shop) -> None:
    """All repeats of that reading, and no other; the old rows are still there."""
    cut(corners, key=6.14, height=8.1, clearance=(-0.7, -0.71), proud=0.1, feel="hand")
    measure_again(corners, 1, {"clearance": (-0.07, -0.071)}, "mallet", instead=True)
    found = history.find_cut(corners, 1)[1]
    assert found.readings == {"clearance": (-0.07, -0.071), "proud": (0.1,)}
    assert found.feel == "mallet"
    kept = corners.connection.execute(
        "SELECT value_mm FROM measurements WHERE reading = 'clearance' ORDER BY id"
    )
    assert [row[0] for row in kept] == [-0.7, -0.71, -0.07, -0.071]
    measure_again(corners, 1, {"clearance": (-0.072,)})
    assert history.find_cut(corners, 1)[1].readings["clearance"] == (-0.07, -0.071, -0.072)


@pytest.mark.parametrize(
    ("number", "readings", "message"),
    [
        (9, {"clearance": (0.1,)}, "there is no cut 9"),
        (1, {}, "nothing was read"),
        (1, {"clearence": (0.1,)}, 'Did you mean "clearance"'),
    ],
)
def test_measuring_again_refuses_what_cannot_be(
    corners: Shop, number: int, readings: dict[str, tuple[float, ...]], message: str
) -> None:
    """One line."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    with pytest.raises(CalibError, match=message):
        measure_again(corners, number, readings)


def test_a_corrected_position_sets_the_cuts_after_it_right(corners: Shop) -> None:
    """6.41 was typed for 6.14; the next cut was logged as not moved. The old row is named by the new one."""
    cut(corners, key=6.41, height=8.1, clearance=-0.07)
    cut(corners, clearance=-0.06)
    assert correct(corners, 1, settings_mm={"key": 6.14}, note="misread").cut.settings_mm["key"] == 6.14
    _, cuts = history.log_of(corners, NAME)
    assert [(c.number, c.settings_mm["key"], c.settings_mm["height"]) for c in cuts] == [
        (1, 6.14, 8.1),
        (2, 6.14, 8.1),
    ]
    assert [c.note for c in cuts] == ["misread", None]
    assert cuts[0].readings == {"clearance": (-0.07,)}
    rows = corners.connection.execute("SELECT id, root_id, replaces, number FROM cuts ORDER BY id").fetchall()
    assert [tuple(row) for row in rows] == [(1, None, None, 1), (2, None, None, 2), (3, 1, 1, 1)]
    correct(corners, 1, metres_m=2.0)
    assert history.find_cut(corners, 1)[1].metres_m == 2.0
    assert history.find_cut(corners, 1)[1].settings_mm["key"] == 6.14


# --- good pieces, stocks and metres --------------------------------------------------------------


def test_good_pieces_go_down_and_their_metres_go_on_the_sharpening(corners: Shop) -> None:
    """Sixteen to cut; four cut; the change of the number to cut starts the count again."""
    cut(corners, key=6.0, height=8.1, clearance=0.07)
    logged = work(corners, NAME, 4, {"clearance": (0.06,)})
    assert (logged.cut.kind, logged.cut.pieces) == ("good", 4)
    assert setups.get(corners, NAME).pieces_left == 12
    assert cutters.get(corners, "spiral-6").metres_m == pytest.approx(12.0 + 5 * 0.05, abs=1e-12)
    work(corners, NAME, 2, metres_m=1.0)
    assert setups.get(corners, NAME).pieces_left == 10
    assert cutters.get(corners, "spiral-6").metres_m == pytest.approx(12.0 + 5 * 0.05 + 1.0, abs=1e-12)
    setups.change(corners, NAME, replace(setups.get(corners, NAME), pieces_left=20))
    correct(corners, 2, pieces=5)
    assert setups.get(corners, NAME).pieces_left == 20
    work(corners, NAME, 30)
    assert setups.get(corners, NAME).pieces_left == 0


def test_the_stock_of_good_pieces_is_the_mountings_else_the_setups(shop: Shop) -> None:
    """Scrap stays scrap."""
    setups.add(shop, replace(CORNERS, stock="cherry"))
    cut(shop, key=6.0, height=8.1, clearance=0.07, stock="poplar")
    assert cut(shop, clearance=0.07).cut.stock is None
    assert work(shop, NAME, 1).cut.stock == "cherry"
    mountings.mount(shop, NAME, stock="walnut")
    assert cut(shop, clearance=0.07, not_moved=True).cut.stock == "walnut"
    assert work(shop, NAME, 1).cut.stock == "walnut"


def test_metres_cut_by_another_setup_are_told_to_the_model(corners: Shop) -> None:
    """The groove uses the same cutter: between two corner cuts it adds its metres, and before the first."""
    setups.add(corners, GROOVE)
    work(corners, "bottom-groove", 5, settings_mm={"fence": 0.0})
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    work(corners, "bottom-groove", 10)
    cut(corners, key=6.0, clearance=0.05)
    work(corners, "bottom-groove", 1, metres_m=0.7)
    setup, cuts = history.log_of(corners, NAME)
    assert setup.cutter.metres_since_sharp_m == pytest.approx(12.0 + 5 * 0.2, abs=1e-12)
    assert [(c.number, c.pieces, c.metres_m) for c in cuts] == [
        (2, 1, None),
        (0, 0, pytest.approx(2.0, abs=1e-12)),
        (4, 1, None),
        (0, 0, 0.7),
    ]
    assert cuts[1].settings_mm["key"] == 6.0
    assert [c.number for c in history.history(corners, NAME).mountings[0].cuts] == [2, 4]


def test_a_new_sharpening_starts_its_metres_again(corners: Shop) -> None:
    """The label changes with it; metres it had before are told before the first cut on it."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    record = cutters.sharpen(corners, "spiral-6", measured_mm=5.98, metres=0.5)
    assert (record.sharpening, record.metres_m, record.sharpenings) == ("spiral-6 #2", 0.5, 2)
    _, standing = history.log_of(corners, NAME)
    assert [(c.pieces, c.sharpening, c.metres_m) for c in standing] == [
        (1, "spiral-6 #1", None),
        (0, "spiral-6 #2", 0.5),
    ]
    cut(corners, clearance=-0.07)
    _, cuts = history.log_of(corners, NAME)
    assert [(c.pieces, c.sharpening, c.metres_m) for c in cuts] == [
        (1, "spiral-6 #1", None),
        (0, "spiral-6 #2", 0.5),
        (1, "spiral-6 #2", None),
    ]
    assert cutters.get(corners, "spiral-6").metres_m == pytest.approx(0.55, abs=1e-12)

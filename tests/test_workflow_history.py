"""Mountings, advice that is kept, and the history that shows both."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, GROOVE, cut

from calib.cli.historylines import mounted_lines
from calib.decision.cautions import cautions_for
from calib.errors import CalibError
from calib.shop import Cutter
from calib.workflow import cutters, history, mountings, setups
from calib.workflow.cuts import NeedsAnswer, moved_as_advised, work
from calib.workflow.moves import moved_to
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop

NAME = "chest-corners"


def test_the_first_cut_makes_the_first_mounting(corners: Shop) -> None:
    """Nobody has to say that the jig is on the table."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    found = history.history(corners, NAME).mountings
    assert [(m.number, m.cutter, len(m.cuts)) for m in found] == [(1, "spiral-6", 1)]


def test_a_mounting_says_where_to_start_and_on_what_that_rests(corners: Shop) -> None:
    """Where the expected reading is on target, in least steps from where the scale stood last."""
    assert mountings.mount(corners, NAME).settings_mm == {}
    for key in (6.0, 6.05, 6.09):
        cut(corners, key=key, height=8.1, clearance=0.07)
        mounted = mountings.mount(corners, NAME)
    assert mounted.number == 4
    assert mounted.rests_on == (1, 2, 3)
    assert "mountings 1, 2 and 3" in mounted.text
    steps = (mounted.settings_mm["key"] - 6.09) / 0.02
    assert steps == pytest.approx(round(steps), abs=1e-9)
    assert 6.03 < mounted.settings_mm["key"] < 6.07
    assert mounted.settings_mm["height"] == pytest.approx(8.1, abs=1e-12)
    assert mounted.first is not None
    clearance = mounted.first.readings[0]
    assert clearance.expected_mm == pytest.approx(0.07, abs=0.011)  # half a step of the key
    assert clearance.interval90_mm[0] < 0.07 < clearance.interval90_mm[1]
    assert 0.0 < mounted.first.probability < clearance.probability < 1.0


def test_a_mounting_without_any_reading_starts_where_the_setup_stood_last(corners: Shop) -> None:
    cut(corners, key=6.0, height=8.1)
    work(corners, NAME, 1)
    mounted = mountings.mount(corners, NAME)
    assert mounted.settings_mm == {"key": 6.0, "height": 8.1}
    assert mounted.first is None
    assert "Nothing has been measured yet; mounting 1 ended there." in mounted.text


def test_the_first_cut_of_a_mounting_without_positions_is_a_question(corners: Shop) -> None:
    """Was it set to where it was to start? When it stands there already, there is none."""
    cut(corners, key=6.0, height=8.1, clearance=0.07)
    work(corners, NAME, 1)
    cut(corners, key=6.2, clearance=-0.07)
    mountings.mount(corners, NAME)
    with pytest.raises(NeedsAnswer, match=r"key to 6\.02 mm"):
        cut(corners, clearance=0.07)
    assert [(m.adjuster, m.kind, m.to_mm) for m in moved_as_advised(corners, NAME)] == [
        ("key", "mounting", pytest.approx(6.02, abs=1e-9))
    ]
    logged = cut(corners, clearance=0.07)
    assert (logged.cut.mounting, logged.cut.moved) == ("2", frozenset())
    assert logged.cut.settings_mm["key"] == pytest.approx(6.02, abs=1e-9)
    assert mountings.mount(corners, NAME).settings_mm["key"] == pytest.approx(6.02, abs=1e-9)
    assert cut(corners, clearance=0.07).cut.mounting == "3"


def test_a_new_mounting_is_known_to_the_next_advice(corners: Shop) -> None:
    """A last row without pieces carries its label; cuts of the old one are no longer at hand."""
    cut(corners, key=6.0, height=8.1, clearance=0.07)
    mountings.mount(corners, NAME)
    _, cuts = history.log_of(corners, NAME)
    assert [(c.number, c.pieces, c.mounting, c.at_hand) for c in cuts] == [
        (1, 1, "1", False),
        (0, 0, "2", False),
    ]


def test_another_cutter_in_a_mounting_is_in_the_setup_from_then_on(corners: Shop) -> None:
    """Its width and its metres go to the model, and what has changed is said."""
    cut(corners, key=6.0, height=8.1, clearance=0.07, stock="poplar")
    cutters.add(corners, "straight-6", 5.9, metres=3.0)
    mounted = mountings.mount(corners, NAME, cutter="straight-6", stock="cherry")
    assert mounted.cutter == "straight-6"
    assert mounted.changed == (
        "Another cutter is in it now: expect another width, and start with a test cut.",
        "cherry has not been cut on this setup yet.",
    )
    logged = cut(corners, clearance=0.1, not_moved=True)
    assert (logged.cut.sharpening, logged.cut.stock) == ("straight-6 #1", "cherry")
    assert setups.get(corners, NAME).cutter.name == "straight-6"
    assert cutters.get(corners, "straight-6").metres_m == pytest.approx(3.05, abs=1e-12)
    cutters.add(corners, "straight-8", 8.0)
    setups.change(corners, NAME, replace(setups.get(corners, NAME), cutter=Cutter("straight-8", 8.0)))
    assert cut(corners, clearance=0.1).cut.sharpening == "straight-8 #1"
    with pytest.raises(CalibError, match='Did you mean "straight-6"'):
        mountings.mount(corners, NAME, cutter="strait-6")


def test_a_sharpening_since_is_a_caution(corners: Shop) -> None:
    """The slot may be narrower now."""
    cut(corners, key=6.0, height=8.1, clearance=0.07)
    cutters.sharpen(corners, "spiral-6")
    assert "sharpened since" in mountings.mount(corners, NAME).changed[0]


def test_advice_is_kept_with_what_it_used_at_full_precision(corners: Shop, thumb: None) -> None:
    """The printed form, the numbers, the rows used, the version of the model."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    cut(corners, key=6.01, clearance=1 / 3)
    advice = next_step(
        corners, NAME, pieces_left=4, stakes={"test_cut": 3}, knowledge={"offset_sd": float("inf")}
    )
    row = corners.connection.execute("SELECT * FROM advice").fetchone()
    assert (row["model_version"], row["step"], row["pieces_left"]) == ("thumb/1", "move_and_test", 4)
    assert row["probability_next"] == advice.probability_next
    assert (
        row["overrides"] == '{"knowledge": {"offset_sd": "inf"}, "pieces_left": 4, "stakes": {"test_cut": 3}}'
    )
    reading = corners.connection.execute("SELECT * FROM advice_readings").fetchone()
    assert reading["expected_mm"] == 1 / 3
    used = corners.connection.execute("SELECT cut_id FROM advice_cuts ORDER BY cut_id").fetchall()
    assert [r[0] for r in used] == [1, 2]
    kept = history.history(corners, NAME).mountings[0].advice[0]
    assert kept.published == advice.as_dict()
    assert (kept.after_cut, kept.mounting, kept.model_version) == (2, 1, "thumb/1")


def test_the_same_advice_on_the_same_log_is_kept_once(corners: Shop, thumb: None) -> None:
    """Asking twice is not advising twice; asking something else is, and asking after more was logged."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    for pieces in (None, None, 4):
        next_step(corners, NAME, pieces_left=pieces)
    next_step(corners, NAME, store=False)
    cut(corners, key=6.0, clearance=0.05)
    next_step(corners, NAME)
    assert corners.connection.execute("SELECT COUNT(*) FROM advice").fetchone()[0] == 3


def test_the_history_shows_each_mounting_with_what_happened_in_it(corners: Shop, thumb: None) -> None:
    """In order; what came before the first mounting stands under number 0; other setups do not."""
    setups.add(corners, GROOVE)
    moved_to(corners, NAME, {"key": 6.2})
    next_step(corners, NAME)
    mountings.mount(corners, NAME, note="rainy")
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    next_step(corners, NAME)
    moved_as_advised(corners, NAME)
    mountings.mount(corners, NAME, stock="cherry")
    cut(corners, "bottom-groove", setback=5.0)
    work(corners, NAME, 2, {"clearance": (0.06,)}, settings_mm={"key": 6.0, "height": 8.1})
    found = history.history(corners, NAME)
    assert found.setup == setups.get(corners, NAME)
    shown = [
        (m.number, m.stock, m.note, [c.number for c in m.cuts], [v.kind for v in m.moves], len(m.advice))
        for m in found.mountings
    ]
    assert shown == [
        (0, None, None, [], ["to"], 1),
        (1, None, "rainy", [1], ["cut", "advised"], 1),
        (2, "cherry", None, [3], [], 0),
    ]
    assert all(m.when.startswith("2025-03-01T08:") for m in found.mountings[1:])


def test_advice_before_any_cut_is_given_on_an_empty_log(corners: Shop, thumb: None) -> None:
    """Nothing is known of where the scales stand."""
    assert history.log_of(corners, NAME) == (CORNERS, [])
    assert next_step(corners, NAME).cuts_used == 0


def test_whoever_mounts_a_setup_is_told_the_usual_cautions(corners: Shop) -> None:
    mounted = mountings.mount(corners, NAME)
    assert mounted.cautions == cautions_for(setups.get(corners, NAME))
    said = mounted_lines(mounted, 80, "mm")
    at = said.index("Before you touch anything")
    assert said[at + 1].startswith("  * Switch off and unplug")

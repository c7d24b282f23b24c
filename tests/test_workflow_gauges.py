"""Gauges in the shop: a study becomes the gauge's error, a worked-out reading keeps what it came from."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from shopkit import ticking

from calib.errors import CalibError, LogError
from calib.logfile.study import study_from_text
from calib.measurement.uncertainty import display_step, type_b
from calib.shop import Interval
from calib.workflow import cuts, gauges, history, keep, logs, setups, studies, undo
from calib.workflow.derived import RawEntry
from calib.workflow.next import next_step
from calib.workflow.setupchange import changed
from calib.workflow.shopfloor import Shop, open_shop

NAME = "chest-corners"
#: Five parts, three times each, one person: sd 0.01 within parts.
ROWS = [
    (str(part), "one person", 6.0 + 0.05 * part + d, None) for part in range(5) for d in (-0.01, 0.0, 0.01)
]


def raw(**named: Any) -> tuple[RawEntry, ...]:
    """Return raw readings: slot=(6.02, 6.00), finger=6.07."""
    return tuple(
        RawEntry(name, mm, str(mm))
        for name, values in named.items()
        for mm in (values if isinstance(values, tuple) else (values,))
    )


def log(shop: Shop, entries: tuple[RawEntry, ...] = (), **more: Any) -> cuts.LoggedCut:
    """Log a cut of chest-corners at key 6.14."""
    settings = {"key": 6.14, "height": 8.1}
    return cuts.log_cut(shop, NAME, cuts.CutEntry(settings_mm=settings, raws=entries, **more))


def worth(shop: Shop, place: int = 0, number: int = 1) -> Any:
    """Return the worth of one clearance reading."""
    _, cut = history.find_cut(shop, number)
    return cut.worth_of("clearance", place)


@pytest.fixture
def measured(corners: Shop) -> Shop:
    """Return the shop with a calliper."""
    gauges.add(corners, "calliper", "calliper", 0.01, 0.02)
    return corners


def test_a_clearance_from_slot_and_finger_keeps_its_raw_readings(measured: Shop) -> None:
    """The mean of the slots less the finger; every typed value stays beside it, append-only."""
    logged = log(measured, raw(slot=(6.02, 6.00), finger=6.07), gauge="calliper")
    assert logged.cut.readings["clearance"] == (pytest.approx(-0.06, abs=1e-12),)
    rows = measured.connection.execute(
        "SELECT name, value_mm, text, gauge FROM raw_readings ORDER BY id"
    ).fetchall()
    assert [tuple(row) for row in rows] == [
        ("slot", 6.02, "6.02", "calliper"),
        ("slot", 6.0, "6.0", "calliper"),
        ("finger", 6.07, "6.07", "calliper"),
    ]
    factors = measured.connection.execute("SELECT factor FROM derived_from ORDER BY raw_id").fetchall()
    assert [row["factor"] for row in factors] == [0.5, 0.5, -1.0]


def test_its_worth_is_the_gauge_s_with_repeats_and_what_cancels(measured: Shop) -> None:
    """D: repeats (1/2 + 1) of the kind's 0.01 and the display's step; limits 0.04 and 0.02; no zero."""
    log(measured, raw(slot=(6.02, 6.00), finger=6.07), gauge="calliper")
    found = worth(measured)
    once = math.hypot(0.01, display_step(0.01))
    assert found.repeat_sd_mm == pytest.approx(once * math.sqrt(1.5), rel=1e-9)
    assert found.shared == {
        "calliper, inside at slot": (pytest.approx(1.0), pytest.approx(type_b(0.04))),
        "calliper, outside at finger": (pytest.approx(-1.0), pytest.approx(type_b(0.02))),
    }


def test_outside_jaws_alone_have_the_zero_twice(measured: Shop) -> None:
    log(measured, raw(over=63.0, finger=6.07), pitches=5, gauge="calliper")
    slope, sd = worth(measured).shared["calliper, zero"]
    assert slope == pytest.approx(-2.0, abs=1e-12)
    assert sd == pytest.approx(display_step(0.01), rel=1e-12)


def test_the_slot_measured_again_joins_the_other_raw_readings(measured: Shop) -> None:
    """One reading stands, worked out from three slots and the finger; the old ones stay in the database."""
    log(measured, raw(slot=(6.02, 6.00), finger=6.07), gauge="calliper")
    logged = cuts.measure_again(measured, 1, {}, raws=raw(slot=6.04), gauge="calliper")
    assert logged.cut.readings["clearance"] == (pytest.approx(-0.05, abs=1e-12),)
    once = math.hypot(0.01, display_step(0.01))
    assert worth(measured).repeat_sd_mm == pytest.approx(once * math.sqrt(1 / 3 + 1), rel=1e-9)
    assert measured.connection.execute("SELECT COUNT(*) FROM measurements").fetchone()[0] == 2
    undo.undo(measured)
    assert history.find_cut(measured, 1)[1].readings["clearance"] == (pytest.approx(-0.06, abs=1e-12),)


def test_a_whole_set_measured_again_is_a_repeat(measured: Shop) -> None:
    log(measured, raw(slot=6.02, finger=6.07), gauge="calliper")
    logged = cuts.measure_again(measured, 1, {}, raws=raw(slot=6.03, finger=6.06), gauge="calliper")
    assert logged.cut.readings["clearance"] == pytest.approx((-0.05, -0.03), abs=1e-12)
    assert worth(measured, 1) is not None


def test_a_slip_in_a_raw_reading_is_set_right(measured: Shop) -> None:
    """--instead: the new finger takes the old one's place, the slot stays."""
    log(measured, raw(slot=6.02, finger=6.70), gauge="calliper")
    logged = cuts.measure_again(measured, 1, {}, raws=raw(finger=6.07), gauge="calliper", instead=True)
    assert logged.cut.readings["clearance"] == (pytest.approx(-0.05, abs=1e-12),)


def test_a_part_of_a_set_that_is_not_there_is_refused_and_leaves_nothing(measured: Shop) -> None:
    log(measured, readings={"clearance": (-0.06,)})
    before = measured.connection.execute("SELECT COUNT(*) FROM events").fetchone()[0]
    with pytest.raises(CalibError, match="slot alone says nothing"):
        cuts.measure_again(measured, 1, {}, raws=raw(slot=6.03))
    assert measured.connection.execute("SELECT COUNT(*) FROM events").fetchone()[0] == before
    assert measured.connection.execute("SELECT COUNT(*) FROM raw_readings").fetchone()[0] == 0


def test_a_reading_without_a_gauge_is_as_the_knowledge_says(corners: Shop) -> None:
    """And a worked-out one has that sd for each raw reading."""
    log(corners, readings={"clearance": (-0.06,)})
    assert worth(corners) is None
    log(corners, raw(slot=6.02, finger=6.07))
    sd = setups.get(corners, NAME).knowledge.reading_sd_mm
    assert worth(corners, number=2).u_mm == pytest.approx(sd * math.sqrt(2.0), rel=1e-9)


def test_a_zero_error_of_an_unnamed_gauge_cancels_or_doubles_too(corners: Shop) -> None:
    """The knowledge's zero_sd: not in slot less finger, twice in outside jaws."""
    setups.change(corners, NAME, changed(setups.get(corners, NAME), [("clearance.zero_sd", "0.03")]))
    log(corners, raw(slot=6.02, finger=6.07))
    log(corners, raw(over=63.0, finger=6.07), pitches=5)
    assert worth(corners).shared_sd_mm == 0.0
    assert worth(corners, number=2).shared_sd_mm == pytest.approx(0.06, rel=1e-9)


def test_the_setup_names_the_gauge_that_is_usually_used(measured: Shop) -> None:
    """For readings and for what they are worked out from; one named with the cut or the reading wins."""
    gauges.add(measured, "second", "calliper", 0.05)
    new = changed(setups.get(measured, NAME), [("clearance.gauge", "calliper")])
    setups.change(measured, NAME, new)
    assert setups.get(measured, NAME).worth["clearance"].u_mm > 0.0
    log(measured, readings={"clearance": (-0.06,)})
    log(measured, raw(slot=6.0, finger=6.1), gauge="second")
    log(measured, readings={"clearance": (-0.06,)}, gauges={"clearance": "second"})
    rows = measured.connection.execute(
        "SELECT gauge FROM measurements WHERE gauge IS NOT NULL UNION ALL SELECT gauge FROM raw_readings"
    ).fetchall()
    assert sorted(row["gauge"] for row in rows) == ["calliper", "second", "second", "second"]


def test_a_gauge_that_the_shop_does_not_have_is_remarked_and_the_reading_kept(measured: Shop) -> None:
    logged = log(measured, readings={"clearance": (-0.06,)}, gauge="calipper")
    assert any(
        'gauge "calipper" is not in this shop' in line and "calliper" in line for line in logged.questions
    )
    assert worth(measured) is None


def test_a_study_becomes_the_gauge_s_error_for_earlier_readings_too(measured: Shop) -> None:
    """D: sd 0.01 on 10 degrees of freedom counts as 0.01 sqrt(10/8); an undo takes it back."""
    log(measured, raw(slot=6.02, finger=6.07), gauge="calliper")
    before = worth(measured).repeat_sd_mm
    done = studies.study(measured, "calliper", ROWS)
    assert (done.parts, done.people, done.trials, done.study.hand_dof) == (5, 1, 3, 10)
    assert done.study.hand == pytest.approx(0.01, rel=1e-9)
    assert done.now_mm == pytest.approx(0.01 * math.sqrt(10 / 8), rel=1e-9)
    inside = math.hypot(0.01, display_step(0.01))  # only its outside jaws were studied
    assert worth(measured).repeat_sd_mm == pytest.approx(math.hypot(inside, done.now_mm), rel=1e-9)
    undo.undo(measured)
    assert worth(measured).repeat_sd_mm == before
    assert studies.kept(measured, "calliper") == []


def test_a_study_is_kept_as_it_was_taken(measured: Shop) -> None:
    rows = study_from_text("part;person;mm\na;ana;6,02\na;ana;6,03\nb;ana;5,97\nb;ana;5,98\n", "s.csv")
    studies.study(measured, "calliper", rows, held="inside", source="s.csv")
    stored = measured.connection.execute(
        "SELECT part, operator, value_mm, text FROM gauge_study_values"
    ).fetchall()
    assert tuple(stored[0]) == ("a", "ana", 6.02, "6,02")
    (found,) = studies.kept(measured, "calliper")
    assert (found.held, found.source, found.hand_sd_mm) == ("inside", "s.csv", None)
    with pytest.raises(Exception, match="append-only"):
        measured.connection.execute("UPDATE gauge_study_values SET value_mm = 1.0")


def test_a_look_keeps_nothing_and_too_few_readings_do_not_count(measured: Shop) -> None:
    assert not studies.study(measured, "calliper", ROWS, keep=False).kept
    assert studies.kept(measured, "calliper") == []
    studies.study(measured, "calliper", ROWS)
    good = gauges.get(measured, "calliper").errors[0].repeat_sd_mm
    done = studies.study(measured, "calliper", ROWS[:2] + ROWS[3:5])
    assert (done.used, done.now_mm) == (False, good)
    assert gauges.get(measured, "calliper").errors[0].repeat_sd_mm == good


def test_what_differs_from_hand_to_hand_is_shared_by_all_readings_of_one(measured: Shop) -> None:
    """It goes to the limit's part, which no repeat makes smaller."""
    rows = [
        (f"p{part}", who, 6.0 + 0.1 * part + shift + d, None)
        for part in range(4)
        for who, shift in (("ana", 0.0), ("bo", 0.06))
        for d in (-0.01, 0.01)
    ]
    done = studies.study(measured, "calliper", rows)
    within = 16 * 0.01**2 / 11  # pooled: 8 degrees of freedom of repeats, 3 of the interaction, which is 0
    assert done.study.operator == pytest.approx(math.sqrt(0.06**2 / 2 - within / 8), rel=1e-9)
    error = gauges.get(measured, "calliper").errors[0]
    assert error.shared_mm["calliper, outside at one thing"] == pytest.approx(
        math.hypot(type_b(0.02), done.study.operator or 0.0), rel=1e-9
    )


def test_advice_by_gauges_can_be_recomputed_after_a_study(measured: Shop) -> None:
    """Stored advice used the gauge as it was known then."""
    log(measured, raw(slot=6.02, finger=6.07), gauge="calliper")
    next_step(measured, NAME)
    studies.study(
        measured, "calliper", [(p, w, mm + 0.05 * (i % 2), t) for i, (p, w, mm, t) in enumerate(ROWS)]
    )
    next_step(measured, NAME)
    found = keep.verify(measured)
    assert found.problems == ()
    assert found.advice_checked == 2


def test_a_worse_gauge_gives_more_careful_advice(measured: Shop) -> None:
    log(measured, raw(slot=6.02, finger=5.95), gauge="calliper")
    sharp = next_step(measured, NAME).readings[0].probability_next
    gauges.change(measured, "calliper", limit_of_error_mm=0.3)
    assert next_step(measured, NAME).readings[0].probability_next < sharp - 0.1


def test_a_log_carries_the_worked_out_reading_and_what_the_gauge_is_worth(
    measured: Shop, tmp_path: Path
) -> None:
    """The CSV holds the reading, the TOML the gauge's sds in its reading's table; raw readings stay here."""
    log(measured, raw(slot=(6.02, 6.00), finger=6.07), gauge="calliper")
    logs.export_log(measured, NAME, tmp_path / "out.toml")
    sd = setups.get(measured, NAME).worth["clearance"]
    with open_shop(tmp_path / "other.db", now=ticking()) as other:
        logs.import_log(other, tmp_path / "out.toml")
        setup, rows = history.log_of(other, NAME)
        assert rows[0].readings["clearance"] == (pytest.approx(-0.06, abs=1e-12),)
        assert setup.knowledge.scale("clearance", "reading_sd_mm") == pytest.approx(sd.repeat_sd_mm, rel=1e-9)
        assert setup.knowledge.scale("clearance", "zero_sd_mm") == pytest.approx(sd.shared_sd_mm, rel=1e-9)
    assert logs.import_log(measured, tmp_path / "out.toml").already


def test_details_of_a_gauge_are_kept_and_changed(measured: Shop) -> None:
    gauges.change(measured, "calliper", inside_limit_mm=0.05)
    record = gauges.change(measured, "calliper", zero_limit_mm=0.03, note="old")
    assert (record.inside_limit_mm, record.zero_limit_mm, record.note) == (0.05, 0.03, "old")
    assert record.errors[1].shared_mm == {
        "calliper, inside at one thing": pytest.approx(type_b(0.05)),
        "calliper, zero": pytest.approx(type_b(0.03)),
    }


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "it is empty"),
        ("part,who\na,b\n", 'the column "value" is missing'),
        ("part,value\na,6.0\na\nb,x\n", "(?s)s.csv:3: value is empty.*s.csv:4: value"),
        ("part,operator,value\na,,6.0\n", "operator is empty"),
    ],
)
def test_a_study_file_with_mistakes_tells_them_all(text: str, message: str) -> None:
    with pytest.raises((CalibError, LogError), match=message):
        study_from_text(text, "s.csv")


@pytest.mark.parametrize("mark", [",", ";", "\t"])
def test_a_study_file_is_read_with_any_mark_and_a_byte_order_mark(mark: str, tmp_path: Path) -> None:
    from calib.logfile.study import load_study

    comma = "." if mark == "," else ","
    lines = ["# mine", f"Part{mark}Value", f"a{mark}6{comma}02", "", f"b{mark}0.25 in"]
    file = tmp_path / "study.csv"
    file.write_bytes("\r\n".join(lines).encode("utf-8-sig"))
    found = load_study(file)
    assert [(part, who, round(mm, 6)) for part, who, mm, _ in found] == [
        ("a", "one person", 6.02),
        ("b", "one person", 6.35),
    ]


def test_without_a_name_the_gauge_is_that_of_last_time_and_it_is_said(measured: Shop) -> None:
    """For each raw reading, and for readings that were read themselves; named ones win."""
    log(measured, raw(slot=6.02, finger=6.07), gauge="calliper")
    assert log(measured, raw(slot=6.01, finger=6.07)).questions == (
        "gauge calliper, as last time (another: --gauge NAME)",
    )
    assert worth(measured, number=2) == worth(measured)
    logged = cuts.measure_again(measured, 1, {}, raws=raw(slot=6.04))
    assert "calliper, inside at slot" in worth(measured).shared
    assert logged.questions[0].startswith("gauge calliper")
    assert log(measured, readings={"clearance": (-0.06,)}).questions == ()  # read itself: nothing to go by
    assert worth(measured, number=3) is None


def test_a_pin_that_goes_and_one_that_does_not_make_an_interval(measured: Shop) -> None:
    """Pins 6.00 and 6.05 in the slot, the finger by callipers: the clearance lies between."""
    gauges.add(measured, "pins", "pin", 0.01)
    entries = (RawEntry("slot", Interval(6.0, 6.05), "6.00..6.05", "pins"), *raw(finger=5.95))
    (found,) = log(measured, entries, gauge="calliper").cut.readings["clearance"]
    assert isinstance(found, Interval)
    assert (found.low_mm, found.high_mm) == pytest.approx((0.05, 0.10), abs=1e-12)
    assert set(worth(measured).shared) == {
        "pins, inside at slot",
        "calliper, outside at finger",
        "calliper, zero",
    }
    stored = measured.connection.execute("SELECT low_mm, high_mm, text FROM raw_readings").fetchone()
    assert tuple(stored) == (6.0, 6.05, "6.00..6.05")
    assert next_step(measured, NAME).cuts_used == 1
    assert log(measured, raw(slot=6.02, finger=5.95)).questions == (
        "gauge calliper, as last time (another: --gauge NAME)",
    )


def test_limits_that_leave_everything_open_are_refused(measured: Shop) -> None:
    entries = (RawEntry("slot", Interval(6.0, math.inf)), RawEntry("finger", Interval(5.9, math.inf)))
    with pytest.raises(CalibError, match="is not a reading"):
        log(measured, entries)
    assert measured.connection.execute("SELECT COUNT(*) FROM cuts").fetchone()[0] == 0


@pytest.mark.parametrize("wrong", [0.0, -6.0, math.nan, math.inf])
def test_a_size_that_cannot_be_is_refused(measured: Shop, wrong: float) -> None:
    with pytest.raises(CalibError, match="slot"):
        log(measured, (RawEntry("slot", wrong), *raw(finger=5.95)))

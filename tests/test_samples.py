"""The sample logs: invented, true to what their comments say, and the model finds the faults put in."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from calib.geometry import describe
from calib.logfile import load_log, log_from_texts, log_to_texts
from calib.regression import posterior
from calib.shop import Cut, Interval, Setup

SAMPLES = Path(__file__).parent.parent / "sample_logs"
NAMES = ("bottom-groove", "chest-corners", "lid-inlay")
TRUE = re.compile(r"^# true: (.+) = (-?[\d.]+)(?: mm)?$", re.MULTILINE)
#: name of the log, adjuster, reading
AIMS = (
    ("chest-corners", "key", "clearance"),
    ("chest-corners", "height", "proud"),
    ("bottom-groove", "fence", "setback"),
    ("bottom-groove", "height", "depth"),
    ("lid-inlay", "diameter", "gap"),
)


def sample(name: str) -> tuple[Setup, list[Cut]]:
    return load_log(SAMPLES / f"{name}.toml")


def true_values(name: str) -> dict[str, float]:
    text = (SAMPLES / f"{name}.csv").read_text(encoding="utf-8")
    return {what: float(value) for what, value in TRUE.findall(text)}


def test_there_are_three_logs_of_three_kinds_of_joint() -> None:
    assert tuple(sorted(file.stem for file in SAMPLES.glob("*.toml"))) == NAMES
    assert tuple(sorted(file.stem for file in SAMPLES.glob("*.csv"))) == NAMES
    assert {sample(name)[0].joint.kind for name in NAMES} == {"finger", "groove", "inlay"}


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_is_named_after_its_file_and_has_five_to_nine_cuts_and_a_good_piece(name: str) -> None:
    setup, cuts = sample(name)
    assert setup.name == name
    assert 5 <= len(cuts) <= 9
    assert cuts[0].kind == "test"
    assert cuts[-1].kind == "good"


@pytest.mark.parametrize(
    "file", sorted([*SAMPLES.glob("*.toml"), *SAMPLES.glob("*.csv")]), ids=lambda f: f.name
)
def test_a_sample_says_on_its_first_line_that_it_is_invented(file: Path) -> None:
    first = file.read_text(encoding="utf-8").splitlines()[0]
    assert first.startswith("# Invented; nothing here was measured.")


def test_the_samples_have_words_repeats_an_interval_a_blunder_and_a_jig_without_a_scale() -> None:
    logs = {name: sample(name) for name in NAMES}
    cuts = [cut for _, log in logs.values() for cut in log]
    assert {cut.feel for cut in logs["chest-corners"][1]} >= {"mallet", "hand"}
    assert any(len(values) > 1 for cut in cuts for values in cut.readings.values())
    assert any(
        isinstance(value, Interval) for cut in cuts for values in cut.readings.values() for value in values
    )
    assert [a.name for setup, _ in logs.values() for a in setup.adjusters if not a.has_scale] == ["fence"]
    assert "blunder in cut" in true_values("bottom-groove")


@pytest.mark.parametrize("name", NAMES)
def test_a_sample_survives_being_written(name: str) -> None:
    setup, cuts = sample(name)
    assert log_from_texts(*log_to_texts(setup, cuts)) == (setup, cuts)


@pytest.mark.parametrize(("name", "adjuster", "reading"), AIMS)
def test_the_true_position_for_the_target_is_within_the_models_95_percent(
    name: str, adjuster: str, reading: str
) -> None:
    setup, cuts = sample(name)
    true_aim = true_values(name)[f"{adjuster} for the target {reading}"]
    slope = describe(setup, cuts[0].settings_mm).slopes[reading][adjuster]
    assert slope
    low, high = posterior(setup, cuts).size(reading).interval(0.95)
    now = cuts[-1].settings_mm[adjuster]
    target = setup.band(reading).target_mm
    ends = sorted(now + (target - size) / slope for size in (low, high))
    assert ends[0] - 0.005 <= true_aim <= ends[1] + 0.005  # the comment is rounded to 0.01
    assert ends[1] - ends[0] < setup.band(reading).high_mm - setup.band(reading).low_mm


@pytest.mark.parametrize(
    ("name", "reading", "what", "expected"),
    [
        ("chest-corners", "clearance", "slot width", lambda t, x: t - x["key"]),
        ("chest-corners", "proud", "dial of the lift shows too much by", lambda t, x: x["height"] - t - 8.0),
        ("bottom-groove", "setback", "setback at the first stand of the fence", lambda t, x: t + x["fence"]),
        ("bottom-groove", "depth", "depth less the dial", lambda t, x: t + x["height"]),
        ("lid-inlay", "gap", "diameter as cut", lambda t, x: 2.0 * (t - x["diameter"])),
    ],
)
def test_the_first_cut_reads_what_its_comment_makes_it_read(
    name: str, reading: str, what: str, expected: Any
) -> None:
    """Within three standard deviations of cut and reading, 0.02 mm each at most."""
    _, cuts = sample(name)
    [first] = cuts[0].readings[reading]
    assert first == pytest.approx(expected(true_values(name)[what], cuts[0].settings_mm), abs=0.085)

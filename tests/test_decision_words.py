"""The cautions beside an advice, and how to make the next test count."""

from __future__ import annotations

import re

import pytest

from calib.decision import cautions, hints
from calib.shop import JOINT_KINDS, Adjuster, Band, Joint, JointKind, Setup


def setup_of(kind: JointKind) -> Setup:
    return Setup("any", Joint(kind), (Band("gap", 0.0, -0.1, 0.1),), (Adjuster("lever", moves={"gap": 1.0}),))


def lines_of(kind: JointKind) -> tuple[str, ...]:
    return cautions.cautions_for(setup_of(kind))


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_the_last_caution_defers_to_manual_marked_speed_and_local_rules(kind):
    last = lines_of(kind)[-1]
    for part in ("only your measurements", "manual", "cutter's marked maximum speed", "local rules"):
        assert part in last
    assert "never tells you that a setting is safe" in last


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_the_first_caution_is_to_isolate(kind):
    assert lines_of(kind)[0].startswith("Switch off and unplug")


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_eyes_ears_and_dust_share_one_line(kind):
    found = [line for line in lines_of(kind) if "dust" in line]
    assert len(found) == 1
    assert re.search(r"[Ee]ye and ear protection.*noise.*where you are", found[0])


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("finger", "out through the back of the jig"),
        ("finger", "backer and a clamp"),
        ("finger", "never between fence and cutter"),
        ("groove", "against the cutter's rotation"),
        ("groove", "never between fence and cutter"),
        ("groove", "least insertion of its shank"),
        ("inlay", "tab, tape or a screw before the last pass"),
        ("inlay", "stop button"),
        ("inlay", "hands out while the spindle turns"),
        ("plain", "no climb cuts by hand"),
    ],
)
def test_each_joint_has_the_cautions_of_its_own(kind, said):
    assert said in " ".join(lines_of(kind))


def test_a_caution_that_is_wrong_on_the_other_machine_is_not_given():
    """A CNC router has no fence to feed along; a router table has no stop button or tabs."""
    assert "feed against" not in " ".join(lines_of("inlay")).lower()
    for kind in ("finger", "groove", "plain"):
        assert "stop button" not in " ".join(lines_of(kind))
        assert "tab" not in re.findall(r"\w+", " ".join(lines_of(kind)))


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_no_caution_gives_a_speed_or_a_feed_or_any_number(kind):
    for line in lines_of(kind):
        assert not re.search(r"\d|rpm|m/min|mm/min|per minute", line)


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_safe_is_said_only_to_deny_it(kind):
    *before, last = lines_of(kind)
    assert "safe" not in " ".join([*before, *hints.test_hints(setup_of(kind), 1, False)]).lower()
    assert last.count("safe") == 1


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_cautions_are_few_and_short(kind):
    """Seven at the most, each of three lines of a terminal at the most."""
    assert len(set(lines_of(kind))) == len(lines_of(kind)) <= 7
    for line in lines_of(kind):
        assert len(line) <= 180
        assert line.endswith(".")


@pytest.mark.parametrize("kind", JOINT_KINDS)
def test_a_test_counts_in_four_lines_and_its_number_is_written_on_the_piece(kind):
    lines = hints.test_hints(setup_of(kind), 1, False)
    assert 2 <= len(lines) <= 4
    assert "same species" in lines[0]
    assert "final thickness" in lines[0]
    assert "number on the piece" in lines[-1]


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("finger", "fresh backer"),
        ("finger", "fuzz"),
        ("finger", "middle finger"),
        ("finger", "both ends"),
        ("groove", "both ends"),
        ("groove", "fuzz"),
        ("inlay", "same finishing pass"),
        ("inlay", "X and Y apart"),
    ],
)
def test_each_joint_has_the_hints_of_its_own(kind, said):
    assert said in " ".join(hints.test_hints(setup_of(kind), 1, False))

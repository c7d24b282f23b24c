"""The shop learns: what is kept of earlier mountings, and that it is never out of date."""

from __future__ import annotations

from dataclasses import replace

import pytest
from shopkit import CORNERS, GROOVE, cut

from calib.decision.advise import advise
from calib.regression.learn import through
from calib.shop import Knowledge
from calib.workflow import history, mountings, setups
from calib.workflow.corrections import correct
from calib.workflow.keep import verify
from calib.workflow.learning import learn
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop
from calib.workflow.undo import redo, undo

NAME = "chest-corners"


@pytest.fixture
def thrice(corners: Shop) -> Shop:
    """Three mountings; the third has one cut."""
    for key, clearances in ((6.0, (0.11, 0.10)), (6.04, (0.06, 0.08)), (6.02, (0.09,))):
        for clearance in clearances:
            cut(corners, key=key, height=8.1, clearance=clearance, proud=0.1, stock="poplar")
        if key != 6.02:
            mountings.mount(corners, NAME)
    return corners


def by_the_log(shop: Shop):
    """Return the advice on the whole log, carried through its mountings from the first."""
    return advise(*history.log_of(shop, NAME))


def same(one, other) -> None:
    assert one.step == other.step
    assert one.best_min == pytest.approx(other.best_min, rel=1e-9)
    for mine, theirs in zip(one.readings, other.readings, strict=True):
        assert (mine.expected_mm, mine.u_mm) == pytest.approx((theirs.expected_mm, theirs.u_mm), rel=1e-9)
    assert [(m.adjuster, m.to_mm) for m in one.moves] == [(m.adjuster, m.to_mm) for m in other.moves]


def kept(shop: Shop) -> int:
    return int(shop.connection.execute("SELECT COUNT(*) FROM learned").fetchone()[0])


def test_what_is_kept_advises_as_the_whole_log_does(thrice: Shop) -> None:
    assert kept(thrice) == 2
    found = next_step(thrice, NAME)
    same(found, by_the_log(thrice))
    assert any("2 earlier mountings" in reason for reason in found.reasons)
    assert kept(thrice) == 2
    assert verify(thrice).problems == ()


def test_an_old_mounting_that_is_corrected_is_learned_again(thrice: Shop) -> None:
    """Its state is no longer found; undoing the correction finds it again."""
    before = next_step(thrice, NAME)
    first = thrice.connection.execute("SELECT MIN(number) FROM cuts").fetchone()[0]
    correct(thrice, first, settings_mm={"key": 5.8})
    after = next_step(thrice, NAME)
    same(after, by_the_log(thrice))
    assert after.readings[0].expected_mm != pytest.approx(before.readings[0].expected_mm, rel=1e-6)
    assert kept(thrice) == 3
    undo(thrice, NAME)
    same(next_step(thrice, NAME), before)
    redo(thrice, NAME)
    same(next_step(thrice, NAME), after)
    assert kept(thrice) == 3
    assert verify(thrice).problems == ()


def test_a_setup_that_believes_something_else_learns_again(thrice: Shop) -> None:
    setup = setups.get(thrice, NAME)
    setups.change(thrice, NAME, replace(setup, knowledge=Knowledge(cut_sd_mm=0.05)))
    same(next_step(thrice, NAME), by_the_log(thrice))
    asked = next_step(thrice, NAME, knowledge={"cut_sd": 0.001}, store=False)
    assert asked.readings[0].u_mm != pytest.approx(by_the_log(thrice).readings[0].u_mm, rel=1e-3)


def test_what_was_learned_is_shown_with_what_it_rests_on(thrice: Shop) -> None:
    (found,) = learn(thrice, [NAME])
    assert found.counts() == {"setup": NAME, "mountings": 3, "readings": 10, "moves": 0}
    mounting = next(one for one in found.components if one.kind == "mounting")
    low, high = mounting.interval(0.9)
    assert low < mounting.median() < high < mounting.interval(0.9, before=True)[1]
    assert learn(thrice, []) == []


def test_a_kept_joint_is_learned_apart(thrice: Shop) -> None:
    """A mounting put back with it is expected to be closer, and the others teach nothing of how much."""
    without = mountings.mount(thrice, NAME)
    undo(thrice)
    using = mountings.mount(thrice, NAME, kept_joint="chest 1")
    assert using.first is not None
    assert without.first is not None
    assert using.kept_joint == "chest 1"
    assert using.first.readings[0].mounting_sd_mm < without.first.readings[0].mounting_sd_mm
    cut(thrice, clearance=0.07, not_moved=True)
    (found,) = learn(thrice, [NAME])
    parts = [one for one in found.components if one.kind == "kept"]
    assert parts
    assert all(0.0 < one.interval(0.9)[0] < one.interval(0.9)[1] <= 1.0 for one in parts)


def test_what_is_set_by_eye_counts_anew_at_every_mounting(shop: Shop) -> None:
    """The fence has no scale: where it ended says nothing of where the eye will put it next time."""
    setups.add(shop, GROOVE)
    assert CORNERS.adjusters[0].has_scale
    cut(shop, GROOVE.name, setback=4.6)
    cut(shop, GROOVE.name, fence=0.4, setback=5.0)
    mounted = mountings.mount(shop, GROOVE.name)
    assert mounted.settings_mm == {}
    assert mounted.first is not None
    assert mounted.first.readings[0].expected_mm < 4.9  # as the first one read before it was moved
    assert mounted.first.readings[0].u_mm > 0.25
    setup, cuts = history.log_of(shop, GROOVE.name)
    carried, rows = through(setup, cuts)
    assert carried is not None
    assert [row.pieces for row in rows] == [0]

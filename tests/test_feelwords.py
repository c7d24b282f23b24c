"""Words for a fit in the shop: renamed, moved, undone, and whose hand it was."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from shopkit import FINGERS, cut, ticking

from calib.errors import CalibError
from calib.logfile import load_log
from calib.shop import Cut, Interval
from calib.workflow import feelwords, logs, setups
from calib.workflow.cuts import measure_again
from calib.workflow.history import find_cut
from calib.workflow.keep import verify
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop, open_shop
from calib.workflow.undo import undo


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Return a shop with two setups of fingers."""
    with open_shop(tmp_path / "shop.db", now=ticking()) as found:
        setups.add(found, FINGERS)
        setups.add(found, replace(FINGERS, name="tray"))
        yield found


def test_a_new_name_holds_for_what_was_felt_before_and_undo_gives_the_old_one(
    shop: Shop,
) -> None:
    """The stored word never changes; only what it is called does."""
    cut(shop, "corners", key=6.14, feel="mallet")
    before = next_step(shop, "corners", store=False)
    feelwords.rename(shop, "finger", "mallet", "hammer")
    assert find_cut(shop, 1)[1].feel == "hammer"
    assert setups.get(shop, "tray").feel.words["hammer"] == (-0.10, -0.03)
    assert next_step(shop, "corners", store=False).as_dict() == before.as_dict()
    cut(shop, "corners", key=6.10, feel="hammer")
    with pytest.raises(CalibError, match="no feel"):
        cut(shop, "corners", key=6.10, feel="mallet")
    feelwords.rename(shop, "finger", "hammer", "schlegel")
    undo(shop)
    undo(shop, "corners")  # the second cut
    undo(shop)
    assert find_cut(shop, 1)[1].feel == "mallet"


def test_a_cut_felt_with_a_name_that_was_undone_is_still_understood(shop: Shop) -> None:
    """Undoing the name leaves the cut, which speaks of the same word."""
    feelwords.rename(shop, "finger", "mallet", "hammer")
    cut(shop, "corners", key=6.14, feel="hammer")
    shop.connection.execute("INSERT INTO events VALUES (900, 't', 'undo', NULL, 'the new name', 0)")
    renamed = shop.connection.execute("SELECT event_id FROM feel_words").fetchone()[0]
    shop.connection.execute("INSERT INTO undos VALUES (900, ?)", (renamed,))
    assert find_cut(shop, 1)[1].feel == "mallet"


def test_limits_move_for_every_setup_of_the_kind_until_one_has_its_own(shop: Shop) -> None:
    feelwords.change(shop, "finger", "hand", 0.02, 0.09)
    assert setups.get(shop, "corners").feel.words["palm"] == (-0.03, 0.02)
    own = setups.get(shop, "corners")
    words = dict(own.feel.words) | {"hand": (0.0, 0.05), "palm": (-0.03, 0.0), "slides": (0.05, 0.2)}
    setups.change(shop, "corners", replace(own, feel=replace(own.feel, words=words)))
    assert setups.get(shop, "corners").feel.words["hand"] == (0.0, 0.05)
    assert setups.get(shop, "tray").feel.words["hand"] == (0.02, 0.09)


def test_a_word_can_be_added_where_a_joint_had_none(shop: Shop) -> None:
    found = feelwords.change(shop, "groove", "tight", float("-inf"), 5.0)
    assert dict(found.words) == {"tight": (float("-inf"), 5.0)}


@pytest.mark.parametrize(
    ("deed", "says"),
    [
        (lambda shop: feelwords.rename(shop, "finger", "malet", "x"), 'Did you mean "mallet"'),
        (lambda shop: feelwords.rename(shop, "fingr", "mallet", "x"), 'Did you mean "finger"'),
        (lambda shop: feelwords.rename(shop, "finger", "mallet", "palm"), "another word already"),
        (lambda shop: feelwords.rename(shop, "finger", "mallet", " "), "will not do"),
        (lambda shop: feelwords.change(shop, "finger", "hand", -0.05, 0.2), "nothing would be left"),
        (lambda shop: feelwords.change(shop, "finger", "hand", 0.2, 0.1), "lower end first"),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(shop: Shop, deed, says: str) -> None:
    with pytest.raises(CalibError, match=says) as refused:
        deed(shop)
    assert "\n" not in str(refused.value)


def test_a_name_never_comes_to_mean_another_word(shop: Shop) -> None:
    """Cuts that were felt with it would change their meaning."""
    feelwords.rename(shop, "finger", "mallet", "hammer")
    feelwords.rename(shop, "finger", "hammer", "schlegel")
    with pytest.raises(CalibError, match="another word already"):
        feelwords.rename(shop, "finger", "palm", "hammer")
    feelwords.rename(shop, "finger", "schlegel", "hammer")  # its own


def test_pairs_of_another_setup_teach_the_same_hand(shop: Shop) -> None:
    """Ada says hand on the tray where 0.16 mm is read: on the corners her word means more than stated."""
    alone = [cut(shop, "corners", key=6.0, feel="hand", by=who) for who in ("ada", "ben")]
    assert [one.cut.by for one in alone] == ["ada", "ben"]
    before = next_step(shop, "corners", store=False).readings[0].expected_mm
    for n in range(12):
        cut(shop, "tray", key=6.0, clearance=0.15 + 0.005 * (n % 3), feel="hand", by="ada")
    after = next_step(shop, "corners", store=False).readings[0].expected_mm
    assert after > before + 0.01
    next_step(shop, "corners")
    cut(shop, "tray", key=6.0, clearance=0.02, feel="hand", by="ada")
    assert verify(shop).problems == ()  # the advice is computed from what it knew then


def test_whose_hand_it_was_survives_an_export_and_an_import(shop: Shop, tmp_path: Path) -> None:
    cut(shop, "corners", key=6.0, feel="hand", by="ada")
    measure_again(shop, 1, {"clearance": (0.06, Interval(0.05, 0.1))}, "palm", by="ben")
    logs.export_log(shop, "corners", tmp_path / "corners.toml")
    _, cuts = load_log(tmp_path / "corners.toml")
    assert [(one.feel, one.by) for one in cuts] == [("palm", "ben")]
    with open_shop(tmp_path / "other.db", now=ticking()) as other:
        logs.import_log(other, tmp_path / "corners.toml")
        logs.import_log(other, tmp_path / "corners.toml")  # nothing new
        found: Cut = find_cut(other, 1)[1]
        assert (found.feel, found.by) == ("palm", "ben")

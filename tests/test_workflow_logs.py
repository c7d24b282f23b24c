"""Logs go in and out without losing anything; the same log twice changes nothing."""

from __future__ import annotations

from pathlib import Path

import pytest
from shopkit import CORNERS, cut

from calib.errors import CalibError, LogError
from calib.logfile import load_log, write_log
from calib.shop import Cut, Interval
from calib.workflow import cutters, history, mountings, setups
from calib.workflow.cuts import moved_to, work
from calib.workflow.logs import Imported, _content, export_log, import_log
from calib.workflow.shopfloor import Shop, open_shop
from calib.workflow.undo import undo

NAME = "chest-corners"
SAMPLES = sorted((Path(__file__).parents[1] / "sample_logs").glob("*.toml"))


def _events(shop: Shop) -> int:
    return int(shop.connection.execute("SELECT COUNT(*) FROM events").fetchone()[0])


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_an_imported_log_is_to_the_model_what_the_files_are(shop: Shop, path: Path) -> None:
    """Setup, numbers, positions, readings, labels where they change."""
    setup, cuts = load_log(path)
    assert import_log(shop, path) == Imported(setup.name, len(cuts), already=False)
    found, rows = history.log_of(shop, setup.name)
    assert found == setup
    assert _content(rows) == _content(cuts)
    assert [row.number for row in rows] == [row.number for row in cuts]


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_out_and_in_again_is_the_same_log(shop: Shop, tmp_path: Path, path: Path) -> None:
    """From one shop to another, and back into the first, where it is known."""
    import_log(shop, path)
    name = load_log(path)[0].name
    export_log(shop, name, tmp_path / "out.toml")
    with open_shop(tmp_path / "other.db") as other:
        import_log(other, tmp_path / "out.toml")
        assert history.log_of(other, name)[0] == history.log_of(shop, name)[0]
        assert _content(history.log_of(other, name)[1]) == _content(history.log_of(shop, name)[1])
    events = _events(shop)
    assert import_log(shop, tmp_path / "out.toml").already
    assert _events(shop) == events


def test_the_same_log_twice_changes_nothing(shop: Shop) -> None:
    """Even after more was logged on it; after an undo it comes in again."""
    for path in SAMPLES:
        import_log(shop, path)
    events = _events(shop)
    assert all(import_log(shop, path).already for path in SAMPLES)
    assert _events(shop) == events
    setup = load_log(SAMPLES[0])[0]
    work(shop, setup.name, 2, not_moved=True)
    assert import_log(shop, SAMPLES[0]).already
    undo(shop, setup.name)
    undo(shop, setup.name)
    assert not import_log(shop, SAMPLES[0]).already


def test_another_log_of_the_same_name_is_refused_whole(shop: Shop, tmp_path: Path) -> None:
    """One line; nothing is stored."""
    first = Cut(1, "test", {"key": 6.14, "height": 8.1}, {"clearance": (-0.07,)})
    write_log(CORNERS, [first], tmp_path / "a.toml")
    write_log(CORNERS, [Cut(1, "test", {"key": 6.2, "height": 8.1})], tmp_path / "b.toml")
    import_log(shop, tmp_path / "a.toml")
    events = _events(shop)
    with pytest.raises(CalibError, match="with other cuts already"):
        import_log(shop, tmp_path / "b.toml")
    assert _events(shop) == events


def test_a_log_with_mistakes_stores_nothing(shop: Shop, tmp_path: Path) -> None:
    """All its mistakes are told."""
    write_log(CORNERS, [Cut(1, "test", {"key": 6.14, "height": 8.1})], tmp_path / "a.toml")
    (tmp_path / "a.csv").write_text("kind,key,height,clearance\ntest,6.14,8.1,x\ntest,6.14,y,0.1\n")
    with pytest.raises(LogError) as refused:
        import_log(shop, tmp_path / "a.toml")
    assert len(refused.value.problems) == 2
    assert (_events(shop), setups.all(shop)) == (0, [])


def test_numbers_that_are_taken_are_given_anew(corners: Shop, tmp_path: Path) -> None:
    """The pieces of this shop keep theirs."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07)
    import_log(corners, SAMPLES[0])
    setup, cuts = load_log(SAMPLES[0])
    assert [c.number for c in history.log_of(corners, setup.name)[1]] == list(range(2, len(cuts) + 2))


def test_mountings_sharpenings_and_words_survive_the_import(shop: Shop, tmp_path: Path) -> None:
    """Each label where it changes; metres on the cutter are those of its last sharpening."""
    cuts = [
        Cut(
            1,
            "test",
            {"key": 6.14, "height": 8.1},
            {"clearance": (-0.07, -0.06)},
            mounting="a",
            when="monday",
        ),
        Cut(2, "test", {"key": 6.0, "height": 8.1}, {"proud": (Interval(0.0, 0.1),)}, feel="hand"),
        Cut(
            3,
            "test",
            {"key": 6.0, "height": 8.1},
            {"clearance": (0.05,)},
            moved=frozenset({"key"}),
            mounting="b",
        ),
        Cut(4, "good", {"key": 6.0, "height": 8.1}, {}, 4, sharpening="new", stock="cherry", note="last"),
    ]
    write_log(CORNERS, cuts, tmp_path / "a.toml")
    import_log(shop, tmp_path / "a.toml")
    setup, rows = history.log_of(shop, NAME)
    assert setup == CORNERS
    assert _content(rows) == _content(load_log(tmp_path / "a.toml")[1])
    assert [m.number for m in history.history(shop, NAME).mountings] == [1, 2]
    assert [(c.mounting, c.when) for c in rows][:2] == [("a", "monday"), ("a", None)]
    record = cutters.get(shop, "spiral-6")
    assert (record.sharpenings, record.metres_m) == (2, pytest.approx(0.2, abs=1e-12))


def test_a_log_never_says_that_the_cutter_was_sharpened_for_others(shop: Shop, tmp_path: Path) -> None:
    """Other metres in a later log are remarked on; the shop's count stands, the first setup is as it was."""
    one = Cut(1, "test", {"key": 6.14, "height": 8.1}, {"clearance": (-0.07,)})
    remarks = []
    for name, metres in (("a", 12.0), ("b", 20.0), ("c", 12.1)):
        cutter = CORNERS.cutter.__class__("spiral-6", 6.0, metres)
        write_log(
            CORNERS.__class__(**{**vars(CORNERS), "name": name, "cutter": cutter}), [one], tmp_path / "l.toml"
        )
        remarks.append(import_log(shop, tmp_path / "l.toml").remark)
    assert [remark is not None for remark in remarks] == [False, True, False]
    assert "20 m" in str(remarks[1])
    assert cutters.get(shop, "spiral-6").sharpenings == 1
    assert cutters.get(shop, "spiral-6").metres_m == pytest.approx(12.15, abs=1e-9)
    _, rows = history.log_of(shop, "a")
    assert len({row.sharpening for row in rows}) == 1


def test_what_was_logged_at_the_bench_goes_out_whole(corners: Shop, tmp_path: Path) -> None:
    """With the moves, mountings and sharpenings that no cut shows."""
    cut(corners, key=6.14, height=8.1, clearance=-0.07, feel="mallet")
    moved_to(corners, NAME, {"key": 6.05})
    moved_to(corners, NAME, {"key": 6.0})
    work(corners, NAME, 3, {"clearance": (0.06,)})
    mountings.mount(corners, NAME)
    cutters.sharpen(corners, "spiral-6", metres=0.5)
    assert export_log(corners, NAME, tmp_path / "out.toml") == 2
    setup, rows = load_log(tmp_path / "out.toml")
    found, log = history.log_of(corners, NAME)
    assert setup == found
    assert _content(rows) == _content(log)
    assert len({row.number for row in rows}) == len(rows)

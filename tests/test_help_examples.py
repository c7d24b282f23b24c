"""Every example that a command's help shows runs, in a shop that has what it names."""

from __future__ import annotations

import shlex
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from shopkit import CORNERS, GROOVE, cut, ticking
from test_readme import commands
from typer.testing import CliRunner

from calib.cli.program import app
from calib.shop import Setup
from calib.workflow import gauges, keptboxes, setups, stocks
from calib.workflow.boxes import BoxQuestion
from calib.workflow.cuts import work
from calib.workflow.logs import import_log
from calib.workflow.mountings import mount
from calib.workflow.shopfloor import open_shop
from calib.workflow.undo import undo

SAMPLES = Path(__file__).parents[1] / "sample_logs"
#: Asks in a terminal, takes long, or (a move as advised) needs open advice: each has tests of its own.
ELSEWHERE = (
    "calib setup add corners",
    "calib moved corners",
    "calib gauge study calliper",
    "calib demo",
    "calib demo --units in",
    "calib rehearse corners",
    "calib rehearse corners --runs 400",
)


def examples() -> list[str]:
    """Return the examples in the help of all commands."""
    texts = [one.help or "" for one in commands().values() if not getattr(one, "commands", None)]
    lines = [line.strip() for text in texts for line in text.splitlines()]
    return [line for line in lines if line.startswith("calib ") and line not in ELSEWHERE]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with a shop that has what the examples name, and the files that they read."""
    folder = tmp_path_factory.mktemp("examples")
    with open_shop(folder / "shop.db", now=ticking()) as shop:
        stocks.add(shop, "cherry", species="black cherry", thickness_mm=8.0, moisture_percent=8.0)
        stocks.add(shop, "ash", species="ash, white", thickness_mm=8.0, moisture_percent=8.0)
        gauges.add(shop, "calliper", "calliper", 0.01)
        for setup, name in ((CORNERS, "corners"), (GROOVE, "groove")):
            setups.add(shop, renamed(setup, name))
        import_log(shop, SAMPLES / "lid-inlay.toml")
        cut(shop, "groove", fence=0.0, setback=5.02)
        for number in range(3):
            mount(shop, "corners")
            cut(shop, "corners", key=6.0, height=8.1, clearance=0.06 + 0.01 * number, proud=0.1)
        good = work(shop, "corners", 4)
        asked = BoxQuestion(250.0, 180.0, 102.0, 8.0, corners="corners", groove="groove")
        keptboxes.keep(shop, "chest", asked)
        last = cut(shop, "corners", clearance=0.07, proud=0.1)
        cut(shop, "corners", clearance=0.06)
        undo(shop, "corners")
    shutil.copy(folder / "shop.db", folder / "shop-copy.db")
    for sample in SAMPLES.glob("bottom-groove.*"):
        (folder / "logs").mkdir(exist_ok=True)
        shutil.copy(sample, folder / "logs")
    for sample in SAMPLES.glob("chest-corners.*"):
        shutil.copy(sample, folder)
    (folder / "study.csv").write_text("part,hand,value\na,me,6.02\na,me,6.03\nb,me,5.97\nb,me,5.98\n")
    (folder / "numbers.txt").write_text(f"{good.number} {last.number}")
    return folder


def renamed(setup: Setup, name: str) -> Setup:
    """Return a setup under another name."""
    return replace(setup, name=name)


@pytest.mark.parametrize("line", examples())
def test_an_example_of_the_help_runs(
    place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str
) -> None:
    """An example that adds what the shop has already is run in an empty one; numbers are the shop's own."""
    here = tmp_path / "here"
    shutil.copytree(place, here)
    monkeypatch.chdir(here)
    good, last = (here / "numbers.txt").read_text().split()
    words: list[str] = []
    for word in shlex.split(line)[1:]:
        found = sorted(map(str, Path().glob(word))) if "*" in word else []
        words += found or [word.replace("/media/stick", str(tmp_path))]
    if words[0] == "again" and "=" not in words[1]:
        words[1] = last
    if words[:2] == ["box", "count"]:
        words[3] = good
    db = "new.db" if "add" in words[:2] else "shop.db"
    done = CliRunner().invoke(app, words, env={"CALIB_DB": db})
    assert done.exit_code == 0, done.output

"""Whole outputs as a reader gets them: at 80 columns, and at 40 where only ASCII can be shown.

    python tests/test_goldens.py --write

writes `tests/golden/` anew: look at the difference before it is committed. The shop behind them is made of
the samples and of one short run of our own, dated by a clock of its own.
"""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from calib.present.layout import to_ascii
from calib.shop import Adjuster, Band, Cutter, Joint, Setup
from calib.workflow import keptboxes, setups
from calib.workflow.boxes import BoxQuestion
from calib.workflow.cuts import CutEntry, log_cut, work
from calib.workflow.logs import import_log
from calib.workflow.moves import moved_as_advised
from calib.workflow.next import next_step
from calib.workflow.shopfloor import open_shop

ROOT = Path(__file__).parents[1]
GOLDEN = Path(__file__).parent / "golden"
COMMANDS = {
    "next": ["next", "chest-corners"],
    "history": ["history", "chest-corners"],
    "setup_show": ["setup", "show", "chest-corners"],
    "wear": ["wear", "spiral-6"],
    "honesty": ["honesty"],
    "box_show": ["box", "show", "chest"],
}
#: What the outputs are shown in: width, and what else the environment says.
PLAIN = {"NO_COLOR": "1", "TERM": "dumb", "LC_ALL": "C", "PYTHONIOENCODING": "ascii"}
SHOWN: dict[str, tuple[int, dict[str, str]]] = {"80": (80, {}), "40_ascii": (40, PLAIN)}
#: Readings of an invented short run: each is cut where the advice put the key.
RUN = (-0.05, 0.04, 0.06, 0.08, 0.05)


def make_shop(db: Path) -> None:
    """Make the shop behind the goldens, dated by a clock that stands still."""
    with open_shop(db, now=lambda: "2025-03-01T08:00:00+00:00") as shop:
        for name in ("chest-corners", "bottom-groove"):
            import_log(shop, ROOT / "sample_logs" / f"{name}.toml")
        asked = BoxQuestion(
            250.0, 180.0, 102.0, 8.0, corners="chest-corners", groove="bottom-groove", lid_height=30.0
        )
        keptboxes.keep(shop, "chest", asked)
        trays = Setup(
            "trays", Joint("finger", thickness_mm=10.0), (Band("clearance", 0.07, 0.03, 0.12),),
            (Adjuster("key", least_step_mm=0.02),), Cutter("spiral-5", 5.0), pieces_left=24,
        )  # fmt: skip
        setups.add(shop, trays)
        key = 5.1
        for read in RUN:
            log_cut(shop, "trays", CutEntry(settings_mm={"key": key}, readings={"clearance": (read,)}))
            advice = next_step(shop, "trays")
            if advice.moves:
                moved_as_advised(shop, "trays")
                key = advice.moves[0].to_mm
        work(shop, "trays", 4, {"clearance": (0.07,)})
        next_step(shop, "chest-corners")


def shown(db: Path, command: list[str], width: int, more: dict[str, str]) -> str:
    """Return what a command prints when its output is piped."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("CALIB_", "LC_"))}
    for name in ("NO_COLOR", "PYTHONIOENCODING", "LANG"):
        kept.pop(name, None)
    environment = {**kept, "COLUMNS": str(width), "TERM": "xterm", "PYTHONUTF8": "1", **more}
    if "PYTHONIOENCODING" in more:
        environment.pop("PYTHONUTF8")
    done = subprocess.run(
        [sys.executable, "-m", "calib.cli.main", *command, "--db", str(db)],
        env=environment, stdin=subprocess.DEVNULL, capture_output=True, encoding="utf-8", check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def db(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the database behind the goldens."""
    path = tmp_path_factory.mktemp("golden") / "shop.db"
    make_shop(path)
    return path


@pytest.mark.parametrize("how", SHOWN)
@pytest.mark.parametrize("name", COMMANDS)
def test_the_output_is_the_one_that_was_read_through(db: Path, name: str, how: str) -> None:
    """Another output: `python tests/test_goldens.py --write`, and read the difference."""
    width, more = SHOWN[how]
    text = shown(db, COMMANDS[name], width, more)
    assert text == (GOLDEN / f"{name}_{how}.txt").read_text(encoding="utf-8")
    assert max(map(len, text.splitlines())) <= width
    assert "\x1b" not in text


@pytest.mark.parametrize("more", [{"NO_COLOR": "1"}, {"CLICOLOR_FORCE": "1"}, {"FORCE_COLOR": "1"}])
def test_no_colour_is_ever_used_so_none_can_be_missed(db: Path, more: dict[str, str]) -> None:
    for name in ("next", "history"):
        assert shown(db, COMMANDS[name], 80, more) == (GOLDEN / f"{name}_80.txt").read_text("utf-8")


def test_a_locale_that_knows_only_ascii_is_given_ascii(db: Path) -> None:
    more = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0"}
    text = shown(db, COMMANDS["next"], 40, more)
    assert text == (GOLDEN / "next_40_ascii.txt").read_text(encoding="utf-8")


def test_every_sign_that_the_program_prints_has_an_ascii_spelling() -> None:
    """Letters with an accent lose it; every other sign must be spelled, or it would be gone."""
    signs = set()
    for path in (ROOT / "calib").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                signs |= {sign for sign in node.value if ord(sign) > 127 and not sign.isspace()}
    assert {"±", "°", "━", "▁"} <= signs
    assert not [sign for sign in sorted(signs) if not to_ascii(sign).strip()]


def write() -> None:
    """Write every golden anew."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "shop.db"
        make_shop(path)
        for name, command in COMMANDS.items():
            for how, (width, more) in SHOWN.items():
                (GOLDEN / f"{name}_{how}.txt").write_text(shown(path, command, width, more), encoding="utf-8")


if __name__ == "__main__" and sys.argv[1:] == ["--write"]:
    write()

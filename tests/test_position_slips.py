"""Positions that look like a slip of the fingers: asked about, kept as typed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shopkit import CORNERS, ticking
from typer.testing import CliRunner

from calib.cli.program import app
from calib.workflow import setups
from calib.workflow.shopfloor import Shop, open_shop

Run = Callable[..., Any]


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(tmp_path / "shop.db", now=ticking()) as found:
        anywhere = tuple(replace(a, low_mm=-math.inf, high_mm=math.inf) for a in CORNERS.adjusters)
        setups.add(found, replace(CORNERS, adjusters=anywhere))
        yield found


@pytest.fixture
def run(shop: Shop) -> Run:
    """Return a runner, after one cut with the key at 6.00 mm."""

    def _run(*words: str) -> Any:
        return CliRunner().invoke(app, [*words, "--db", str(shop.path)])

    assert _run("cut", "key=6", "height=8.1", "clearance=0.2", "proud=0.1").exit_code == 0
    return _run


SLIPS = [
    ("key=61.4", "Was 6.14 mm meant (the decimal point)?"),
    ("key=614", "Was 6.14 mm meant (the decimal point)?"),
    ("key=0.614", "Was 6.14 mm meant (the decimal point)?"),
    ("key=0.242", "Was it in inches?"),
]


@pytest.mark.parametrize(("word", "question"), SLIPS)
@pytest.mark.parametrize("verb", ["cut", "moved"])
def test_a_position_that_looks_like_a_slip_is_asked_about_and_kept(run, verb, word, question) -> None:
    said = run(verb, word, *(["clearance=0.2"] if verb == "cut" else []))
    assert said.exit_code == 0
    assert question in said.stderr
    assert word.partition("=")[2].rstrip("0") in said.stdout.replace("614.00", "614")


@pytest.mark.parametrize("word", ["key=6.6", "key=4", "key=12", "height=20"])
def test_a_move_that_no_slip_explains_is_not_asked_about(run, word) -> None:
    assert run("moved", word).stderr == ""


@pytest.mark.parametrize("words", [("moved", "key=1e9"), ("moved", "key", "by", "20000", "toward")])
def test_no_adjuster_stands_kilometres_away(run, words) -> None:
    said = run(*words)
    assert (said.exit_code, said.stderr.count("\n")) == (1, 1)
    assert "is not a position" in said.stderr


def test_no_reading_is_longer_than_a_workshop(run) -> None:
    said = run("cut", "clearance=1e6")
    assert (said.exit_code, said.stderr.count("\n")) == (1, 1)
    assert "is not a reading" in said.stderr


@pytest.mark.parametrize("words", [("key", "6.2"), ("chest-corners", "key", "6.2")])
def test_a_move_without_its_sign_is_told_how_to_write_it(run, words) -> None:
    said = run("moved", *words)
    assert (said.exit_code, said.stderr.count("\n")) == (2, 1)
    assert "calib moved SETUP key=6.00" in said.stderr


def test_more_good_pieces_than_were_left_are_logged_with_a_remark(run, shop) -> None:
    left = setups.get(shop, "chest-corners").pieces_left
    said = run("work", "--pieces", str(left + 3))
    assert said.exit_code == 0
    assert said.stderr.startswith(f"{left + 3} is more than the {left} pieces that were left.")
    assert run("work", "--pieces", "2").stderr == ""

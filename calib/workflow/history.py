"""History: what was set, cut and advised."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.errors import CalibError
from calib.shop import Cut, Setup
from calib.store import advice as advice_rows
from calib.store import cuts as cut_rows
from calib.store import events, nouns
from calib.store import mountings as mounting_rows
from calib.store import setups as setup_rows
from calib.store.database import snapshot
from calib.workflow.again import find
from calib.workflow.bench import Bench, Placed
from calib.workflow.records import Moved
from calib.workflow.setups import bench_of, resolve
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class StoredAdvice:
    """Advice as it was given.

    Parameters
    ----------
    published : mapping
        The form that was printed (``calib.advice/1``).
    after_cut : int or None
        Number of the last cut it used.
    """

    when: str
    model_version: str
    published: Mapping[str, Any]
    after_cut: int | None
    mounting: int | None


@dataclass(frozen=True)
class MountingHistory:
    """One mounting with what happened in it, in order; number 0 = before any mounting was named."""

    number: int
    when: str
    cutter: str | None
    stock: str | None
    note: str | None
    cuts: tuple[Cut, ...]
    moves: tuple[Moved, ...]
    advice: tuple[StoredAdvice, ...]


@dataclass(frozen=True)
class History:
    """A setup's whole history, oldest mounting first."""

    setup: Setup
    versions: int
    mountings: tuple[MountingHistory, ...]


def history(shop: Shop, setup_name: str) -> History:
    """Return what was set, cut, moved and advised on a setup."""
    connection = shop.connection
    with snapshot(connection):
        bench = bench_of(connection, setup_name)
        mountings = mounting_rows.of_setup(connection, bench.setup_id)
        advice = _advice(connection, bench, {int(row["id"]): int(row["number"]) for row in mountings})
        parts = [_mounting(connection, bench, row, advice) for row in mountings]
        before = _before_any(bench, advice)
        versions = setup_rows.count_versions(connection, bench.setup_id)
    return History(bench.setup, versions, (*before, *parts))


def log_of(shop: Shop, setup_name: str) -> tuple[Setup, list[Cut]]:
    """Return a setup and its cuts as the model takes them (what `next`, plots and export start from).

    Rows with no pieces and the number 0 tell of moves, metres and mountings that no cut shows.
    """
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
    return bench.setup, bench.log


def last_number(shop: Shop) -> int:
    """Return the number on the last piece of the setup that was used last; raise `CalibError` for none."""
    name = resolve(shop)
    with snapshot(shop.connection):
        own = [item.cut.number for item in bench_of(shop.connection, name).own if item.cut is not None]
    if not own:
        raise CalibError(f"{name}: nothing was cut yet. Log a cut with: calib cut {name}")
    return own[-1]


def find_cut(shop: Shop, number: int) -> tuple[Setup, Cut]:
    """Return one cut by the number on the piece, with its setup."""
    with snapshot(shop.connection):
        row, bench = find(shop.connection, number)
    return bench.setup, bench.cut_of(int(row["root"]))


def _mounting(
    connection: sqlite3.Connection, bench: Bench, row: sqlite3.Row, advice: list[StoredAdvice]
) -> MountingHistory:
    """Return one mounting with its cuts, moves and advice."""
    placed = [item for item in bench.placed if item.mounting is not None and item.mounting["id"] == row["id"]]
    cutter = nouns.by_root(connection, "cutters", row["cutter_id"])
    return MountingHistory(
        number=row["number"],
        when=events.when(connection, row["event_id"]),
        cutter=None if cutter is None else cutter["name"],
        stock=row["stock"],
        note=row["note"],
        cuts=_cuts(placed),
        moves=tuple(item.move for item in placed if item.move is not None),
        advice=tuple(given for given in advice if given.mounting == row["number"]),
    )


def _before_any(bench: Bench, advice: list[StoredAdvice]) -> tuple[MountingHistory, ...]:
    """Return what was said before the first mounting: moves and advice, but no cut; often nothing."""
    moves = tuple(item.move for item in bench.placed if item.mounting is None and item.move is not None)
    given = tuple(one for one in advice if one.mounting is None)
    if not moves and not given:
        return ()
    return (MountingHistory(0, "", None, None, None, (), moves, given),)


def _cuts(placed: list[Placed]) -> tuple[Cut, ...]:
    return tuple(item.cut for item in placed if item.cut is not None and item.row is not None)


def _advice(connection: sqlite3.Connection, bench: Bench, numbers: Mapping[int, int]) -> list[StoredAdvice]:
    """Return the advice on a setup, undone mountings left out; ``numbers`` are those of the others by id."""
    used = advice_rows.cuts_by_advice(connection, bench.setup_id)
    cut_numbers = cut_rows.numbers(connection, bench.setup_id)
    return [
        StoredAdvice(
            when=row["at"],
            model_version=row["model_version"],
            published=json.loads(row["published"]),
            after_cut=cut_numbers[used[row["id"]][-1]] if used.get(row["id"]) else None,
            mounting=numbers.get(row["mounting_id"]),
        )
        for row in advice_rows.of_setup(connection, bench.setup_id)
        if row["mounting_id"] is None or row["mounting_id"] in numbers
    ]

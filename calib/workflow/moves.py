"""Moves: who moved what, from where, to where."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping, Sequence

from calib.errors import CalibError
from calib.shop import Setup
from calib.store import events
from calib.store import moves as rows
from calib.store.database import snapshot
from calib.workflow.bench import Bench
from calib.workflow.entries import check_name, check_settings, position_questions
from calib.workflow.records import Moved, MoveKind
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

__all__ = ["MoveKind", "Moved", "moved_as_advised", "moved_by", "moved_to", "positions", "questions"]


def moved_as_advised(shop: Shop, setup_name: str) -> list[Moved]:
    """Log that the last advice's moves were made; `CalibError` when there is nothing to follow."""
    with shop.writing() as connection:
        bench = bench_of(connection, setup_name)
        if bench.pending is None:
            raise CalibError(
                f"{setup_name}: no advised move is open. Say where it stands now, as in: "
                f"calib moved {setup_name} {bench.setup.adjusters[0].name}=..."
            )
        kind: MoveKind = "mounting" if bench.pending.at_mounting else "advised"
        return _log(shop, connection, bench, bench.pending.settings_mm, kind, {})


def moved_to(
    shop: Shop,
    setup_name: str,
    settings_mm: Mapping[str, float],
    *,
    texts: Mapping[str, str] | None = None,
) -> list[Moved]:
    """Log where the scales stand now; the same place again is a re-set, and that counts as a move too."""
    with shop.writing() as connection:
        bench = bench_of(connection, setup_name)
        if not settings_mm:
            raise CalibError(f"{setup_name}: no position was given. Name an adjuster and where it stands.")
        check_settings(bench.setup, settings_mm)
        return _log(shop, connection, bench, settings_mm, "to", texts or {})


def moved_by(
    shop: Shop, setup_name: str, adjuster: str, change_mm: float, *, text: str | None = None
) -> list[Moved]:
    """Log a move by an amount, in the direction of the scale; without a scale, positions count from 0."""
    with shop.writing() as connection:
        bench = bench_of(connection, setup_name)
        check_name(setup_name, "adjuster", adjuster, [a.name for a in bench.setup.adjusters])
        if not math.isfinite(change_mm):
            raise CalibError(f"{setup_name}: {adjuster} by {change_mm} is not a move. Give mm or inches.")
        start = bench.positions_mm.get(adjuster)
        if start is None:
            raise CalibError(
                f"{setup_name}: it is not known where the {adjuster} stood. Say where it stands now, as in: "
                f"calib moved {setup_name} {adjuster}=..."
            )
        target = {adjuster: start + change_mm}
        check_settings(bench.setup, target)
        texts = {} if text is None else {adjuster: text}
        return _log(shop, connection, bench, target, "by", texts)


def questions(setup: Setup, made: Sequence[Moved]) -> tuple[str, ...]:
    """Return a question for every position that was told and looks like a slip of the fingers."""
    told = [move for move in made if move.kind == "to" and setup.adjuster(move.adjuster).has_scale]
    before = {move.adjuster: move.from_mm for move in told if move.from_mm is not None}
    return position_questions({move.adjuster: move.to_mm for move in told}, before)


def positions(shop: Shop, setup_name: str) -> dict[str, float]:
    """Return where every scale of a setup stands as far as is known, mm."""
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
    return {a.name: bench.positions_mm[a.name] for a in bench.setup.adjusters if a.name in bench.positions_mm}


def _log(
    shop: Shop,
    connection: sqlite3.Connection,
    bench: Bench,
    target_mm: Mapping[str, float],
    kind: MoveKind,
    texts: Mapping[str, str],
) -> list[Moved]:
    """Write one event with a move an adjuster."""
    name = bench.setup.name
    words = f"the move of the {' and '.join(target_mm)} on {name}"
    event_id = events.record(connection, shop.now(), "move", words, bench.setup_id)
    made = []
    for adjuster, to_mm in target_mm.items():
        start = bench.positions_mm.get(adjuster)
        change = to_mm - start if kind == "by" and start is not None else None
        rows.add(
            connection, event_id, bench.setup_id, adjuster, kind, start, to_mm,
            change_mm=change, text=texts.get(adjuster),
        )  # fmt: skip
        made.append(Moved(name, adjuster, start, to_mm, kind))
    return made

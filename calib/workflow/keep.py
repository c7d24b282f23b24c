"""Keeping: a copy that is whole, and a check that stored advice can be computed again."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from calib.decision.advice import Advice
from calib.errors import CalibError
from calib.store import advice as advice_rows
from calib.store import cuts as cut_rows
from calib.store import setups as setup_rows
from calib.store.database import explained, snapshot
from calib.store.schema import copy_to, faults, is_shop
from calib.workflow.bench import stand
from calib.workflow.next import believing, model, unpacked
from calib.workflow.shopfloor import Shop
from calib.workflow.told import told

#: How far a recomputed number may lie from the stored one, absolute and relative.
TOLERANCE = 1e-6


@dataclass(frozen=True)
class Verified:
    """What `verify` found.

    Parameters
    ----------
    problems : tuple of str
        One line each; empty when all is well.
    advice_checked, advice_other_version : int
        Recomputed to 1e-6, and left alone because another model version gave them.
    """

    problems: tuple[str, ...]
    advice_checked: int
    advice_other_version: int
    cuts: int


def backup(shop: Shop, path: Path) -> Path:
    """Write a whole copy of the database to a file (also while another program writes).

    An older backup of that name is replaced, once the new one is whole; any other file is refused.
    """
    path = Path(path).expanduser()
    if path.exists() and (path.samefile(shop.path) or not is_shop(path)):
        raise CalibError(f"{path}: this is not an older backup, and is left alone. Name another file.")
    if not path.parent.is_dir():
        raise CalibError(f"{path.parent}: there is no such folder. Make it, or name another file.")
    part = path.with_name(f"{path.name}.part")
    with explained(path):
        try:
            part.unlink(missing_ok=True)
            copy_to(shop.path, part)
            part.replace(path)
        except OSError as error:
            raise CalibError(f"{path}: cannot be written ({error.strerror}). Name another file.") from None
    return path


def verify(shop: Shop) -> Verified:
    """Check the file, its references and triggers, and recompute the advice of this model version."""
    connection = shop.connection
    advise, version = model()
    with snapshot(connection):
        problems = faults(connection)
        checked = other = 0
        for setup_id in {int(row["setup_id"]) for row in setup_rows.every(connection)}:
            for row in advice_rows.of_setup(connection, setup_id):
                if row["model_version"] != version:
                    other += 1
                    continue
                checked += 1
                problems += _differences(connection, row, advise)
        cuts = cut_rows.count_live(connection)
    return Verified(tuple(problems), checked, other, cuts)


def _differences(
    connection: sqlite3.Connection, row: sqlite3.Row, advise: Callable[..., Advice]
) -> list[str]:
    """Compute one stored advice again on the log as it was then, and say what differs."""
    where = f"advice {row['id']} of {row['at']}"
    version = setup_rows.version(connection, row["setup_id"], row["seen_event_id"])
    if version is None or version["id"] != row["setup_version_id"]:
        return [f"{where}: the setup as it was then is not there."]
    bench = stand(connection, version, row["seen_event_id"])
    asked = unpacked(row["overrides"])
    seen = int(row["seen_event_id"])
    known = told(connection, bench, believing(bench.setup, asked.get("knowledge")), seen)
    again = advise(known.setup, known.cuts, **asked, **known.known)
    return [
        f"{where}: {what} was {old:.9g} and is {new:.9g} now."
        for what, old, new in _pairs(connection, row, again)
        if not abs(new - old) <= TOLERANCE * max(1.0, abs(old))
    ] + (
        [] if again.step == row["step"] else [f"{where}: the step was {row['step']} and is {again.step} now."]
    )


def _pairs(
    connection: sqlite3.Connection, row: sqlite3.Row, again: Advice
) -> Iterator[tuple[str, float, float]]:
    """Give every stored number with the one computed again; a part that is missing gives NaN."""
    missing = float("nan")
    top = ("probability_next", "probability_all", "cut_now_min", "best_min", "tests_expected", "pieces_left")
    for name in top:
        yield name, row[name], getattr(again, name)
    fresh = {reading.name: reading for reading in again.readings}
    for name, old in advice_rows.readings_of(connection, row["id"]).items():
        new = fresh.get(name)
        for column in ("expected_mm", "u_mm", "probability_next", "probability_all"):
            yield f"{name} {column}", old[column], missing if new is None else getattr(new, column)
        low, high = (missing, missing) if new is None else new.interval90_mm
        yield f"{name} interval", old["interval_low_mm"], low
        yield f"{name} interval", old["interval_high_mm"], high
    moves = {move.adjuster: move.to_mm for move in again.moves}
    stored = advice_rows.moves_by_advice(connection, row["setup_id"]).get(row["id"], {})
    for adjuster in {*moves, *stored}:
        yield f"{adjuster} to", stored.get(adjuster, missing), moves.get(adjuster, missing)

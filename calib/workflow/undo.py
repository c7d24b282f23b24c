"""Undo: the last step is set aside; nothing is deleted."""

from __future__ import annotations

import sqlite3
from collections import Counter
from dataclasses import dataclass

from calib.errors import CalibError
from calib.store import boxes, events, nouns
from calib.store import setups as setup_rows
from calib.workflow.setups import version_of
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class Undone:
    """What was undone, in words ("cut 7 on chest-corners"); ``again`` when it was an undo that was undone."""

    what: str
    setup: str | None
    again: bool = False


def undo(shop: Shop, setup_name: str | None = None) -> Undone:
    """Undo the last thing logged (on one setup, when named); a second undo goes one further back."""
    with shop.writing() as connection:
        setup_id = _setup_id(connection, setup_name)
        last = events.last_live(connection, setup_id)
        if last is None:
            where = f" on {setup_name}" if setup_name else ""
            raise CalibError(f"nothing has been logged{where} that could be undone.")
        name = _setup_name(connection, last["setup_id"])
        _set_aside(shop, connection, int(last["id"]), last["words"], last["setup_id"])
        _still_whole(connection, f"{last['words']} cannot be undone")
    return Undone(str(last["words"]), name)


def redo(shop: Shop, setup_name: str | None = None) -> Undone:
    """Undo the last undo."""
    with shop.writing() as connection:
        last = _last_undo(connection, setup_name)
        if last is None:
            raise CalibError("nothing has been undone that could be put back.")
        _set_aside(shop, connection, int(last["event_id"]), last["words"], last["setup_id"])
        _still_whole(connection, f"{last['words']} cannot be put back")
        name = _setup_name(connection, last["setup_id"])
    return Undone(str(last["words"]), name, again=True)


def _last_undo(connection: sqlite3.Connection, setup_name: str | None) -> sqlite3.Row | None:
    """Return the last undo; of a setup that was itself undone, by the name that it had."""
    if setup_name is None:
        return events.last_undo(connection)
    known = {row["name"]: row["setup_id"] for row in setup_rows.every(connection)}
    if setup_name not in known:
        version_of(connection, setup_name)  # says what name was meant
    return events.last_undo(connection, known.get(setup_name))


def _set_aside(
    shop: Shop, connection: sqlite3.Connection, target: int, words: str, setup_id: int | None
) -> None:
    event_id = events.record(connection, shop.now(), "undo", words, setup_id, undoable=False)
    events.set_aside(connection, event_id, target)


def _setup_id(connection: sqlite3.Connection, name: str | None) -> int | None:
    return None if name is None else int(version_of(connection, name)["setup_id"])


def _setup_name(connection: sqlite3.Connection, setup_id: int | None) -> str | None:
    row = None if setup_id is None else setup_rows.version(connection, setup_id)
    return None if row is None else str(row["name"])


def _still_whole(connection: sqlite3.Connection, refusal: str) -> None:
    """Raise `CalibError` (and so roll back) when a name would be there twice, or something used be gone."""
    found = {"setups": [row["name"] for row in setup_rows.current(connection)]}
    found["boxes"] = [row["name"] for row in boxes.current(connection)]
    for table in nouns.TABLES:
        found[table] = [row["name"] for row in nouns.current(connection, table)]
    for noun, names in found.items():
        twice = [name for name, count in Counter(names).items() if count > 1]
        if twice:
            raise CalibError(f"{refusal}: there would be two {noun} named {twice[0]}. Rename one first.")
    gone = events.first_gap(connection)
    if gone is not None:
        raise CalibError(
            f"{refusal}: {gone['words']} rests on something else that was undone. Put that back first."
        )

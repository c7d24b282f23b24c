"""Good pieces against the boxes that they are for: what is cut, what is left."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import NamedTuple

from calib.errors import CalibError, unknown
from calib.store import boxes as rows
from calib.store import setups as setup_rows

#: What `--box` says for pieces that are for no box.
NO_BOX = "none"


class PartCut(NamedTuple):
    """One part of a box: its setup (None: it has none), the pieces it takes, how many are cut."""

    part: str
    setup: str | None
    pieces: int
    cut: int

    @property
    def left(self) -> int:
        """Pieces still to cut, not below 0."""
        return max(self.pieces - self.cut, 0)


@dataclass(frozen=True)
class BoxCount:
    """What good pieces did for a box.

    Parameters
    ----------
    box : str or None
        None: they were counted for none, and `remark` says why.
    left : int
        Pieces of that setup that the box still takes.
    remark : str or None
        What the maker should know.
    """

    box: str | None
    left: int = 0
    remark: str | None = None


def parts_cut(connection: sqlite3.Connection, box: sqlite3.Row) -> tuple[PartCut, ...]:
    """Return the parts of a box that have a setup, with what is cut of each."""
    cut = rows.pieces_cut(connection, int(box["root"]))
    found = []
    for part in rows.parts(connection, int(box["id"])):
        version = setup_rows.version(connection, int(part["setup_id"]))
        name = None if version is None else str(version["name"])
        found.append(PartCut(part["part"], name, int(part["pieces"]), cut.get(int(part["setup_id"]), 0)))
    return tuple(found)


def box_for(
    connection: sqlite3.Connection, setup_id: int, setup_name: str, named: str | None
) -> tuple[sqlite3.Row | None, str | None]:
    """Return the box that good pieces are for, and a remark when several could be meant.

    Named: that one. Else the one open box that still takes pieces of this setup, when there is only one.
    """
    if named == NO_BOX:
        return None, None
    if named is not None:
        return named_box(connection, setup_id, setup_name, named), None
    found = [box for box in _open(connection, setup_id) if _left(connection, box, setup_id) > 0]
    if len(found) > 1:
        names = ", ".join(box["name"] for box in found)
        return None, f"Not counted for a box: {names} all use {setup_name}. Undo, and say which with --box."
    return (found[0] if found else None), None


def count(
    connection: sqlite3.Connection, event_id: int, box: sqlite3.Row, setup_id: int, cut_root: int
) -> BoxCount:
    """Write the good pieces of a cut down for a box."""
    before = _left(connection, box, setup_id)
    rows.add_work(connection, event_id, int(box["root"]), cut_root)
    takes = _pieces(connection, box, setup_id)
    cut = rows.pieces_cut(connection, int(box["root"])).get(setup_id, 0)
    over = cut - takes
    remark = None
    if over > 0:
        remark = f"{box['name']} took only {before} more; {over} too many are counted. Not so? calib undo"
    return BoxCount(str(box["name"]), max(-over, 0), remark)


def named_box(connection: sqlite3.Connection, setup_id: int, setup_name: str, name: str) -> sqlite3.Row:
    """Return the box of a name; `CalibError` when it is closed or does not use the setup."""
    box = rows.named(connection, name)
    if box is None:
        raise unknown("box", name, [row["name"] for row in rows.current(connection)])
    if not _pieces(connection, box, setup_id):
        raise CalibError(
            f"box {name} does not use setup {setup_name}; nothing was stored. Leave --box out, or "
            "plan it anew with that setup."
        )
    if box["closed"]:
        raise CalibError(f"box {name} is closed; nothing was stored. Leave --box out, or plan it anew.")
    return box


def _open(connection: sqlite3.Connection, setup_id: int) -> list[sqlite3.Row]:
    return [
        box
        for box in rows.current(connection)
        if not box["closed"] and _pieces(connection, box, setup_id) > 0
    ]


def _pieces(connection: sqlite3.Connection, box: sqlite3.Row, setup_id: int) -> int:
    return sum(
        int(part["pieces"])
        for part in rows.parts(connection, int(box["id"]))
        if int(part["setup_id"]) == setup_id
    )


def _left(connection: sqlite3.Connection, box: sqlite3.Row, setup_id: int) -> int:
    cut = rows.pieces_cut(connection, int(box["root"])).get(setup_id, 0)
    return max(_pieces(connection, box, setup_id) - cut, 0)

"""Boxes that are kept: planned under a name, with the setups they use; shown with what is cut and left."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace
from functools import cached_property

from calib.box.numbers import BoxNumbers
from calib.box.plan import BoxPlan
from calib.decision.cautions import cautions_for_kinds
from calib.errors import CalibError, unknown
from calib.store import boxes as rows
from calib.store import events
from calib.store.box_json import numbers_from_json, to_json
from calib.store.database import snapshot
from calib.workflow.again import find
from calib.workflow.boxes import BoxQuestion, PlannedBox, kinds_of, plan, remade
from calib.workflow.boxwork import NO_BOX, BoxCount, PartCut, count, named_box, parts_cut
from calib.workflow.entries import plain_name
from calib.workflow.setups import version_of
from calib.workflow.shopfloor import Shop

#: Board ends and boards of one box.
_PIECES = {"corners": 8, "corners of A": 4, "corners of B": 4, "grooves": 4, "inlays": 1}
#: What a part's setup is called in the question.
_ASKED_AS = {
    "corners": "corners",
    "corners of A": "corners",
    "corners of B": "corners_b",
    "grooves": "groove",
    "inlays": "inlay",
}


@dataclass(frozen=True)
class KeptBox:
    """A box as it was planned, and what is cut of it.

    Parameters
    ----------
    numbers : BoxNumbers
        From which the plan is made again just as it was.
    closes : float
        Its closing chance as it was planned.
    parts : tuple of PartCut
        Also those without a setup, of which nothing can be counted.
    closed : bool
        Put away: nothing more is counted for it.
    planned : str
        When, by the shop's clock.
    """

    name: str
    question: BoxQuestion
    numbers: BoxNumbers
    closes: float
    known: tuple[str, ...]
    assumptions: tuple[str, ...]
    parts: tuple[PartCut, ...]
    closed: bool
    planned: str
    cautions: tuple[str, ...]

    @cached_property
    def plan(self) -> BoxPlan:
        """The plan, made again from its numbers."""
        return remade(self.numbers)

    @property
    def left(self) -> int:
        """Pieces still to cut on setups that are named."""
        return sum(part.left for part in self.parts if part.setup is not None)


def keep(shop: Shop, name: str, asked: BoxQuestion) -> PlannedBox:
    """Plan a box and keep it under a name; one that is there already is planned anew, its count stays."""
    name = _name(name)
    with shop.writing() as connection:
        found = plan(shop, asked)
        old = rows.named(connection, name)
        words = f"box {name}" if old is None else f"the new plan of box {name}"
        event_id = events.record(connection, shop.now(), "box", words)
        box_id = rows.add(connection, event_id, _values(name, found), old)
        for part, setup in _parts(asked):
            if setup is not None:
                version = int(version_of(connection, setup)["id"])
                rows.add_part(connection, event_id, box_id, part, version, _PIECES[part] * asked.copies)
    return found


def plan_again(shop: Shop, name: str) -> PlannedBox:
    """Plan a kept box with what the log knows now, and keep that."""
    return keep(shop, name, question_of(shop, name))


def question_of(shop: Shop, name: str) -> BoxQuestion:
    """Return what the maker said of a kept box."""
    with snapshot(shop.connection):
        return _question(shop.connection, _row(shop.connection, name))


def is_kept(shop: Shop, name: str) -> bool:
    """Say whether there is a box of this name."""
    return rows.named(shop.connection, name) is not None


def all(shop: Shop) -> list[KeptBox]:
    """Return every box, by name."""
    with snapshot(shop.connection):
        return [_kept(shop.connection, row) for row in rows.current(shop.connection)]


def get(shop: Shop, name: str) -> KeptBox:
    """Return one box; raise `CalibError` with a near name when there is none."""
    with snapshot(shop.connection):
        return _kept(shop.connection, _row(shop.connection, name))


def count_cut(shop: Shop, name: str, number: int) -> BoxCount:
    """Count good pieces that were logged already, by the number on the last of them, for a box."""
    with shop.writing() as connection:
        _row(connection, name)
        row, bench = find(connection, number)
        if row["kind"] != "good":
            raise CalibError(f"cut {number} was a test cut; only good pieces count for a box.")
        counted = rows.box_of(connection, int(row["root"]))
        if counted is not None:
            raise CalibError(f"cut {number} counts for box {counted['name']} already.")
        box = named_box(connection, bench.setup_id, bench.setup.name, name)
        words = f"the counting of number {number} for box {name}"
        event_id = events.record(connection, shop.now(), "box", words)
        return count(connection, event_id, box, bench.setup_id, int(row["root"]))


def close(shop: Shop, name: str) -> KeptBox:
    """Put a box away: it is kept, but no more pieces are counted for it."""
    with shop.writing() as connection:
        old = _row(connection, name)
        if old["closed"]:
            raise CalibError(f"box {name} is closed already.")
        event_id = events.record(connection, shop.now(), "box", f"the closing of box {name}")
        values = {key: old[key] for key in ("name", "copies", "question", "numbers", "said", "closes")}
        box_id = rows.add(connection, event_id, {**values, "closed": 1}, old)
        for part in rows.parts(connection, int(old["id"])):
            version, pieces = int(part["setup_version_id"]), int(part["pieces"])
            rows.add_part(connection, event_id, box_id, part["part"], version, pieces)
        return _kept(connection, _row(connection, name))


def _name(name: str) -> str:
    name = plain_name("box", name)
    if name == NO_BOX:
        raise CalibError(f'box name "{name}" will not do: --box {NO_BOX} means no box. Choose another.')
    return name


def _parts(asked: BoxQuestion) -> list[tuple[str, str | None]]:
    """Return the parts of a box with the setup that cuts each."""
    if asked.corners_b is None or asked.corners_b == asked.corners:
        corners = [("corners", asked.corners)]
    else:
        corners = [("corners of A", asked.corners), ("corners of B", asked.corners_b)]
    inlay = [] if asked.inlay is None else [("inlays", asked.inlay)]
    return [*corners, ("grooves", asked.groove), *inlay]


def _values(name: str, found: PlannedBox) -> dict[str, object]:
    return {
        "name": name,
        "copies": found.question.copies,
        "closed": 0,
        "question": to_json(found.question),
        "numbers": to_json(found.numbers),
        "said": to_json({"known": found.known, "assumptions": found.assumptions}),
        "closes": found.plan.chance.closes,
    }


def _row(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    found = rows.named(connection, name)
    if found is None:
        raise unknown("box", name, [row["name"] for row in rows.current(connection)])
    return found


def _question(connection: sqlite3.Connection, row: sqlite3.Row) -> BoxQuestion:
    """Return what the maker said, with the setups by the names that they have now."""
    data = json.loads(row["question"])
    for part in parts_cut(connection, row):
        data[_ASKED_AS[part.part]] = part.setup or data[_ASKED_AS[part.part]]
    for key in ("humidity", "panel_size"):
        data[key] = None if data[key] is None else tuple(data[key])
    return BoxQuestion(**data)


def _kept(connection: sqlite3.Connection, row: sqlite3.Row) -> KeptBox:
    asked = _question(connection, row)
    cut = {part.part: part for part in parts_cut(connection, row)}
    parts = tuple(
        cut.get(part, PartCut(part, None, _PIECES[part] * asked.copies, 0)) for part, _ in _parts(asked)
    )
    said = json.loads(row["said"])
    return KeptBox(
        name=str(row["name"]),
        question=replace(asked, copies=int(row["copies"])),
        numbers=numbers_from_json(row["numbers"]),
        closes=float(row["closes"]),
        known=tuple(said["known"]),
        assumptions=tuple(said["assumptions"]),
        parts=parts,
        closed=bool(row["closed"]),
        planned=events.when(connection, int(row["event_id"])),
        cautions=cautions_for_kinds(kinds_of(asked)),
    )

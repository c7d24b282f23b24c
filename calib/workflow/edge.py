"""The cutting edge of a setup: which cutter and sharpening, and the metres it has cut elsewhere.

A sharpening is shared by all setups that use its cutter. What the others cut between two cuts of
this setup, and what a later sharpening had cut before its first cut here, is told to the model as
a row without pieces (see `calib.workflow.bench`), each metre at the abrasiveness of its stock. All metres
count alike, at whatever depth.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from calib.geometry.edge import abrasiveness_of
from calib.shop import Cutter, Setup
from calib.store import abrasiveness as stock_rows
from calib.store import nouns, sharpenings
from calib.store.events import NOW
from calib.store.setup_json import from_json


@dataclass(frozen=True)
class Edge:
    """The edge at every cut of a setup.

    Parameters
    ----------
    setup : Setup
        With the cutter that is in it; its metres are those before the first cut of this setup.
    sharpening_id, label_now :
        Of the present sharpening.
    labels : mapping of sharpening id to label
    metres_before : mapping of cut (first id) to m
        Cut by other setups since the cut before.
    metres_after : float, m
        The same after the last cut.
    """

    setup: Setup
    cutter_id: int
    sharpening_id: int
    label_now: str
    labels: Mapping[int, str]
    metres_before: Mapping[int, float]
    metres_after: float


def edge_of(
    connection: sqlite3.Connection,
    version: sqlite3.Row,
    mounting: sqlite3.Row | None,
    cuts: list[sqlite3.Row],
    upto: int,
) -> Edge:
    """Return the edge of a setup; ``mounting`` is the present one, ``cuts`` its live cuts in order."""
    cutter_id = cutter_in(version, mounting)
    present = sharpenings.of_cutter(connection, cutter_id, upto)[-1]
    abrasive = abrasive_stocks(connection, upto)
    used = list(dict.fromkeys([*(int(row["sharpening_id"]) for row in cuts), int(present["id"])]))
    starts = sharpenings.starts(connection, used)
    before: dict[int, float] = {}
    base, after = 0.0, 0.0
    for sharpening_id in used:
        rows = sharpenings.metres_cut(connection, sharpening_id, upto)
        own, rest = _between(rows, int(version["setup_id"]), starts[sharpening_id], abrasive)
        if sharpening_id == used[0]:
            base, rest = (own.pop(next(iter(own))), rest) if own else (rest, 0.0)
        before.update({root: metres for root, metres in own.items() if metres > 0.0})
        after = rest if sharpening_id == int(present["id"]) else after
    setup = _with_cutter(connection, version, cutter_id, base, present["measured_mm"], upto)
    setup = replace(setup, abrasive=MappingProxyType({**setup.abrasive, **abrasive}))
    labels = sharpenings.labels(connection, upto)
    return Edge(setup, cutter_id, int(present["id"]), str(present["label"]), labels, before, after)


def cutter_in(version: sqlite3.Row, mounting: sqlite3.Row | None) -> int:
    """Return the cutter that is in a setup: the one said last, with the mounting or with the setup."""
    if mounting is not None and mounting["event_id"] >= version["event_id"]:
        return int(mounting["cutter_id"])
    return int(version["cutter_id"])


def abrasive_stocks(connection: sqlite3.Connection, upto: int = NOW) -> dict[str, float]:
    """Return how fast each stock wears an edge: what was said of it, else what its species tells."""
    by_species = {name: abrasiveness_of(text) for name, text in stock_rows.species(connection, upto).items()}
    return {**by_species, **stock_rows.said(connection, upto)}


def _between(
    rows: list[sqlite3.Row], setup_id: int, start: float, abrasive: Mapping[str, float]
) -> tuple[dict[int, float], float]:
    """Return by own cut what others cut since the own one before (first: with the start), and after all."""
    own: dict[int, float] = {}
    since = start
    for row in rows:
        if row["setup_id"] == setup_id:
            own[int(row["root"])] = since
            since = 0.0
        else:
            since += float(row["metres"]) * abrasive.get(row["stock"] or "", 1.0)
    return own, since


def _with_cutter(
    connection: sqlite3.Connection,
    version: sqlite3.Row,
    cutter_id: int,
    base: float,
    measured_mm: float | None,
    upto: int,
) -> Setup:
    setup = from_json(version["content"])
    cutter = nouns.by_root(connection, "cutters", cutter_id, upto)
    if cutter is None:
        return setup
    return replace(setup, cutter=Cutter(cutter["name"], cutter["nominal_mm"], base, measured_mm))

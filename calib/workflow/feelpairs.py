"""Pairs of feel and measurement of the whole shop: a hand is the same hand on every setup."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from calib.shop import FeelPair, Setup
from calib.store import cuts as cut_rows
from calib.store import feelwords as rows
from calib.store import setups as setup_rows
from calib.store.events import NOW
from calib.store.setup_json import from_json
from calib.workflow.feelwords import Tongue


def with_pairs_of_others(
    connection: sqlite3.Connection, setup: Setup, setup_id: int, upto: int = NOW
) -> Setup:
    """Return a setup whose feel scale brings the pairs of other setups of its kind with it."""
    if not setup.feel.words:
        return setup
    pairs: list[FeelPair] = []
    for other in rows.setups_with_feels(connection, setup.joint.kind, upto):
        if other != setup_id:
            pairs += _pairs(connection, setup, other, upto)
    return replace(setup, feel=replace(setup.feel, pairs=tuple(pairs))) if pairs else setup


def _pairs(connection: sqlite3.Connection, setup: Setup, other: int, upto: int) -> list[FeelPair]:
    """Return the pairs of one other setup, when its words speak of the same reading."""
    from calib.regression.feelpairs import pairs_of  # numpy comes with it
    from calib.shop import Cut

    version = setup_rows.version(connection, other, upto)
    there = None if version is None else from_json(version["content"])
    if there is None or there.bands[0].name != setup.bands[0].name:
        return []
    tongue = Tongue(connection, setup.joint.kind, upto)
    measured = cut_rows.measurements_of(connection, other, upto)
    by = rows.felt_by(connection, other, upto)
    cuts = [
        Cut(
            number=0,
            kind="test",
            settings_mm={},
            readings={
                n: tuple(cut_rows.reading_of(row) for row in found) for n, found in measured[root].items()
            },
            feel=tongue(word),
            by=by.get(root),
        )
        for root, word in cut_rows.feels_of(connection, other, upto).items()
        if root in measured
    ]
    return list(pairs_of(there, cuts))

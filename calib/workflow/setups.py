"""Setups: versioned, never overwritten."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from typing import Any

from calib.errors import CalibError, unknown
from calib.setupform import default_words
from calib.shop import Cutter, Setup
from calib.store import events, nouns
from calib.store import setups as rows
from calib.store.database import snapshot
from calib.store.setup_json import to_json
from calib.workflow import cutters
from calib.workflow.bench import Bench, stand
from calib.workflow.entries import check_amounts, plain_name
from calib.workflow.feelwords import in_the_shops_words
from calib.workflow.shopfloor import Shop


def add(shop: Shop, setup: Setup) -> Setup:
    """Add a setup (its cutter too, when the shop does not have it yet)."""
    setup = replace(setup, name=plain_name("setup", setup.name))
    check(setup)
    first, kind = setup.bands[0].name, setup.joint.kind
    if setup.feel.words == default_words(kind, first):
        setup = in_the_shops_words(shop.connection, setup, 0)
    with shop.writing() as connection:
        refuse_taken(connection, setup.name)
        cutter_id = ensure_cutter(shop, setup.cutter)
        setup_id = rows.new_setup(connection, shop.now())
        event_id = events.record(connection, shop.now(), "setup", f"setup {setup.name}", setup_id)
        rows.add_version(connection, event_id, version_values(setup, setup_id, cutter_id))
        return bench_of(connection, setup.name).setup


def all(shop: Shop) -> list[Setup]:
    """Return the current version of every setup, by name."""
    with snapshot(shop.connection):
        return [stand(shop.connection, version).setup for version in rows.current(shop.connection)]


def get(shop: Shop, name: str) -> Setup:
    """Return the current version of a setup; raise `CalibError` with a near name when there is none."""
    with snapshot(shop.connection):
        return bench_of(shop.connection, name).setup


def change(shop: Shop, name: str, new: Setup) -> Setup:
    """Store a new version of a setup; the old one is kept, and cuts remember the version they were cut with.

    A different ``new.name`` renames it. Metres belong to the cutter and are not changed here.
    """
    new = replace(new, name=plain_name("setup", new.name))
    check(new)
    with shop.writing() as connection:
        old = bench_of(connection, name)
        if new == old.setup:
            return old.setup
        if new.name != name:
            refuse_taken(connection, new.name)
        same_metres = new.cutter.metres_since_sharp_m == old.setup.cutter.metres_since_sharp_m
        if not same_metres and new.cutter.name == old.setup.cutter.name:
            raise CalibError(
                f"{name}: metres belong to the sharpening. Start a new one with: "
                f"calib cutter sharpen {new.cutter.name} --metres {new.cutter.metres_since_sharp_m:g}"
            )
        _refuse_measured(new.cutter, old.setup.cutter)
        cutter_id = ensure_cutter(shop, new.cutter, was=old.setup.cutter)
        words = f"the change of setup {name}"
        event_id = events.record(connection, shop.now(), "setup", words, old.setup_id)
        values = version_values(new, old.setup_id, cutter_id)
        rows.add_version(connection, event_id, {**values, "replaces": old.version["id"]})
        return bench_of(connection, new.name).setup


def _refuse_measured(new: Cutter, old: Cutter) -> None:
    """A width that was measured belongs to the sharpening, as its metres do."""
    if new.name == old.name and new.measured_mm != old.measured_mm:
        width = "..." if new.measured_mm is None else f"{new.measured_mm:g}"
        raise CalibError(
            f"cutter {new.name}: a measured width belongs to its sharpening. "
            f"Start a new one with: calib cutter sharpen {new.name} --measured {width}"
        )


def versions(shop: Shop, name: str) -> int:
    """Return how many versions of a setup are kept."""
    return rows.count_versions(shop.connection, version_of(shop.connection, name)["setup_id"])


def resolve(shop: Shop, name: str | None = None) -> str:
    """Return the setup meant: the one named, else the last one used; `CalibError` when there is none."""
    if name is not None:
        return str(version_of(shop.connection, name)["name"])
    last = events.last_setup_used(shop.connection)
    version = None if last is None else rows.version(shop.connection, last)
    if version is None:
        raise CalibError("no setup has been used yet. Add one with: calib setup add")
    return str(version["name"])


def where_it_stands(shop: Shop, name: str) -> tuple[dict[str, float], dict[str, float]]:
    """Return where the adjusters of a setup stand as far as is known, and where open advice would put them.

    Returns
    -------
    (mapping of adjuster to mm, mapping of adjuster to mm)
    """
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, name)
    return dict(bench.positions_mm), {} if bench.pending is None else dict(bench.pending.settings_mm)


def check(setup: Setup) -> None:
    """Raise `CalibError` for a setup that nothing can be logged on."""
    if not setup.bands:
        raise CalibError(f"setup {setup.name} has no reading. Give it one, as in [readings.clearance].")
    if not setup.adjusters:
        raise CalibError(f"setup {setup.name} has no adjuster. Give it one, as in [adjusters.key].")
    for band in setup.bands:
        band.check()
    check_amounts(setup.name, 1, setup.metres_per_piece_m)
    check_amounts(setup.name, 1, setup.cutter.metres_since_sharp_m)
    if setup.pieces_left < 0:
        raise CalibError(f"setup {setup.name}: {setup.pieces_left} pieces left will not do. Give 0 or more.")


def version_of(connection: sqlite3.Connection, name: str) -> sqlite3.Row:
    """Return the current version's row; `CalibError` with a near name when there is none."""
    row = rows.named(connection, name)
    if row is None:
        raise unknown("setup", name, [other["name"] for other in rows.current(connection)])
    return row


def bench_of(connection: sqlite3.Connection, name: str) -> Bench:
    """Return a setup with its log, by its name."""
    return stand(connection, version_of(connection, name))


def refuse_taken(connection: sqlite3.Connection, name: str) -> None:
    """Raise `CalibError` when the shop has a setup of that name."""
    if rows.named(connection, name) is not None:
        raise CalibError(f'there is a setup "{name}" already. Choose another name, or change that one.')


def ensure_cutter(shop: Shop, cutter: Cutter, was: Cutter | None = None) -> int:
    """Return the id of a setup's cutter, added when the shop does not have it.

    A width that differs from the shop's is refused for a new setup; for a changed one (``was``)
    it is the cutter's width that changes.
    """
    found = nouns.named(shop.connection, "cutters", cutter.name)
    if found is None:
        metres, measured = cutter.metres_since_sharp_m, cutter.measured_mm
        cutters.add(shop, cutter.name, cutter.nominal_mm, metres=metres, measured_mm=measured)
        return int(cutters.row_of(shop.connection, cutter.name)["root"])
    if cutter.nominal_mm is not None and cutter.nominal_mm != found["nominal_mm"]:
        if found["nominal_mm"] is not None and (was is None or was.name != cutter.name):
            raise CalibError(
                f"cutter {cutter.name} is {found['nominal_mm']:.6g} mm wide in this shop, not "
                f"{cutter.nominal_mm:.6g} mm. Name another cutter, or change that one first."
            )
        cutters.change(shop, cutter.name, nominal_mm=cutter.nominal_mm)
    return int(found["root"])


def version_values(setup: Setup, setup_id: int, cutter_id: int) -> dict[str, Any]:
    """Return the columns of a version."""
    return {
        "setup_id": setup_id,
        "name": setup.name,
        "units": setup.units,
        "joint_kind": setup.joint.kind,
        "cutter_id": cutter_id,
        "pieces_left": int(setup.pieces_left),
        "metres_per_piece_m": float(setup.metres_per_piece_m),
        "content": to_json(setup),
    }

"""Corrections: what was mistyped about a cut, set right by a new row that names the one it replaces.

A reading is set right by measuring again with ``instead`` (`calib.workflow.again.measure_again`).
"""

from __future__ import annotations

from collections.abc import Mapping

from calib.errors import CalibError
from calib.store import cuts as rows
from calib.store import events
from calib.workflow.again import find
from calib.workflow.bench import stand
from calib.workflow.cutentry import LoggedCut
from calib.workflow.entries import check_amounts, check_settings, echoes
from calib.workflow.shopfloor import Shop


def correct(
    shop: Shop,
    number: int,
    *,
    settings_mm: Mapping[str, float] | None = None,
    stock: str | None = None,
    note: str | None = None,
    metres_m: float | None = None,
    pieces: int | None = None,
    texts: Mapping[str, str] | None = None,
) -> LoggedCut:
    """Set right what was logged of a cut; None leaves a thing as it was.

    A corrected position also sets right the cuts after it that were logged as not moved.
    """
    given = {"stock": stock, "note": note, "metres_m": metres_m, "pieces": pieces}
    changes = {name: value for name, value in given.items() if value is not None}
    settings, texts = settings_mm or {}, texts or {}
    if not changes and not settings:
        raise CalibError(
            f"cut {number}: nothing to correct. Give a position, as in key=6.14, or what else was wrong."
        )
    with shop.writing() as connection:
        old, bench = find(connection, number)
        check_settings(bench.setup, settings)
        check_amounts(f"cut {number}", 1 if pieces is None else pieces, metres_m)
        words = f"the correction of cut {number} on {bench.setup.name}"
        event_id = events.record(connection, shop.now(), "correction", words, bench.setup_id)
        chain = {"event_id": event_id, "root_id": old["root"], "replaces": old["id"]}
        cut_id = rows.add(connection, {**dict(old), **changes, **chain})
        said = rows.settings_of(connection, bench.setup_id).get(old["id"], {})
        merged = {**{name: mm for name, (mm, _) in said.items()}, **settings}
        moved = frozenset(name for name, (_, reset) in said.items() if reset)
        rows.add_settings(connection, cut_id, merged, moved, texts)
        cut = stand(connection, bench.version).cut_of(int(old["root"]))
    echo = echoes(bench.setup, {name: (mm,) for name, mm in settings.items()}, texts)
    return LoggedCut(bench.setup.name, cut, echo)

"""The next step: load, ask the core, keep the answer."""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any

from calib.decision.advice import Advice
from calib.shop import Setup
from calib.store import advice as rows
from calib.store import events
from calib.store.database import snapshot
from calib.workflow.bench import Bench
from calib.workflow.learning import keep
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop
from calib.workflow.told import told


def next_step(
    shop: Shop,
    setup_name: str,
    *,
    pieces_left: int | None = None,
    stakes: Mapping[str, Any] | None = None,
    knowledge: Mapping[str, Any] | None = None,
    store: bool = True,
) -> Advice:
    """Return the suggested next step of a setup, and store it so that it can be scored later.

    ``stakes`` and ``knowledge`` have the keys of a log's TOML. With ``store=False``, or a shop
    opened read only, nothing is written. The same advice on the same log is stored once.
    """
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, setup_name)
        seen = events.last_said(shop.connection)
        asked = {"pieces_left": pieces_left, "stakes": stakes, "knowledge": knowledge}
        known = told(shop.connection, bench, believing(bench.setup, knowledge))
    advise, version = model()
    advice = advise(known.setup, known.cuts, **asked, **known.known)
    if store and not shop.read_only:
        with shop.writing() as connection:
            keep(shop, connection, bench, known.past)
            _keep(shop, connection, bench, seen, version, packed(asked), advice)
    return advice


def model() -> tuple[Callable[..., Advice], str]:
    """Return the function that advises, and the version of its model."""
    from calib.decision.advise import MODEL_VERSION, advise  # numpy comes with it

    return advise, MODEL_VERSION


def believing(setup: Setup, knowledge: Mapping[str, Any] | None) -> Setup:
    """Return a setup with what one call asked to be believed."""
    if not knowledge:
        return setup
    from calib.decision.advise import with_overrides

    return with_overrides(setup, knowledge, None, None)


def packed(asked: Mapping[str, Any]) -> str:
    """Return what was asked for one call as JSON text, infinities as strings."""
    return json.dumps(
        _plain({k: v for k, v in asked.items() if v is not None}), sort_keys=True, allow_nan=False
    )


def unpacked(text: str) -> dict[str, Any]:
    """Return what `packed` took in."""
    return dict(_restored(json.loads(text)))


def _keep(
    shop: Shop,
    connection: sqlite3.Connection,
    bench: Bench,
    seen: int,
    version: str,
    overrides: str,
    advice: Advice,
) -> None:
    """Store the advice, unless the same was given on the same log before."""
    last = rows.latest(connection, bench.setup_id)
    if last is not None and (last["seen_event_id"], last["model_version"], last["overrides"]) == (
        seen,
        version,
        overrides,
    ):
        return
    words = f"advice on {bench.setup.name}"
    event_id = events.record(connection, shop.now(), "advice", words, bench.setup_id, undoable=False)
    rows.add(
        connection,
        event_id,
        bench.setup_id,
        bench.version["id"],
        None if bench.mounting is None else bench.mounting["id"],
        seen,
        version,
        overrides,
        advice,
        [item.row["id"] for item in bench.own if item.row is not None],
    )


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, float) and math.isinf(value):
        return str(value)
    return value


def _restored(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _restored(item) for key, item in value.items()}
    return float(value) if value in ("inf", "-inf") else value

"""What an advice on a setup is told: its log, and what the wear of its edge or earlier mountings teach.

Once the cuts on an edge establish its wear, the advice rests on the newest mountings with that wear, each
with an offset of its own; until then it goes on from what the earlier mountings taught.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calib.shop import Cut, Setup
from calib.store.events import NOW
from calib.workflow.bench import Bench
from calib.workflow.learning import Past, past_of
from calib.workflow.sharing import edge_wear


@dataclass(frozen=True)
class Told:
    """What `advise` is given.

    Parameters
    ----------
    setup : Setup
    cuts : sequence of Cut
    known : mapping
        More arguments of `advise`.
    past : Past
        What the earlier mountings taught, used or not.
    """

    setup: Setup
    cuts: Sequence[Cut]
    known: Mapping[str, Any]
    past: Past


def told(
    connection: sqlite3.Connection, bench: Bench, believing: Setup | None = None, upto: int = NOW
) -> Told:
    """Return what an advice on a setup is told.

    Parameters
    ----------
    believing : Setup, optional
        The setup with what was asked for one call only; the bench's when it is not given.
    """
    past = past_of(connection, bench, believing, upto)
    wear = edge_wear(connection, bench, upto)
    if wear.known:
        return Told(wear.setup, wear.cuts, wear.known, past)
    return Told(bench.setup, list(past.cuts), past.asked(), past)

"""What a setup's mountings taught: carried, kept in the store, and handed to whoever advises.

A state is kept under a digest of all that it rests on, chained from mounting to mounting. So a cut that
is corrected, undone or imported into an old mounting leads to another digest, and the states from that
mounting on are worked out again; those before it still stand.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from calib.shop import Cut, Setup
from calib.store import learned as rows
from calib.store import nouns
from calib.store.database import snapshot
from calib.store.events import NOW
from calib.workflow.bench import Bench
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

if TYPE_CHECKING:
    from calib.regression.learn import Carried, Learned

#: Fields of a cut that say nothing to the model.
_UNSEEN: dict[str, Any] = {"note": None, "when": None, "at_hand": True, "number": 0}


@dataclass(frozen=True)
class Ended:
    """One mounting that has ended: its row and number, the setup as it was then, its cuts, its digest."""

    mounting_id: int
    number: int
    setup: Setup
    cuts: tuple[Cut, ...]
    kept_joint: bool
    digest: str


@dataclass(frozen=True)
class Past:
    """What the present mounting goes on from.

    Parameters
    ----------
    carried : Carried or None
        None when nothing was measured in an earlier mounting.
    cuts : tuple of Cut
        Of the present mounting; of the whole log where nothing is carried.
    kept_joint : bool
        The present mounting was put back with a kept joint as the gauge.
    unkept : Ended or None
        The last mounting that has ended, when its state is not kept in the store yet.
    rests_on : tuple of int
        Numbers of the mountings that were carried.
    """

    carried: Carried | None
    cuts: tuple[Cut, ...]
    kept_joint: bool = False
    unkept: Ended | None = None
    rests_on: tuple[int, ...] = ()

    def asked(self) -> dict[str, Any]:
        """Return what the model is to be given besides setup and cuts."""
        return {} if self.carried is None else {"carried": self.carried, "kept_joint": self.kept_joint}


def past_of(
    connection: sqlite3.Connection, bench: Bench, setup: Setup | None = None, upto: int = NOW
) -> Past:
    """Return what the present mounting of a setup goes on from; nothing is written.

    Parameters
    ----------
    setup : Setup, optional
        The setup with what was asked for one call only; the bench's when it is not given.
    """
    setup = bench.setup if setup is None else setup
    ended = list(_ended(connection, bench, setup, upto))
    carried, is_kept = _carried(connection, ended)
    if carried is None or not carried.mountings:
        return Past(None, tuple(bench.log))
    kept = bench.mounting is not None and bench.mounting["id"] in rows.kept_joints(connection, bench.setup_id)
    here = tuple(cut for mounting, cut in _rows(bench) if _of(mounting) == _of(bench.mounting))
    return Past(carried, here, kept, None if is_kept else ended[-1], _measured(ended))


def _measured(ended: list[Ended]) -> tuple[int, ...]:
    """Return the numbers of the mountings in which something was measured."""
    return tuple(one.number for one in ended if any(cut.readings or cut.feel for cut in one.cuts))


def keep(shop: Shop, connection: sqlite3.Connection, bench: Bench, past: Past) -> None:
    """Keep the state of a setup's past in the store, unless it is kept already."""
    if past.carried is None or past.unkept is None:
        return
    last, state = past.unkept, past.carried.as_dict()
    rows.add(connection, bench.setup_id, last.mounting_id, last.digest, _versions(), shop.now(), state)


def with_present(past: Past, bench: Bench) -> Past:
    """Return the past of the mounting that comes after the present one."""
    from calib.regression.learn import carry

    if not any(cut.readings or cut.feel for cut in past.cuts):
        return replace(past, cuts=(), kept_joint=False)
    carried = carry(past.carried, bench.setup, past.cuts, kept_joint=past.kept_joint)
    present = 1 if bench.mounting is None else int(bench.mounting["number"])
    return Past(carried, (), False, None, (*past.rests_on, present))


@dataclass(frozen=True)
class Taught:
    """What the mountings of one setup taught.

    Parameters
    ----------
    mountings, numbers, moves : int
        How many it rests on; numbers are measured readings.
    """

    setup: str
    units: str
    mountings: int
    numbers: int
    moves: int
    components: tuple[Learned, ...]

    def counts(self) -> dict[str, Any]:
        """Return the setup and the counts, as JSON names them."""
        counts = {"mountings": self.mountings, "readings": self.numbers, "moves": self.moves}
        return {"setup": self.setup, **counts}


def learn(
    shop: Shop, names: Sequence[str], progress: Callable[[int, int], None] = lambda done, of: None
) -> list[Taught]:
    """Return what each of these setups was taught; setups on which nothing was measured are left out.

    States that were not kept yet are kept, unless the shop was opened read only.

    Parameters
    ----------
    progress : callable (setups done, setups in all)
    """
    from calib.regression.learn import learned

    found = []
    for done, name in enumerate(names, start=1):
        with snapshot(shop.connection):
            bench = bench_of(shop.connection, name)
            past = past_of(shop.connection, bench)
            carried = with_present(past, bench).carried
        if not shop.read_only and past.unkept is not None:
            with shop.writing() as connection:
                keep(shop, connection, bench, past)
        if carried is not None:
            parts = tuple(learned(bench.setup, carried))
            counts = len(carried.mountings), carried.numbers, carried.moves
            found.append(Taught(name, bench.setup.units, *counts, parts))
        progress(done, len(names))
    return found


def _carried(connection: sqlite3.Connection, ended: list[Ended]) -> tuple[Carried | None, bool]:
    """Return the state after the ended mountings, and whether it was kept; the latest kept one is gone on."""
    if not ended:
        return None, True
    from calib.regression.learn import Carried, carry

    carried: Carried | None = None
    start = 0
    digests = [one.digest for one in ended]
    found = rows.state_of(connection, digests[::-1])
    if found is not None:
        carried = Carried.from_dict(found[1])
        start = 1 + digests.index(found[0])
    for one in ended[start:]:
        carried = carry(carried, one.setup, one.cuts, kept_joint=one.kept_joint)
    return carried, start == len(ended)


def _ended(connection: sqlite3.Connection, bench: Bench, setup: Setup, upto: int) -> Iterator[Ended]:
    """Give the mountings before the present one that have rows, oldest first."""
    together: dict[int, list[Cut]] = {}
    known: dict[int, sqlite3.Row] = {}
    for mounting, cut in _rows(bench):
        if mounting is not None and _of(mounting) != _of(bench.mounting):
            together.setdefault(_of(mounting), []).append(cut)
            known[_of(mounting)] = mounting
    if not together:
        return
    import hashlib

    from calib.regression.learn.state import fingerprint

    kept = rows.kept_joints(connection, bench.setup_id)
    digest = "/".join([*_versions(), fingerprint(setup)])
    for mounting_id, cuts in together.items():
        own = _with_cutter(connection, setup, int(known[mounting_id]["cutter_id"]), upto)
        said = [repr(replace(cut, **_UNSEEN)) for cut in cuts]
        text = "\n".join([digest, str(own.cutter.nominal_mm), str(mounting_id in kept), *said])
        digest = hashlib.sha256(text.encode()).hexdigest()
        number = int(known[mounting_id]["number"])
        yield Ended(mounting_id, number, own, tuple(cuts), mounting_id in kept, digest)


def _rows(bench: Bench) -> Iterator[tuple[sqlite3.Row | None, Cut]]:
    """Give every row of the log with its mounting; a stock that is left out is that of the row before."""
    stock = None
    for item in bench.placed:
        if item.cut is not None:
            stock = item.cut.stock or stock
            yield item.mounting, replace(item.cut, stock=stock)


def _with_cutter(connection: sqlite3.Connection, setup: Setup, cutter_id: int, upto: int) -> Setup:
    """Return the setup with the cutter that was in it then."""
    row = nouns.by_root(connection, "cutters", cutter_id, upto)
    if row is None or row["name"] == setup.cutter.name:
        return setup
    return replace(setup, cutter=replace(setup.cutter, name=row["name"], nominal_mm=row["nominal_mm"]))


def _of(mounting: sqlite3.Row | None) -> int:
    return 0 if mounting is None else int(mounting["id"])


def _versions() -> tuple[str, str]:
    from calib.decision.advise import MODEL_VERSION
    from calib.regression.learn import GRID_VERSION

    return MODEL_VERSION, GRID_VERSION

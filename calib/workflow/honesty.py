"""Honesty: every chance that was given, against what came true in the next cut.

An advice is judged by the first cut that was logged after it, when that cut was made as the advice said:
in its mounting, with its sharpening, at its positions, nothing else moved. What is judged are the two
things that speak of a measured reading: the chance that it lies in its band, and the range that was to
hold nine in ten. The chance that the *true size* of a good piece is in its band cannot be: no log holds
true sizes.

Not judged: words and go/no-go; the last of several good pieces where creep or wear is on, for it is not
the next one; a cut in another stock where stocks are taken to differ.
"""

from __future__ import annotations

import json
import sqlite3
from bisect import bisect_right
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter

from calib.monitor.honesty import Honesty, honesty
from calib.shop import Cut, Interval, Setup
from calib.store import advice as advice_rows
from calib.store import setups as setup_rows
from calib.store.database import snapshot
from calib.workflow.bench import SAME_PLACE_MM, Bench, Placed, stand
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

#: Of the range that is told with every reading.
RANGE = 0.9


@dataclass(frozen=True)
class Forecast:
    """What was told of one reading, and what came.

    Parameters
    ----------
    chance : float or None
        That the next measured reading lies in its band; None for advice from before it was kept.
    range_mm : (float, float), mm
        Where nine readings in ten should fall.
    read_mm : float, mm
    in_band, in_range : float
        1, 0, or 0.5 where the reading stands exactly on an edge.
    """

    setup: str
    mounting: int
    cut: int
    advice: int
    reading: str
    chance: float | None
    range_mm: tuple[float, float]
    read_mm: float
    in_band: float
    in_range: float


@dataclass(frozen=True)
class Judged:
    """The honesty of one setup, or of the shop (setup None).

    Parameters
    ----------
    chances : Honesty or None
        Of the chances that the next measured reading lies in its band.
    ranges : Honesty or None
        Of the ranges for nine readings in ten.
    cuts : int
        Cuts that could be judged.
    left_out : mapping of reason to int
        Cuts after advice that could not.
    """

    setup: str | None
    chances: Honesty | None
    ranges: Honesty | None
    cuts: int
    left_out: Mapping[str, int]
    forecasts: tuple[Forecast, ...] = ()


def judge(shop: Shop, setup_name: str) -> Judged:
    """Return the honesty of one setup."""
    with snapshot(shop.connection):
        found, left_out = _of_bench(shop.connection, bench_of(shop.connection, setup_name))
    return judged(setup_name, found, left_out)


def judge_all(
    shop: Shop, progress: Callable[[int, int], None] = lambda done, of: None
) -> tuple[Judged, list[Judged]]:
    """Return the honesty of the whole shop, and of every setup that has advice which can be judged.

    Parameters
    ----------
    progress : callable (setups done, setups in all)
    """
    everything: list[Forecast] = []
    all_left_out: Counter[str] = Counter()
    each = []
    with snapshot(shop.connection):
        setups = setup_rows.current(shop.connection)
        for done, version in enumerate(setups, start=1):
            found, left_out = _of_bench(shop.connection, stand(shop.connection, version))
            everything += found
            all_left_out += left_out
            if found:
                each.append(judged(str(version["name"]), found, left_out))
            progress(done, len(setups))
    return judged(None, everything, all_left_out), each


def judged(setup: str | None, found: Sequence[Forecast], left_out: Mapping[str, int]) -> Judged:
    """Score forecasts."""
    told = [one for one in found if one.chance is not None]
    said = [0.0 if one.chance is None else one.chance for one in told]
    chances = honesty(said, [one.in_band for one in told], [one.advice for one in told])
    ranges = honesty([RANGE] * len(found), [one.in_range for one in found], [one.advice for one in found])
    return Judged(setup, chances, ranges, len({f.cut for f in found}), dict(left_out), tuple(found))


def _of_bench(connection: sqlite3.Connection, bench: Bench) -> tuple[list[Forecast], Counter[str]]:
    told = advice_rows.told_readings(connection, bench.setup_id)
    moves = advice_rows.moves_by_advice(connection, bench.setup_id)
    found: list[Forecast] = []
    left_out: Counter[str] = Counter()
    for pair in _pairs(connection, bench):
        reason = _not_followed(bench.setup, pair, moves.get(int(pair.advice["id"]), {}))
        if reason:
            left_out[reason] += 1
            continue
        new = list(_forecasts(bench.setup.name, pair, told.get(int(pair.advice["id"]), ())))
        found += new
        left_out["nothing that can be judged was measured"] += not new
    return found, +left_out


@dataclass(frozen=True)
class _Pair:
    """An advice and the cut that came next, with the cut before and the moves between them."""

    advice: sqlite3.Row
    item: Placed
    before: Placed | None
    moved: tuple[str, ...]
    stock: str | None

    @property
    def cut(self) -> Cut:
        assert self.item.cut is not None
        return self.item.cut


def _pairs(connection: sqlite3.Connection, bench: Bench) -> Iterator[_Pair]:
    """Give every cut that had advice before it, with the last one that knew of all cuts before."""
    here = {item.root for item in bench.own}
    used = advice_rows.cuts_by_advice(connection, bench.setup_id)
    rows = advice_rows.of_setup(connection, bench.setup_id)
    given = [row for row in rows if here.issuperset(used.get(row["id"], ()))]
    moves = sorted((p.event or 0, p.move.adjuster) for p in bench.placed if p.move is not None)
    before, stock, k = None, None, 0
    latest: sqlite3.Row | None = None
    for item in bench.own:
        assert item.cut is not None
        assert item.event is not None
        while k < len(given) and given[k]["event_id"] < item.event:
            latest, k = given[k], k + 1
        stock = item.cut.stock or stock
        since = 0 if before is None or before.event is None else before.event
        if latest is not None and latest["seen_event_id"] >= since:
            yield _Pair(latest, item, before, _moved_between(moves, latest, item), stock)
        before = item


def _moved_between(
    moves: Sequence[tuple[int, str]], advice: sqlite3.Row, item: Placed
) -> tuple[str, ...]:
    """Return the adjusters that were moved after an advice and up to a cut, one entry a move.

    `moves` are (event, adjuster), in the order of events.
    """
    assert item.event is not None
    first = bisect_right(moves, int(advice["seen_event_id"]), key=itemgetter(0))
    last = bisect_right(moves, item.event, key=itemgetter(0))
    return tuple(adjuster for _, adjuster in moves[first:last])


def _not_followed(setup: Setup, pair: _Pair, target: Mapping[str, float]) -> str:
    """Return why an advice cannot be judged by the cut that came next; "" when it can."""
    advice, item, cut = pair.advice, pair.item, pair.cut
    mounting = None if item.mounting is None else item.mounting["id"]
    before = pair.before
    same = before is not None and before.mounting is not None and before.mounting["id"] == mounting
    then = before.cut if same and before is not None else None
    resharpened = then is not None and then.sharpening != cut.sharpening
    first = advice["mounting_id"] is None and before is None
    if (advice["mounting_id"] != mounting and not first) or resharpened:
        return "the setup was mounted again, or its cutter sharpened, in between"
    if item.row is not None and item.row["setup_version_id"] != advice["setup_version_id"]:
        return "the setup was changed in between"
    if not _as_advised(cut, pair.moved, target):
        return "the advice was not followed"
    if "knowledge" in json.loads(advice["overrides"]):
        return "the advice was asked for with other beliefs"
    return _another_piece(setup, pair)


def _another_piece(setup: Setup, pair: _Pair) -> str:
    known = setup.knowledge
    readings = [band.name for band in setup.bands]
    drifts = known.wear_sd_mm_per_m > 0.0 or any(known.scale(f, "creep_sd_mm") > 0.0 for f in readings)
    if pair.cut.pieces > 1 and drifts:
        return "the piece that was measured was not the next one"
    differs = any(known.scale(f, "stock_sd_mm") > 0.0 for f in readings)
    if differs and setup.stock is not None and pair.stock != setup.stock:
        return "another stock was cut than the advice was for"
    return ""


def _as_advised(cut: Cut, moved: Sequence[str], target: Mapping[str, float]) -> bool:
    """Say whether a cut was made at the advised positions, one move each, and nothing else was moved."""
    at = cut.settings_mm
    there = all(name in at and abs(at[name] - mm) <= SAME_PLACE_MM for name, mm in target.items())
    once = len(moved) == len(set(moved)) and set(moved) <= set(target)
    return there and once and cut.moved <= set(target)


def _forecasts(setup: str, pair: _Pair, told: Sequence[sqlite3.Row]) -> Iterator[Forecast]:
    for row in told:
        values = pair.cut.readings.get(row["reading"], ())
        if not values or isinstance(values[0], Interval):
            continue
        read = float(values[0])
        band, fair = (row["low_mm"], row["high_mm"]), (row["interval_low_mm"], row["interval_high_mm"])
        yield Forecast(
            setup=setup,
            mounting=0 if pair.item.mounting is None else int(pair.item.mounting["number"]),
            cut=pair.cut.number,
            advice=int(pair.advice["id"]),
            reading=row["reading"],
            chance=row["probability_measured"],
            range_mm=fair,
            read_mm=read,
            in_band=_inside(read, *band),
            in_range=_inside(read, *fair),
        )


def _inside(value: float, low: float, high: float) -> float:
    """Return 1 inside, 0 outside; 0.5 on an edge, for a rounded reading may lie on either side of it."""
    if min(abs(value - low), abs(value - high)) <= SAME_PLACE_MM:
        return 0.5
    return float(low < value < high)

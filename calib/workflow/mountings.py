"""Mountings: the setup goes on the machine.

Where to start: on the setting whose expected readings are on target, given what the earlier mountings
taught; when nothing was measured in any, where the last one ended. What a mounting taught is kept when
the next one begins.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from calib.decision.cautions import cautions_for
from calib.errors import CalibError, near_name
from calib.shop import Adjuster
from calib.store import events, nouns
from calib.store import learned as learned_rows
from calib.store import mountings as rows
from calib.workflow import cutters
from calib.workflow.bench import Bench, Placed
from calib.workflow.learning import Past, keep, past_of, with_present
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

if TYPE_CHECKING:  # the core is loaded only where something was measured
    from calib.decision.mounting import FirstSetting
    from calib.regression.learn import Learned

#: So many mountings are named one by one.
_MOST_NAMED = 4


@dataclass(frozen=True)
class Mounted:
    """A new mounting, where to start and how sure that is.

    Parameters
    ----------
    number : int
        Of this setup's mountings, from 1.
    settings_mm : mapping of adjuster name to mm
        Where to set the scales first; empty when the shop knows nothing yet.
    rests_on : tuple of int
        Numbers of the earlier mountings that the advice rests on.
    text : str
        The same in one or two sentences.
    changed : tuple of str
        What is not as it was (cutter, stock).
    cautions : tuple of str
        The usual ones: whoever mounts a setup touches the machine.
    first : FirstSetting or None
        What the first cut should read there; None when nothing was measured in an earlier mounting.
    spread : tuple of Learned
        How well mountings of this setup have gone back so far.
    kept_joint : str or None
        The kept joint that serves as the gauge.
    """

    setup: str
    number: int
    settings_mm: Mapping[str, float]
    rests_on: tuple[int, ...]
    text: str
    cutter: str | None = None
    stock: str | None = None
    changed: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    first: FirstSetting | None = None
    spread: tuple[Learned, ...] = ()
    kept_joint: str | None = None


def mount(
    shop: Shop,
    setup_name: str,
    *,
    cutter: str | None = None,
    stock: str | None = None,
    note: str | None = None,
    kept_joint: str | None = None,
) -> Mounted:
    """Put a setup on the machine again: a new mounting, whose offset is drawn anew.

    ``cutter`` and ``stock`` say which ones are used from now on (None: as before). ``kept_joint`` names a
    dry joint of an earlier mounting that serves as the gauge for putting the setup back; how well that
    works is learned apart from mountings without one.
    """
    if kept_joint is not None and not kept_joint.strip():
        raise CalibError('kept joint: it has no name. Say which one it is, as in --kept-joint "chest 1".')
    with shop.writing() as connection:
        bench = bench_of(connection, setup_name)
        cutter_id = (
            bench.edge.cutter_id if cutter is None else int(cutters.row_of(connection, cutter)["root"])
        )
        endings = _endings(bench, cutter_id)
        words = f"a mounting of {setup_name}"
        event_id = events.record(connection, shop.now(), "mounting", words, bench.setup_id)
        mounting_id, number = rows.add(
            connection, event_id, bench.setup_id, cutter_id, stock=stock or _stock_before(bench), note=note
        )
        if kept_joint is not None:
            learned_rows.add_kept_joint(connection, mounting_id, kept_joint)
        now = bench_of(connection, setup_name)
        past = past_of(connection, now)
        keep(shop, connection, now, past)
        start = _starting(now, past, endings)
        rows.add_starts(connection, mounting_id, start.settings_mm)
        changed = _changed(connection, bench, cutter_id, stock, endings)
        name = nouns.by_root(connection, "cutters", cutter_id)
    return Mounted(
        setup=setup_name,
        number=number,
        settings_mm=start.settings_mm,
        rests_on=start.rests_on,
        text=start.text,
        cutter=None if name is None else name["name"],
        stock=stock,
        changed=changed,
        cautions=cautions_for(bench.setup),
        first=start.first,
        spread=start.spread,
        kept_joint=kept_joint,
    )


class _Starting(NamedTuple):
    """Where a mounting is to start, and what that rests on."""

    settings_mm: dict[str, float]
    rests_on: tuple[int, ...]
    text: str
    first: FirstSetting | None = None
    spread: tuple[Learned, ...] = ()


def where_to_start(
    connection: sqlite3.Connection, bench: Bench, upto: int = events.NOW
) -> tuple[dict[str, float], str]:
    """Return where the next mounting with this cutter is to start, mm, and what that rests on in words."""
    after = with_present(past_of(connection, bench, upto=upto), bench)
    start = _starting(bench, after, _endings(bench, bench.edge.cutter_id))
    return start.settings_mm, start.text


def _starting(bench: Bench, past: Past, endings: Sequence[Placed]) -> _Starting:
    """Return where to start: on target by what was learned, else where the setup ended last."""
    scales = [a for a in bench.setup.adjusters if a.has_scale]
    if past.carried is not None:
        from calib.decision.mounting import first_setting
        from calib.regression.learn import learned

        first = first_setting(
            bench.setup, past.carried, sharpening=bench.edge.label_now, kept_joint=past.kept_joint
        )
        spread = tuple(one for one in learned(bench.setup, past.carried) if one.kind in ("mounting", "kept"))
        settings = {a.name: first.settings_mm[a.name] for a in scales}
        return _Starting(settings, past.rests_on, f"It rests on {_listed(past.rests_on)}.", first, spread)
    settings = {a.name: _start(a, endings) for a in scales if endings}
    if not endings:
        text = (
            "Nothing has been cut on this setup yet: set it by eye, and log the first cut with its positions."
        )
        return _Starting(settings, (), text)
    numbers = tuple(sorted({_number(ending) for ending in endings}))
    return _Starting(settings, numbers, f"Nothing has been measured yet; {_listed(numbers)} ended there.")


def ensure(connection: sqlite3.Connection, bench: Bench, event_id: int) -> sqlite3.Row:
    """Return the present mounting; the first cut of a setup makes the first one."""
    if bench.mounting is None:
        rows.add(connection, event_id, bench.setup_id, bench.edge.cutter_id)
    return rows.of_setup(connection, bench.setup_id)[-1]


def stock_remark(connection: sqlite3.Connection, stock: str | None) -> tuple[str, ...]:
    """Ask when a stock is nearly, but not quite, one that the shop has."""
    known = [row["name"] for row in nouns.current(connection, "stocks")] if stock else []
    if stock is None or stock in known:
        return ()
    near = near_name(stock, known)
    return (f'stock "{stock}" is not among the shop\'s stocks. Was "{near}" meant?',) if near else ()


def _endings(bench: Bench, cutter_id: int) -> list[Placed]:
    """Return the last good cut of every mounting that has one (else the very last cut)."""
    last: dict[int, Placed] = {}
    for item in bench.own:
        if item.cut is not None and item.cut.kind == "good":
            last[_number(item)] = item
    same = [item for item in last.values() if item.mounting and item.mounting["cutter_id"] == cutter_id]
    return same or list(last.values()) or bench.own[-1:]


def _listed(numbers: Sequence[int]) -> str:
    """Say the numbers of mountings; of many the first and the last."""
    if len(numbers) == 1:
        return f"mounting {numbers[0]}"
    if len(numbers) > _MOST_NAMED and list(numbers) == list(range(numbers[0], numbers[-1] + 1)):
        return f"mountings {numbers[0]} to {numbers[-1]}"
    return f"mountings {', '.join(map(str, numbers[:-1]))} and {numbers[-1]}"


def _start(adjuster: Adjuster, endings: Sequence[Placed]) -> float:
    """Return the mean of where an adjuster ended, in least steps from where it ended last."""
    ends = [item.cut.settings_mm[adjuster.name] for item in endings if item.cut is not None]
    mean = sum(ends) / len(ends)
    step = adjuster.least_step_mm
    start = ends[-1] + step * round((mean - ends[-1]) / step) if step > 0.0 else mean
    return min(max(start, adjuster.low_mm), adjuster.high_mm)


def _number(item: Placed) -> int:
    return 0 if item.mounting is None else int(item.mounting["number"])


def _stock_before(bench: Bench) -> str | None:
    return None if bench.mounting is None else bench.mounting["stock"]


def _changed(
    connection: sqlite3.Connection, bench: Bench, cutter_id: int, stock: str | None, endings: Sequence[Placed]
) -> tuple[str, ...]:
    """Say what is not as it was when the setup last ended well."""
    said = list(stock_remark(connection, stock))
    if not endings or endings[-1].cut is None or endings[-1].mounting is None:
        return tuple(said)
    then = endings[-1]
    if then.mounting is not None and then.mounting["cutter_id"] != cutter_id:
        said.append("Another cutter is in it now: expect another width, and start with a test cut.")
    elif then.cut is not None and then.cut.sharpening != bench.edge.label_now:
        said.append("The cutter has been sharpened since: expect another width, and start with a test cut.")
    cut_before = {item.cut.stock for item in bench.own if item.cut is not None and item.cut.stock is not None}
    if stock is not None and cut_before and stock not in cut_before:
        said.append(f"{stock} has not been cut on this setup yet.")
    return tuple(said)

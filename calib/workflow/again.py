"""A cut that is found by its number and measured again."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from calib.errors import CalibError
from calib.shop import Reading
from calib.store import cuts as rows
from calib.store import events
from calib.store import setups as setup_rows
from calib.workflow.bench import Bench, stand
from calib.workflow.cutentry import LoggedCut
from calib.workflow.derived import (
    Joined,
    RawEntry,
    RawSaid,
    carried_over,
    last_gauges,
    usual_gauges,
    worked_out,
)
from calib.workflow.doubt import LooksLikeSlip, remarks, slips_again, usual_sizes
from calib.workflow.entries import check_feel, check_readings, echoes, unit_questions
from calib.workflow.shopfloor import Shop


def measure_again(
    shop: Shop,
    number: int,
    readings: Mapping[str, tuple[Reading, ...]],
    feel: str | None = None,
    *,
    texts: Mapping[str, str] | None = None,
    gauge: str | None = None,
    instead: bool = False,
    gauges: Mapping[str, str] | None = None,
    raws: tuple[RawEntry, ...] = (),
    pitches: int | None = None,
    by: str | None = None,
    ask: bool = False,
) -> LoggedCut:
    """Measure a cut again: the new readings stand beside the old ones as repeats.

    With ``instead`` they take the place of the old ones (a slip of the pen); those stay in the
    database, superseded. A new feel always takes the place of the old one. Raw readings that make a
    whole set (slot and finger) make a repeat of the reading; a part of a set joins those that are there.
    With ``ask`` a reading that looks like a slip is not stored but raised as `LooksLikeSlip`.
    """
    texts = texts or {}
    with shop.writing() as connection:
        row, bench = find(connection, number)
        setup = bench.setup
        check_readings(setup, readings)
        check_feel(setup, feel)
        if not any(readings.values()) and feel is None and not raws:
            raise CalibError(
                f"cut {number}: nothing was read. Give a reading, as in {setup.bands[0].name}=0.07."
            )
        words = f"the new measurement of cut {number} on {setup.name}"
        event_id = events.record(connection, shop.now(), "again", words, bench.setup_id)
        root = int(row["root"])
        old = rows.measurements_of(connection, bench.setup_id).get(root, {})
        last = last_gauges(connection, bench.setup_id, readings, raws)
        said = RawSaid(raws, pitches, gauge, last)
        joined = said.joined(connection, root, setup, old, instead=instead) if raws else Joined([])
        sizes = said.sets(joined, usual_sizes(connection, bench, root if instead else None))
        slips = slips_again(bench, root, readings, sizes, instead=instead)
        if slips and ask:
            raise LooksLikeSlip(slips, setup.units)
        replaces = {name: int(old[name][-1]["id"]) for name in readings if old.get(name)} if instead else None
        taken = usual_gauges(setup, readings, gauge, gauges or {}, said.last)
        rows.add_measurements(connection, event_id, root, readings, texts, gauges=taken, replaces=replaces)
        made = said.store(connection, event_id, root, setup, joined)
        if feel is not None:
            rows.add_feel(connection, event_id, root, feel, texts.get("feel"), by)
        cut = stand(connection, bench.version).cut_of(root)
    every = {**readings, **{name: (mm,) for name, (mm, _) in made.items()}}
    told = {name: values for name, values in every.items() if name not in {slip.reading for slip in slips}}
    questions = (
        *carried_over(setup, said, readings.keys() - (gauges or {}).keys()),
        *remarks(slips, number, setup.units, joined.pitches),
        *unit_questions(setup, {}, told, {}),
    )
    return LoggedCut(
        setup.name, cut, echoes(setup, readings, texts), questions, worked_out=worked_out(cut, made)
    )


def find(connection: sqlite3.Connection, number: int) -> tuple[sqlite3.Row, Bench]:
    """Return the live row of a cut and its setup's bench; `CalibError` when there is none."""
    row = rows.by_number(connection, number)
    version = None if row is None else setup_rows.version(connection, row["setup_id"])
    if row is None or version is None:
        raise CalibError(f"there is no cut {number}. See the numbers with: calib history")
    return row, stand(connection, version)

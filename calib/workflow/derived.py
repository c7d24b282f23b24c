"""Readings that are worked out from raw ones: what was typed is kept beside what came of it.

When a cut is measured again the new raw readings may be a whole set (slot and finger): then they make a
second reading, a repeat beside the first. Or they may be a part (the slot alone): then they join the raw
readings that are there, and the reading that is worked out from all of them takes the place of the old one.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from calib.errors import CalibError, near_name
from calib.measurement.derived import COUNTED, RAW_USES, factors_of, gives, plan, total
from calib.shop import Cut, Interval, Reading, Setup
from calib.store import cuts as rows
from calib.store import nouns
from calib.store import raws as raw_rows
from calib.workflow.entries import check_numbers

if TYPE_CHECKING:
    from calib.decision.rawslips import RawSet

#: Reading, the raw readings that give it, and how it is said.
Plan = list[tuple[str, tuple[str, ...], str]]
#: By reading: mm, and how it was worked out.
Made = Mapping[str, tuple[Reading, str]]
#: Raw readings that are sizes of wood, and not where an indicator's hand stood.
_SIZES = ("slot", "finger", "over", "across", "pocket", "insert", "thickness", "step")


@dataclass(frozen=True)
class RawEntry:
    """One raw reading as the maker says it.

    Parameters
    ----------
    name : str
        slot, finger, over, across, left, right, float, pocket, insert, thickness, step, rise.
    reading : float or Interval, mm
        An interval where it goes and does not go (a pin in a slot).
    text : str or None
        As typed.
    gauge : str or None
        What it was taken with; None = as the rest of the cut.
    """

    name: str
    reading: Reading
    text: str | None = None
    gauge: str | None = None


@dataclass(frozen=True)
class WorkedOut:
    """A reading that was worked out: how, and how good it is (None: its gauges are not known)."""

    reading: str
    value_mm: Reading
    how: str
    u_mm: float | None = None


def raw_names(setup: Setup) -> list[str]:
    """Return the raw readings that a setup can make use of; a name that is its own reading is none."""
    own = {band.name for band in setup.bands}
    return [name for name in RAW_USES if name not in own]


def planned(setup: Setup, entries: Sequence[RawEntry], pitches: int | None) -> Plan:
    """Return which readings the raw ones give; `CalibError` when they do not add up."""
    names = list(dict.fromkeys(entry.name for entry in entries))
    for entry in entries:
        if entry.name not in RAW_USES:
            raise CalibError(f"{setup.name}: {entry.name} is nothing that a reading is worked out from.")
    check_numbers(setup.name, {entry.name: (entry.reading,) for entry in entries})
    for entry in entries:
        if not isinstance(entry.reading, Interval) and entry.reading <= 0.0 and entry.name in _SIZES:
            raise CalibError(f"{setup.name}: {entry.name} {entry.reading:g} mm is no size. It is above 0.")
    return plan(names, [band.name for band in setup.bands], pitches)


@dataclass(frozen=True)
class Joined:
    """What raw readings give, with those of the cut that they join.

    Parameters
    ----------
    plan : Plan
    old : tuple of rows
        Raw readings that were stored before.
    replaces : int or None
        The measurement whose place is taken.
    pitches : int or None
    """

    plan: Plan
    old: tuple[sqlite3.Row, ...] = ()
    replaces: int | None = None
    pitches: int | None = None


@dataclass(frozen=True)
class RawSaid:
    """The raw readings of one breath; ``last`` names by raw reading the gauge that was used last time."""

    entries: tuple[RawEntry, ...]
    pitches: int | None = None
    gauge: str | None = None
    last: Mapping[str, str] = field(default_factory=dict)

    def store(
        self,
        connection: sqlite3.Connection,
        event_id: int,
        root: int,
        setup: Setup,
        joined: Joined,
    ) -> Made:
        """Write the raw readings and what they give, with those that they join; return that, mm."""
        old, replaces = joined.old, joined.replaces
        ids = [int(row["id"]) for row in old] + self._ids(connection, event_id, root, setup, joined)
        every = [RawEntry(row["name"], rows.reading_of(row), row["text"]) for row in old] + list(self.entries)
        done: dict[str, tuple[Reading, str]] = {}
        for reading, names, how in joined.plan:
            factors = _factors(every, reading, names, joined.pitches)
            value = total([(every[i].reading, factor) for i, factor in factors.items()])
            check_numbers(setup.name, {reading: (value,)})
            text = ", ".join(f"{every[i].name} {every[i].text or every[i].reading}" for i in factors)
            (measurement,) = rows.add_measurements(
                connection, event_id, root, {reading: (value,)}, {reading: text},
                replaces=None if replaces is None else {reading: replaces},
            )  # fmt: skip
            raw_rows.link(connection, measurement, {ids[i]: factor for i, factor in factors.items()})
            done[reading] = value, how
        return done

    def joined(
        self,
        connection: sqlite3.Connection,
        root: int,
        setup: Setup,
        measured: Mapping[str, Sequence[sqlite3.Row]],
        *,
        instead: bool,
    ) -> Joined:
        """Return what raw readings of a cut that was read before give; a part of a set joins those there."""
        before = raw_rows.of_cut(connection, root)
        last = {
            name: stored[-1]
            for name, stored in measured.items()
            if stored and int(stored[-1]["id"]) in before
        }
        new = {entry.name for entry in self.entries}
        for reading, measurement in last.items():
            old = before[int(measurement["id"])]
            names = tuple(dict.fromkeys(row["name"] for row in old))
            if new < set(names) or (instead and new <= set(names)):
                kept = [row for row in old if not (instead and row["name"] in new)]
                alone = len(measured[reading]) == 1 or instead
                gone = int(measurement["id"]) if alone else None
                pitches = self.pitches or next((row["pitches"] for row in old if row["pitches"]), None)
                return Joined([(reading, names, "all its raw readings")], tuple(kept), gone, pitches)
        return Joined(planned(setup, self.entries, self.pitches), pitches=self.pitches)

    def sets(self, joined: Joined, usual_mm: Mapping[str, float]) -> dict[str, dict[str, RawSet]]:
        """Return by reading the raw readings that give it, as a question about slips takes them.

        Readings of which a raw one is an interval are left out.
        """
        if not joined.plan:
            return {}
        from calib.decision.rawslips import RawSet  # numpy comes with it

        found: dict[str, dict[str, RawSet]] = {}
        for reading, names, _ in joined.plan:
            factors = factors_of(reading, names, joined.pitches)
            sets = {}
            for name in names:
                old = [rows.reading_of(row) for row in joined.old if row["name"] == name]
                values = [*old, *(entry.reading for entry in self.entries if entry.name == name)]
                numbers = tuple(value for value in values if not isinstance(value, Interval))
                if len(numbers) == len(values):
                    sets[name] = RawSet(numbers, factors[name], len(old), usual_mm.get(name))
            if len(sets) == len(names):
                found[reading] = sets
        return found

    def _ids(
        self, connection: sqlite3.Connection, event_id: int, root: int, setup: Setup, joined: Joined
    ) -> list[int]:
        return [
            raw_rows.add(
                connection,
                event_id,
                root,
                entry.name,
                entry.reading,
                pitches=joined.pitches if entry.name in COUNTED else None,
                text=entry.text,
                gauge=entry.gauge
                or self.gauge
                or _usual(setup, joined.plan, entry.name)
                or self.last.get(entry.name),
            )
            for entry in self.entries
        ]


def worked_out(cut: Cut, made: Made) -> tuple[WorkedOut, ...]:
    """Return what was worked out for a cut as it is told."""
    found = []
    for reading, (value, how) in made.items():
        worth = cut.worth_of(reading, len(cut.readings.get(reading, ())) - 1)
        found.append(WorkedOut(reading, value, how, None if worth is None else worth.u_mm))
    return tuple(found)


def last_gauges(
    connection: sqlite3.Connection,
    setup_id: int,
    readings: Mapping[str, Sequence[Reading]],
    entries: Sequence[RawEntry],
) -> dict[str, str]:
    """Return the gauge of last time for what is read as a number now; a pin or a blade is named each time."""
    said = [*readings.items(), *((entry.name, (entry.reading,)) for entry in entries)]
    between = {name for name, values in said if any(isinstance(value, Interval) for value in values)}
    last = raw_rows.last_gauges(connection, setup_id)
    return {name: gauge for name, gauge in last.items() if name not in between}


def usual_gauges(
    setup: Setup,
    readings: Collection[str],
    gauge: str | None,
    own: Mapping[str, str],
    last: Mapping[str, str],
) -> dict[str, str]:
    """Return the gauge of each reading: named with it, for the cut, by the setup, or as last time."""
    found = {name: own.get(name) or gauge or setup.band(name).gauge or last.get(name) for name in readings}
    return {name: by for name, by in found.items() if by is not None}


def carried_over(setup: Setup, said: RawSaid, readings: Collection[str]) -> tuple[str, ...]:
    """Say which gauge was taken from last time, because none was named."""
    if said.gauge is not None:
        return ()
    usual = {band.name for band in setup.bands if band.gauge is not None}
    names = [entry.name for entry in said.entries if entry.gauge is None] + list(readings)
    carried = {said.last[name] for name in names if name in said.last and not usual & {name, *gives(name)}}
    return tuple(f"gauge {name}, as last time (another: --gauge NAME)" for name in sorted(carried))


def gauge_remarks(connection: sqlite3.Connection, named: Collection[str | None]) -> tuple[str, ...]:
    """Return a remark for each gauge that the shop does not know; the reading is kept all the same."""
    known = [row["name"] for row in nouns.current(connection, "gauges")]
    strangers = sorted(name for name in named if name is not None and name not in known)
    return tuple(
        f'gauge "{name}" is not in this shop, so nothing is known of its error. '
        f"{_hint(near_name(name, known))}calib gauge add {name}"
        for name in strangers
    )


def _hint(near: str | None) -> str:
    return f'Did you mean "{near}"? Else: ' if near else "Add it: "


def _factors(
    entries: Sequence[RawEntry], reading: str, names: tuple[str, ...], pitches: int | None
) -> dict[int, float]:
    """Return the factor of each entry that goes into a reading; repeats of one name share its factor."""
    by_name: dict[str, list[int]] = defaultdict(list)
    for index, entry in enumerate(entries):
        by_name[entry.name].append(index)
    factors = factors_of(reading, names, pitches)
    return {i: factors[name] / len(by_name[name]) for name in names for i in by_name[name]}


def _usual(setup: Setup, made: Plan, name: str) -> str | None:
    """Return the gauge that the reading is usually taken with, to which a raw one goes."""
    return next((setup.band(reading).gauge for reading, names, _ in made if name in names), None)

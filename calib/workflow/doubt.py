"""Readings that look like a slip of the fingers, before they are logged.

They are never put right silently: where somebody sits at a terminal the one that was meant is offered,
elsewhere it is remarked on, with the command that mends it.
"""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from statistics import median
from typing import TYPE_CHECKING

from calib.errors import CalibError
from calib.measurement.derived import COUNTED
from calib.shop import Cut, Reading
from calib.store import raws as raw_rows
from calib.units import Unit
from calib.workflow.bench import Bench
from calib.workflow.derived import RawEntry

if TYPE_CHECKING:
    from calib.decision.rawslips import RawSet, RawSlip
    from calib.decision.slips import Slip
    from calib.regression import Posterior

    Slips = tuple[Slip | RawSlip, ...]
    #: By reading that is worked out, by raw reading.
    Sizes = Mapping[str, Mapping[str, RawSet]]

Readings = Mapping[str, tuple[Reading, ...]]


class LooksLikeSlip(CalibError):
    """A reading is far from what was predicted, and a slip of the fingers would explain it.

    Parameters
    ----------
    slips : tuple of Slip or RawSlip
    units : {"mm", "in"}
    """

    def __init__(self, slips: Slips, units: Unit) -> None:
        super().__init__(" ".join(_question(slip, units) for slip in slips))
        self.slips, self.units = slips, units


def usual_sizes(connection: sqlite3.Connection, bench: Bench, without: int | None = None) -> dict[str, float]:
    """Return what raw readings of a setup usually are, mm: the median of the log, else what the cutter makes.

    ``without`` names by its root id a cut that is left out.
    """
    found: dict[str, list[float]] = defaultdict(list)
    for used in raw_rows.of_setup(connection, bench.setup_id).values():
        for row in used:
            if row["value_mm"] is not None and row["cut_id"] != without:
                found[row["name"]].append(float(row["value_mm"]))
    cutter_mm = bench.setup.cutter.nominal_mm
    nominal = {"slot": cutter_mm, "finger": cutter_mm} if cutter_mm else {}
    return {**nominal, **{name: median(values) for name, values in found.items()}}


def slips_in(bench: Bench, settings_mm: Mapping[str, float], readings: Readings, sizes: Sizes) -> Slips:
    """Return the slips among readings that are about to be logged.

    While nothing was measured before there is only geometry to go by, and sizes alone are looked at.
    """
    positions = {**bench.positions_mm, **settings_mm}
    complete = all(adjuster.name in positions for adjuster in bench.setup.adjusters)
    first = not any(cut.readings for cut in bench.log)
    if not complete or not (sizes or (readings and not first)):
        return ()
    there = Cut(0, "test", positions, pieces=0)
    if bench.log:
        there = replace(there, mounting=bench.log[-1].mounting, sharpening=bench.log[-1].sharpening)

    def belief() -> Posterior:
        from calib.regression import posterior  # numpy comes with it

        return posterior(bench.setup, [*bench.log, there])

    return _slips(belief, replace(there, readings=readings), sizes)


def slips_again(bench: Bench, root: int, readings: Readings, sizes: Sizes, *, instead: bool) -> Slips:
    """Return the slips among new readings of a cut, against its other cuts; else against its old readings."""
    if not (readings or sizes):
        return ()
    cut = bench.cut_of(root)

    def belief() -> Posterior | None:
        from calib.decision.slips import belief_beside
        from calib.regression import posterior

        beside = belief_beside(bench.setup, bench.log, cut)
        if beside is not None or instead:
            return beside
        there = replace(cut, number=0, pieces=0, readings={}, feel=None, moved=frozenset(), metres_m=None)
        return posterior(bench.setup, [*bench.log, there])

    return _slips(belief, replace(cut, readings=readings), sizes)


def _slips(belief: Callable[[], Posterior | None], cut: Cut, sizes: Sizes) -> Slips:
    from calib.decision.rawslips import raw_slips_of
    from calib.decision.slips import slips_of

    try:
        found = belief()
        return () if found is None else (*slips_of(found, cut), *raw_slips_of(found, sizes))
    except CalibError:  # nothing can be predicted of this setup yet; a cut is logged all the same
        return ()


def corrected(
    readings: Readings, raws: Sequence[RawEntry], slips: Slips
) -> tuple[dict[str, tuple[Reading, ...]], list[RawEntry]]:
    """Return readings and raw readings with what was meant in the place of what was typed."""
    from calib.decision.rawslips import RawSlip

    entries = list(raws)
    meant = {(s.reading, s.typed_mm): s.meant_mm for s in slips if not isinstance(s, RawSlip)}
    for slip in slips:
        if isinstance(slip, RawSlip):
            entries = _exchanged(entries, slip) if slip.swaps else _put_right(entries, slip)
    return {
        name: tuple(
            meant.get((name, value), value) if isinstance(value, float | int) else value for value in repeats
        )
        for name, repeats in readings.items()
    }, entries


def _exchanged(entries: Sequence[RawEntry], slip: RawSlip) -> list[RawEntry]:
    """Return raw readings with the two names exchanged; each keeps the gauge that was named with it."""
    first, second = slip.meant
    other = {first: second, second: first}
    return [
        replace(e, name=other[e.name], text=f"{e.text} (typed as {e.name})") if e.name in other else e
        for e in entries
    ]


def _put_right(entries: Sequence[RawEntry], slip: RawSlip) -> list[RawEntry]:
    """Return raw readings with the values that were meant; those of the log stand before those typed now."""
    found = []
    for entry in entries:
        meant = _meant_of(entries, entry, slip)
        if meant is None or meant == entry.reading:
            found.append(entry)
        else:
            found.append(replace(entry, reading=meant, text=f"{entry.text} (meant {meant:g} mm)"))
    return found


def _meant_of(entries: Sequence[RawEntry], entry: RawEntry, slip: RawSlip) -> float | None:
    if entry.name not in slip.meant:
        return None
    alike = [other for other in entries if other.name == entry.name]
    place = next(i for i, other in enumerate(alike) if other is entry)
    return slip.meant[entry.name][len(slip.meant[entry.name]) - len(alike) + place]


def remarks(slips: Slips, number: int, units: Unit, pitches: int | None = None) -> tuple[str, ...]:
    """Return what to say when nobody is there to answer: the question, and how to put it right."""
    return tuple(
        f"{_question(slip, units)} It is kept as typed. If so: "
        f"calib again {number} {_words(slip, units, pitches)} --instead"
        for slip in slips
    )


def _question(slip: Slip | RawSlip, units: Unit) -> str:
    from calib.decision.rawslips import RawSlip, raw_question
    from calib.decision.slips import question

    return raw_question(slip, units) if isinstance(slip, RawSlip) else question(slip, units)


def _words(slip: Slip | RawSlip, units: Unit, pitches: int | None) -> str:
    """Return what was meant as words of a command; all repeats of a raw reading are named."""
    from calib.decision.rawslips import RawSlip
    from calib.units import format_length

    if not isinstance(slip, RawSlip):
        return f"{slip.reading}={format_length(slip.meant_mm, units).replace(' ', '')}"
    words = [
        f"{name}={format_length(mm, units).replace(' ', '')}"
        for name, values in slip.meant.items()
        for mm in values
    ]
    counted = pitches is not None and any(name in COUNTED for name in slip.meant)
    return " ".join([*words, f"pitches={pitches}"] if counted else words)

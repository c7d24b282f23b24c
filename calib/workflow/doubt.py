"""Readings that look like a slip of the fingers, before they are logged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from calib.errors import CalibError
from calib.shop import Cut, Reading
from calib.units import Unit
from calib.workflow.bench import Bench

if TYPE_CHECKING:
    from calib.decision.slips import Slip


class LooksLikeSlip(CalibError):
    """A reading is far from what was predicted, and a slip of the fingers would explain it.

    Parameters
    ----------
    slips : tuple of Slip
    units : {"mm", "in"}
    """

    def __init__(self, slips: tuple[Slip, ...], units: Unit) -> None:
        from calib.decision.slips import question

        super().__init__(" ".join(question(slip, units) for slip in slips))
        self.slips, self.units = slips, units


def slips_in(
    bench: Bench, settings_mm: Mapping[str, float], readings: Mapping[str, tuple[Reading, ...]]
) -> tuple[Slip, ...]:
    """Return the slips among readings that are about to be logged; none while nothing was measured before."""
    positions = {**bench.positions_mm, **settings_mm}
    last = bench.log[-1] if bench.log else None
    complete = all(adjuster.name in positions for adjuster in bench.setup.adjusters)
    if not readings or last is None or not complete or not any(cut.readings for cut in bench.log):
        return ()
    from calib.decision.slips import slips_of  # numpy comes with it
    from calib.regression import posterior

    there = Cut(0, "test", positions, pieces=0, mounting=last.mounting, sharpening=last.sharpening)
    cut = Cut(0, "test", positions, readings)
    try:
        return slips_of(posterior(bench.setup, [*bench.log, there]), cut)
    except CalibError:  # nothing can be predicted of this setup yet; a cut is logged all the same
        return ()


def corrected(
    readings: Mapping[str, tuple[Reading, ...]], slips: tuple[Slip, ...]
) -> dict[str, tuple[Reading, ...]]:
    """Return readings with what was meant in the place of what was typed."""
    meant = {(slip.reading, slip.typed_mm): slip.meant_mm for slip in slips}
    return {
        name: tuple(
            meant.get((name, value), value) if isinstance(value, float | int) else value for value in repeats
        )
        for name, repeats in readings.items()
    }


def remarks(slips: tuple[Slip, ...], number: int, units: Unit) -> tuple[str, ...]:
    """Return what to say when nobody is there to answer: the question, and how to put it right."""
    from calib.decision.slips import question
    from calib.units import format_length

    return tuple(
        f"{question(slip, units)} It is kept as typed. If so: calib again {number} "
        f"{slip.reading}={format_length(slip.meant_mm, units).replace(' ', '')} --instead"
        for slip in slips
    )

"""What limits this shop: how many minutes a better gauge, adjuster or stop would save in one batch.

The plan is asked for its expected minutes as things are, and again with one error halved. The difference
is what halving that error is worth per batch, from wherever the belief stands (before any cut: from
mounting to the last good piece).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from calib.decision.advise import expected_minutes
from calib.measurement.worth import worth_as_knowledge
from calib.shop import Cut, Knowledge, Scales, Setup


@dataclass(frozen=True)
class Limit:
    """One error of the shop, and what half of it would save.

    Parameters
    ----------
    what : str
        "gauge", "key" (an adjuster's name) or "mounting".
    saving_min : float
        Minutes per batch, from the plan; may come out slightly below 0 where nothing is to be saved.
    """

    what: str
    saving_min: float


def limits(setup: Setup, cuts: Sequence[Cut] = ()) -> tuple[float, tuple[Limit, ...]]:
    """Return the expected minutes as things are, and the limits, the greatest saving first."""
    setup = worth_as_knowledge(setup)
    now = expected_minutes(setup, cuts)
    found = [
        Limit(what, now - expected_minutes(replace(setup, knowledge=better), cuts))
        for what, better in halved(setup).items()
    ]
    return now, tuple(sorted(found, key=lambda limit: -limit.saving_min))


def halved(setup: Setup) -> dict[str, Knowledge]:
    """Return the knowledge with one error halved, for each error that a maker can buy or build off."""
    known = setup.knowledge
    readings = [band.name for band in setup.bands]
    better = {"gauge": _halve(known, readings, "reading_sd_mm")}
    for adjuster in setup.adjusters:
        if setup.move_sd_mm(adjuster.name) > 0.0:
            better[adjuster.name] = _halve(known, [adjuster.name], "move_sd_mm")
    mounting = _halve(known, readings, "offset_sd_mm")
    if known.mounting_sd_mm is not None:
        mounting = replace(known, mounting_sd_mm=0.5 * known.mounting_sd_mm)
    better["mounting"] = mounting
    return better


def _halve(known: Knowledge, names: Sequence[str], quantity: str) -> Knowledge:
    of = dict(known.of)
    for name in names:
        of[name] = replace(of.get(name, Scales()), **{quantity: 0.5 * known.scale(name, quantity)})
    return replace(known, of=of)

"""Unknowns that several readings share: an offset that one reading has from another, errors of a gauge.

*Offset.* Each reading has one in every mounting, and, where mountings are linked, one across them. A reading
that follows another (play after clearance) has the other's offset and a rest of its own, so that either one
informs the other and the two are never taken for one.

*Gauge.* What a gauge is off by, at its zero or within its limit of error, is one unknown for all the readings
it took, each with the factor by which it acts there; it is in measurements and never in the wood.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from calib.shop import Cut, Knowledge, Setup, Worth

#: A shared error of a gauge is a term of its own, under its name.
GAUGE = "gauge:"
#: Name of a term and the sd of its prior.
Prior = tuple[str, float]


def offset_priors(
    known: Knowledge, reading: str, spans: int | None, follows: Mapping[str, str]
) -> list[Prior]:
    """Return the unknowns of a reading's offset over so many mountings, each with its prior sd, mm.

    With `spans` None the rows are of one mounting that goes on from others: the setup's own offset and the
    mounting's are one term (which each mounting draws anew, so its prior sd is never quite 0).
    """
    if reading in follows:
        return [(f"rest:{reading}", known.rest_sd_mm)]
    if spans is None:
        return [(f"offset:{reading}", max(known.scale(reading, "offset_sd_mm"), 1e-6))]
    own = known.mounting_sd_mm
    across = [] if own is None else [(f"offset:{reading}", known.scale(reading, "offset_sd_mm"))]
    span_sd = known.scale(reading, "offset_sd_mm") if own is None else own
    return across + [(f"span:{reading}:{span}", span_sd) for span in range(spans)]


def offset_features(reading: str, span: int, follows: Mapping[str, str]) -> dict[str, float]:
    """Return the features (by term name) of the offset of a reading in one mounting."""
    base = follows.get(reading, reading)
    rest = {} if base == reading else {f"rest:{reading}": 1.0}
    return {f"offset:{base}": 1.0, f"span:{base}:{span}": 1.0, **rest}


def gauge_priors(setup: Setup, readings: Sequence[str], cuts: Sequence[Cut]) -> list[Prior]:
    """Return each error that readings share through their gauges, with its sd, mm."""
    found: dict[str, float] = {}
    for reading in readings:
        worths = [worth for cut in cuts for worth in cut.worths.get(reading, ())]
        for worth in (*worths, setup.worth.get(reading)):
            if worth is not None:
                found.update({name: sd for name, (_, sd) in worth.shared.items()})
    return [(f"{GAUGE}{name}", sd) for name, sd in found.items() if sd > 0.0]


def measured_features(reading: str, worth: Worth | None) -> dict[str, float]:
    """Return what a measurement has beside the size of the wood: the shared errors of its gauge."""
    if worth is None:
        return {f"zero:{reading}": 1.0}
    return {f"{GAUGE}{name}": slope for name, (slope, _) in worth.shared.items()}

"""Typing slips: a reading that cannot be, and the one that was meant.

A reading that stands more than six standard uncertainties from what was predicted is tried as the slips that
fingers make: the decimal point, inches typed for mm (or the other way round), slot and finger swapped, which
turns the sign of their difference round. A slip is offered when what would have been meant lies within three
standard uncertainties of the prediction. It is a question, never a correction by itself; a slip too small to
be told is left to the model of slips (`regression.blunder`). Sizes that a reading is worked out from are in
`decision.rawslips`.

Of several, the one with the greatest p(meant) |d meant / d typed| times how common the slip is, counts.

Symbols
-------
z distance from the prediction in its standard uncertainty
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.normal import pdf
from calib.regression.infer import Posterior, posterior
from calib.regression.mixture import Mixture
from calib.shop import Cut, Interval, Setup
from calib.units import MM_PER_INCH, Unit, format_length

#: Farther off than this a reading is asked about; nearer than that a correction fits.
FAR, NEAR = 6.0, 3.0
#: Differences of two sizes, whose sign turns when the two are swapped.
_DIFFERENCES = ("clearance", "play", "gap")
#: What the slip is called, what the typed value is to be multiplied by, and how common it is (no source).
SLIPS = (
    ("the decimal point", 0.1, 1.0),
    ("the decimal point", 10.0, 1.0),
    ("the decimal point", 0.01, 0.3),
    ("the decimal point", 100.0, 0.3),
    ("inches typed for mm", MM_PER_INCH, 1.0),
    ("mm typed for inches", 1.0 / MM_PER_INCH, 0.3),
)
_SWAPPED = ("slot and finger swapped, or the sign", -1.0, 1.0)


@dataclass(frozen=True)
class Slip:
    """A reading that looks like a slip, and the one that was probably meant.

    Parameters
    ----------
    reading : str
    typed_mm, meant_mm : float, mm
    kind : str
        "the decimal point", "inches typed for mm", "slot and finger swapped, or the sign" ...
    expected_mm : float, mm
    interval90_mm : (float, float), mm
        Where nine readings in ten were predicted.
    """

    reading: str
    typed_mm: float
    meant_mm: float
    kind: str
    expected_mm: float
    interval90_mm: tuple[float, float]


def likely_slip(reading: str, typed_mm: float, predicted: Mixture) -> Slip | None:
    """Return the slip that a typed reading looks like, or None.

    Parameters
    ----------
    reading : str
        Its name; clearance, play and gap are differences, whose sign may be turned round.
    typed_mm : float, mm
    predicted : Mixture
        Of the next reading, mm.

    Examples
    --------
    >>> predicted = Mixture(np.ones(1), np.array([0.07]), np.array([0.03]))
    >>> likely_slip("clearance", 0.70, predicted).kind
    'the decimal point'
    >>> likely_slip("clearance", 0.12, predicted) is None
    True
    """
    mean, u = predicted.expected, predicted.u
    if not u > 0.0 or abs(typed_mm - mean) <= FAR * u:
        return None
    slips = (*SLIPS, _SWAPPED) if reading in _DIFFERENCES else SLIPS
    best, best_score = None, 0.0
    for kind, factor, common in slips:
        meant = typed_mm * factor
        if abs(meant - mean) > NEAR * u:
            continue
        score = common * abs(factor) * density(predicted, meant)
        if score > best_score:
            best, best_score = (kind, meant), score
    if best is None:
        return None
    return Slip(reading, typed_mm, round(best[1], 6), best[0], mean, predicted.interval(0.9))


def slips_of(belief: Posterior, cut: Cut) -> tuple[Slip, ...]:
    """Return the slips among the readings of a cut that the belief does not hold yet.

    The belief stands where the cut was made. Readings of which nothing was measured before are left alone:
    there a prediction is only geometry.
    """
    found = []
    for reading, values in cut.readings.items():
        if not measured_before(belief, reading):
            continue
        predicted = belief.next_reading(reading)
        numbers = [float(value) for value in values if not isinstance(value, Interval)]
        found += [likely_slip(reading, value, predicted) for value in numbers]
    return tuple(slip for slip in found if slip is not None)


def measured_before(belief: Posterior, reading: str) -> bool:
    """Say whether a number of this reading is in the log; before that a prediction is only geometry."""
    block, f = belief.block_of(reading)
    return any(row.reading == f and row.is_number for row in block.block.rows)


def belief_beside(setup: Setup, rows: Sequence[Cut], cut: Cut) -> Posterior | None:
    """Return what all other cuts of a log say of the setting of one cut; None when they say nothing."""
    others = [replace(row, readings={}, feel=None) if row.number == cut.number else row for row in rows]
    there = replace(cut, number=0, pieces=0, readings={}, feel=None, moved=frozenset(), metres_m=None)
    if not any(row.readings for row in others):
        return None
    return posterior(setup, [*others, there])


def slips_against(setup: Setup, rows: Sequence[Cut], cut: Cut) -> tuple[Slip, ...]:
    """Return the slips in one cut of a log, against what all its other cuts say of that setting."""
    belief = belief_beside(setup, rows, cut)
    return () if belief is None else slips_of(belief, cut)


def question(slip: Slip, units: Unit = "mm") -> str:
    """Say what looks like a slip, and what was probably meant.

    >>> question(Slip("clearance", 0.7, 0.07, "the decimal point", 0.071, (0.02, 0.12)))
    'clearance 0.70 mm: 0.02 to 0.12 mm was expected. Was 0.07 mm meant (the decimal point)?'
    """
    low, high = slip.interval90_mm
    first = format_length(low, units).rsplit(" ", 1)[0]
    return (
        f"{slip.reading} {format_length(slip.typed_mm, units)}: {first} to {format_length(high, units)} was "
        f"expected. Was {format_length(slip.meant_mm, units)} meant ({slip.kind})?"
    )


def density(predicted: Mixture, value: float) -> float:
    """Return the density of a prediction at a value, per mm; 0 where it is not finite."""
    sd = np.maximum(predicted.sd, 1e-12)
    found = float(predicted.weights @ (pdf((value - predicted.mean) / sd) / sd))
    return found if math.isfinite(found) else 0.0

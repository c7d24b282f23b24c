"""Typing slips in raw readings: a slot, a finger, a length over several pitches.

A reading that is worked out stands far from what was predicted. Each raw reading is then tried as the slips
that fingers make (`decision.slips`), all repeats of one name at once, all raw readings at once, and two sizes
typed for each other. A slip is offered when it moved the reading by more than six standard uncertainties of
the prediction, out of what lies within three of it. It is a question, never a correction by itself.

Of several, the one counts with the greatest p(meant) |d meant / d typed| times how common the slip is,
times how usual the sizes are that it leaves: a slot of 60.2 mm and a finger of 6.02 mm agree once either is
put right, but only one way leaves a slot as wide as the cutter. Sizes are never made less usual.

Symbols
-------
A factor of the mean of a raw reading in the reading; z distance from the prediction in its uncertainty
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from calib.decision.slips import FAR, NEAR, SLIPS, density, measured_before
from calib.regression.infer import Posterior
from calib.regression.mixture import Mixture
from calib.units import Unit, format_length

#: Sizes that are easily typed for each other, and how common it is (no source).
SWAPPED = (("slot", "finger"), ("pocket", "insert"), ("thickness", "step"), ("left", "right"))
_SWAP_COMMON = 1.0
#: Nearer than this a reading is as well a good one of a wide spread, and is not asked about.
_ODD = 4.0
#: Half width, in natural logarithm, of the sizes that are usual for a raw reading (no source).
_USUAL_WIDTH = 0.1

Values = tuple[float, ...]


@dataclass(frozen=True)
class RawSet:
    """One raw reading with its repeats.

    Parameters
    ----------
    values_mm : tuple of float, mm
    factor : float, mm per mm
        A, of their mean in the reading.
    stored : int
        How many of them, the first ones, were there before and are not in question.
    usual_mm : float or None, mm
        What it read at earlier cuts, or what the cutter makes it; None = not known.
    """

    values_mm: Values
    factor: float
    stored: int = 0
    usual_mm: float | None = None


@dataclass(frozen=True)
class RawSlip:
    """Raw readings that look like a slip, and the ones that were probably meant.

    Parameters
    ----------
    reading : str
        What is worked out from them.
    typed_mm, meant_mm : float, mm
        The reading, as typed and as meant.
    kind : str
        "the decimal point", "inches typed for mm", "slot and finger swapped" ...
    expected_mm : float, mm
    interval90_mm : (float, float), mm
        Where nine readings in ten were predicted.
    typed, meant : mapping of raw reading to tuple of float, mm
        All values of each raw reading that the slip touches.
    """

    reading: str
    typed_mm: float
    meant_mm: float
    kind: str
    expected_mm: float
    interval90_mm: tuple[float, float]
    typed: Mapping[str, Values] = field(default_factory=dict)
    meant: Mapping[str, Values] = field(default_factory=dict)

    @property
    def swaps(self) -> bool:
        """True when two raw readings were typed for each other."""
        return self.kind.endswith("swapped")


def likely_raw_slip(reading: str, sets: Mapping[str, RawSet], predicted: Mixture) -> RawSlip | None:
    """Return the slip that the raw readings of one reading look like, or None.

    Parameters
    ----------
    reading : str
    sets : mapping of raw reading to RawSet
    predicted : Mixture
        Of the reading that was to be worked out, mm.

    Examples
    --------
    >>> import numpy as np
    >>> predicted = Mixture(np.ones(1), np.array([-0.05]), np.array([0.03]))
    >>> found = likely_raw_slip("clearance", {"slot": RawSet((60.2,), 1.0), "finger": RawSet((6.07,), -1.0)},
    ...     predicted)
    >>> found.kind, found.meant
    ('the decimal point', {'slot': (6.02,)})
    """
    mean, u = predicted.expected, predicted.u
    typed = _worked_out(sets, {})
    if not u > 0.0 or abs(typed - mean) <= _ODD * u:
        return None
    best, best_score, usual = None, 0.0, _how_usual(sets, {})
    for kind, common, change in _changes(sets):
        value, as_usual = _worked_out(sets, change), _how_usual(sets, change)
        if abs(value - mean) > NEAR * u or abs(typed - value) <= FAR * u or as_usual < 0.5 * usual:
            continue
        score = common * density(predicted, value) * as_usual
        if score > best_score:
            best, best_score = (kind, change, value), score
    if best is None:
        return None
    kind, change, value = best
    meant = {name: tuple(round(one, 6) for one in values) for name, values in change.items()}
    was = {name: sets[name].values_mm for name in change}
    return RawSlip(reading, typed, round(value, 6), kind, mean, predicted.interval(0.9), was, meant)


def raw_slips_of(belief: Posterior, worked_out: Mapping[str, Mapping[str, RawSet]]) -> tuple[RawSlip, ...]:
    """Return the slips among raw readings, by the reading that they give.

    Where nothing was measured before, a prediction is only geometry: then they are looked at where it is
    known of all sizes what they usually are.
    """
    found = (
        likely_raw_slip(reading, sets, belief.next_reading(reading))
        for reading, sets in worked_out.items()
        if measured_before(belief, reading) or all(one.usual_mm is not None for one in sets.values())
    )
    return tuple(slip for slip in found if slip is not None)


def raw_question(slip: RawSlip, units: Unit = "mm") -> str:
    """Say which raw readings look like a slip, and what was probably meant.

    >>> raw_question(RawSlip("clearance", 54.13, -0.05, "the decimal point", -0.04, (-0.1, 0.02),
    ...     {"slot": (60.2,)}, {"slot": (6.02,)}))
    'slot 60.20 mm: it makes the clearance 54.13 mm, and -0.10 to 0.02 mm was expected. \
Was slot 6.02 mm meant (the decimal point)?'
    """
    low, high = slip.interval90_mm
    first = format_length(low, units).rsplit(" ", 1)[0]
    several = sum(len(values) for values in slip.meant.values()) > 1
    return (
        f"{_told(slip.typed, units)}: {'they make' if several else 'it makes'} the {slip.reading} "
        f"{format_length(slip.typed_mm, units)}, and {first} to {format_length(high, units)} was expected. "
        f"{'Were' if several else 'Was'} {_told(slip.meant, units)} meant ({slip.kind})?"
    )


def _told(values: Mapping[str, Values], units: Unit) -> str:
    """Say raw readings with their repeats."""
    return " and ".join(
        f"{name} {format_length(mm, units)}" for name, repeats in values.items() for mm in repeats
    )


def _changes(sets: Mapping[str, RawSet]) -> Iterator[tuple[str, float, dict[str, Values]]]:
    """Give (kind, how common times |d meant / d typed|, what the touched raw readings would be)."""
    fresh = [name for name, one in sets.items() if one.stored == 0]
    for kind, factor, common in SLIPS:
        weight = common * abs(factor)
        for name, one in sets.items():
            values = one.values_mm
            for i in range(one.stored, len(values)):
                yield kind, weight, {name: (*values[:i], factor * values[i], *values[i + 1 :])}
            if name in fresh and len(values) > 1:
                yield kind, weight, {name: tuple(factor * value for value in values)}
        if len(fresh) == len(sets) > 1:
            yield kind, weight, {name: tuple(factor * v for v in sets[name].values_mm) for name in sets}
    for first, second in SWAPPED:
        if first in fresh and second in fresh:
            swapped = {first: sets[second].values_mm, second: sets[first].values_mm}
            yield f"{first} and {second} swapped", _SWAP_COMMON, swapped


def _worked_out(sets: Mapping[str, RawSet], change: Mapping[str, Values]) -> float:
    """Return the reading with some raw readings changed, mm."""
    every = {name: change.get(name, one.values_mm) for name, one in sets.items()}
    return math.fsum(one.factor * math.fsum(every[n]) / len(every[n]) for n, one in sets.items())


def _how_usual(sets: Mapping[str, RawSet], change: Mapping[str, Values]) -> float:
    """Return how usual the sizes are, 0 to 1 each: a Cauchy curve in the logarithm, wide in its tails."""
    found = 1.0
    for name, one in sets.items():
        if one.usual_mm is None or one.usual_mm <= 0.0:
            continue
        for value in change.get(name, one.values_mm):
            away = math.log(value / one.usual_mm) if value > 0.0 else math.inf
            found *= 1.0 / (1.0 + (away / _USUAL_WIDTH) ** 2)
    return found

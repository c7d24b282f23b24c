"""Readings that are worked out from what was really measured: clearance from slot and finger, and the like.

Each is a sum of raw readings with known factors, so its uncertainty follows in three lines: what every
raw reading has of its own is divided by the root of its repeats and added in quadrature; an error that
several raw readings share (a display's zero) is added with their factors first, so that it cancels where
it cancels and doubles where it doubles (JCGM 100:2008, 5.2).

Symbols
-------
s slot, f finger, p pitch, N pitches; O over N pitches and one finger, P over N pitches, edge to like edge
c clearance, s - f, above 0 is room; z zero error of a display, which reads too large by it

Assumed: the board's slots, fingers and pitches are alike. Not handled: more raw readings of one kind
than the sum needs (they are refused, not balanced against each other).
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType

from calib.errors import CalibError
from calib.shop import Interval, Reading, Worth

#: What is held to the wood for each raw reading.
RAW_USES: Mapping[str, str] = MappingProxyType(
    {
        "slot": "inside",
        "pocket": "inside",
        "finger": "outside",
        "insert": "outside",
        "over": "outside",
        "across": "outside",
        "thickness": "outside",
        "step": "outside",
        "rise": "depth",
        "left": "travel",
        "right": "travel",
        "float": "travel",
    }
)

#: Raw readings that say nothing without the number of pitches that they reach over.
COUNTED = ("over", "across")

#: reading, raw readings, how it is said; in the order in which they are looked for.
_FORMULAS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    ("clearance", ("slot", "finger"), "slot less finger"),
    ("clearance", ("over", "finger"), "pitch less two fingers, the pitch from outside jaws"),
    ("clearance", ("across", "finger"), "pitch less two fingers"),
    ("clearance", ("slot", "over"), "two slots less the pitch"),
    ("clearance", ("slot", "across"), "two slots less the pitch"),
    ("play", ("left", "right"), "side float, from one stop to the other"),
    ("play", ("float",), "side float"),
    ("gap", ("pocket", "insert"), "pocket less insert"),
    ("depth", ("thickness", "step"), "thickness less what is left"),
    ("proud", ("rise", "thickness"), "depth of the slots less the thickness"),
)


@dataclass(frozen=True)
class Raw:
    """What was really measured, with its repeats.

    Parameters
    ----------
    values_mm : tuple of float, mm
    repeat_sd_mm : float, mm
        sd of one of the values around what the gauge would read on average.
    shared : mapping of error name to sd, mm
        Errors that all values share, and that other raw readings may share too, under the same name.
        Each makes the reading too large by its own amount.
    """

    values_mm: tuple[float, ...]
    repeat_sd_mm: float = 0.0
    shared: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def mean_mm(self) -> float:
        """Mean of the repeats, mm."""
        return math.fsum(self.values_mm) / len(self.values_mm)


@dataclass(frozen=True)
class Derived:
    """A reading that was worked out.

    Parameters
    ----------
    reading : str
    value_mm : float, mm
    worth : Worth
        Its own error, and the factors of the errors that it shares.
    factors : mapping of raw reading to float, mm per mm
    how : str
        In words.
    """

    reading: str
    value_mm: float
    worth: Worth
    factors: Mapping[str, float]
    how: str

    @property
    def u_mm(self) -> float:
        """Standard uncertainty, mm."""
        return self.worth.u_mm


def derive(raws: Mapping[str, Raw], factors: Mapping[str, float], reading: str, how: str = "") -> Derived:
    """Return the sum of raw readings times their factors, with its uncertainty.

    u^2 = sum_i a_i^2 s_i^2 / n_i + sum_k (sum_i a_ik)^2 u_k^2, where i are raw readings and k shared errors.

    Parameters
    ----------
    raws : mapping of name to Raw
    factors : mapping of name to float, mm per mm

    >>> slot, finger = Raw((6.02, 6.00), 0.01, {"zero": 0.03}), Raw((5.95,), 0.01, {"zero": 0.03})
    >>> found = derive({"slot": slot, "finger": finger}, {"slot": 1.0, "finger": -1.0}, "clearance")
    >>> round(found.value_mm, 3), round(found.u_mm, 5), found.worth.shared
    (0.06, 0.01225, {})
    """
    value = math.fsum(a * raws[name].mean_mm for name, a in factors.items())
    own = [a * raws[n].repeat_sd_mm / math.sqrt(len(raws[n].values_mm)) for n, a in factors.items()]
    shared: dict[str, tuple[float, float]] = {}
    for name, a in factors.items():
        for error, sd in raws[name].shared.items():
            shared[error] = (shared.get(error, (0.0, sd))[0] + a, sd)
    acting = {error: (slope, sd) for error, (slope, sd) in shared.items() if abs(slope) > 1e-12 and sd > 0.0}
    return Derived(reading, value, Worth(math.hypot(0.0, *own), acting), dict(factors), how)


def total(shares: Sequence[tuple[Reading, float]]) -> Reading:
    """Return the sum of readings times their factors, mm; an interval when one of them is.

    >>> total([(6.02, 1.0), (6.07, -1.0)]) == 6.02 - 6.07
    True
    >>> total([(Interval(6.0, 6.05), 1.0), (5.95, -1.0)]).high_mm == 6.05 - 5.95
    True
    """
    if not any(isinstance(reading, Interval) for reading, _ in shares):
        return math.fsum(factor * _end(reading, factor, upper=True) for reading, factor in shares)
    low, high = (
        sum(factor * _end(reading, factor, upper=upper) for reading, factor in shares)
        for upper in (False, True)
    )
    return Interval(low, high)


def _end(reading: Reading, factor: float, *, upper: bool) -> float:
    """Return the end of a reading that makes the sum large (upper) or small."""
    if not isinstance(reading, Interval):
        return reading
    return reading.high_mm if (factor > 0.0) == upper else reading.low_mm


def factors_of(reading: str, names: Collection[str], pitches: int | None = None) -> Mapping[str, float]:
    """Return the factor of each raw reading in a reading.

    Parameters
    ----------
    names : collection of str
        One of the sets of raw readings that give the reading.
    pitches : int or None
        N, that `over` and `across` reach over.

    >>> factors_of("clearance", ("over", "finger"), 10)
    {'over': 0.1, 'finger': -2.1}
    """
    n = 1 if pitches is None else pitches
    first = names if isinstance(names, tuple) else tuple(names)
    table: dict[frozenset[str], dict[str, float]] = {
        frozenset(("slot", "finger")): {"slot": 1.0, "finger": -1.0},
        frozenset(("over", "finger")): {"over": 1.0 / n, "finger": -(2.0 + 1.0 / n)},
        frozenset(("across", "finger")): {"across": 1.0 / n, "finger": -2.0},
        frozenset(("slot", "over")): {"slot": 2.0 - 1.0 / (n + 1), "over": -1.0 / (n + 1)},
        frozenset(("slot", "across")): {"slot": 2.0, "across": -1.0 / n},
        frozenset(("left", "right")): {"right": 1.0, "left": -1.0},
        frozenset(("float",)): {"float": 1.0},
        frozenset(("pocket", "insert")): {"pocket": 1.0, "insert": -1.0},
        frozenset(("thickness", "step")): {"thickness": 1.0, "step": -1.0},
        frozenset(("rise", "thickness")): {"rise": 1.0, "thickness": -1.0},
    }
    found = table.get(frozenset(first))
    if found is None:
        raise CalibError(f"{reading}: {' and '.join(first)} do not give it. {ways(reading)}")
    return found


def plan(
    names: Sequence[str], readings: Collection[str], pitches: int | None = None
) -> list[tuple[str, tuple[str, ...], str]]:
    """Return (reading, raw readings, how) for each reading that the raw ones give.

    Parameters
    ----------
    names : sequence of str
        The raw readings there are.
    readings : collection of str
        The readings that the setup has.
    pitches : int or None

    Raises
    ------
    CalibError
        When a raw reading gives nothing, the number of pitches is missing, or the setup does not have
        the reading.

    >>> plan(["finger", "slot"], ["clearance"])
    [('clearance', ('slot', 'finger'), 'slot less finger')]
    """
    _check_pitches(names, pitches)
    found: dict[str, tuple[str, tuple[str, ...], str]] = {}
    for reading, raws, how in _FORMULAS:
        if reading not in found and all(name in names for name in raws):
            found[reading] = (reading, raws, how)
    used = {name for _, raws, _ in found.values() for name in raws}
    for name in names:
        if name not in used:
            raise CalibError(_left_over(name, used))
    for reading, raws, _ in found.values():
        if reading not in readings:
            raise CalibError(
                f"{' and '.join(raws)} give the {reading}, which this setup does not have. "
                f"It has: {', '.join(readings)}."
            )
    return list(found.values())


def gives(raw: str) -> set[str]:
    """Return the readings that a raw reading can be part of.

    >>> sorted(gives("thickness"))
    ['depth', 'proud']
    """
    return {reading for reading, raws, _ in _FORMULAS if raw in raws}


def ways(reading: str) -> str:
    """Say from what a reading can be worked out.

    >>> ways("gap")
    'gap comes from pocket and insert.'
    """
    sets = [" and ".join(raws) for name, raws, _ in _FORMULAS if name == reading]
    return f"{reading} comes from {', or '.join(sets)}." if sets else f"{reading} has to be read itself."


def _left_over(name: str, used: Collection[str]) -> str:
    partners = [
        " and ".join(other for other in raws if other != name) for _, raws, _ in _FORMULAS if name in raws
    ]
    if any(set(partner.split(" and ")) <= set(used) for partner in partners if partner):
        return f"{name} is one reading too many beside {' and '.join(sorted(used))}. Leave one of them out."
    return f"{name} alone says nothing of the fit. Give {', or '.join(p for p in partners if p)} with it."


def _check_pitches(names: Sequence[str], pitches: int | None) -> None:
    counted = [name for name in names if name in COUNTED]
    if counted and pitches is None:
        raise CalibError(f"{counted[0]}: over how many pitches? Add pitches=5.")
    if pitches is not None and not counted:
        raise CalibError("pitches says how far over or across reaches, and neither is given. Add over=63.02.")
    if pitches is not None and not 1 <= pitches <= 1000:
        raise CalibError(f"pitches {pitches} will not do. Give how many pitches were spanned, 1 or more.")

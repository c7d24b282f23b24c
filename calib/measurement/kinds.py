"""Kinds of gauge: what each can be held to, and how far it is to be trusted until it has been studied.

The numbers are starting points. Those of callipers are the limits of DIN 862 (S); all others are common
practice in the trade, no source. A gauge's own limit of error takes their place, and a repeat study takes
the place of the repeat error.

A gauge's error has three parts, kept apart because they add up differently:

* *repeat*: the hand, the wood under the jaws and the step of the display; another draw every time;
* *zero*: what the display is off when it should read 0; one for all that the gauge reads;
* *limit*: what the maker leaves open within the limit of error, one for each use (outside and inside jaws,
  depth rod) and each thing measured (all slots alike, all fingers alike), u = limit / sqrt 3 (JCGM 100:2008,
  4.3.7), and what differs from hand to hand. It may be another at another size, so in thickness less what
  is left it does not cancel.

The last two do not shrink when a reading is repeated.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from calib.errors import unknown
from calib.measurement.derived import RAW_USES, Raw, derive
from calib.measurement.uncertainty import display_step, type_b
from calib.shop import Worth

Use = Literal["outside", "inside", "depth", "travel"]
USES: tuple[Use, ...] = ("outside", "inside", "depth", "travel")

#: Fewest degrees of freedom of a study that may speak for the gauge: below, the sd of t has no value.
LEAST_DOF = 3


@dataclass(frozen=True)
class GaugeKind:
    """What is assumed of a kind.

    Parameters
    ----------
    words : tuple of str
        What it is also called.
    uses : tuple of Use
        What it can be held to.
    has_zero : bool
        It is set to zero, and may be off when it shows 0.
    limit_mm : float, mm
        Limit of error of a gauge that has none of its own.
    inside_more_mm : float, mm
        What is added to it for inside and depth measurement.
    repeat_sd_mm : float, mm
        sd of one reading on wood, beside the step of the display.
    resolution_mm : float, mm
        Smallest step, where none is said.
    """

    name: str
    words: tuple[str, ...]
    uses: tuple[Use, ...]
    has_zero: bool
    limit_mm: float
    inside_more_mm: float
    repeat_sd_mm: float
    resolution_mm: float

    @property
    def says_yes_or_no(self) -> bool:
        """Whether it shows no number at all: it goes or it does not."""
        return self.name in ("pin", "sample")


KINDS: tuple[GaugeKind, ...] = (
    # Limits S: DIN 862, to 100 mm of length; repeat: common practice, no source.
    GaugeKind("calliper", ("callipers", "caliper", "calipers"), ("outside", "inside", "depth"), True,
              0.02, 0.02, 0.01, 0.01),
    # All below: common practice, no source.
    GaugeKind("depth-gauge", ("depth", "depth gauge", "depth-rod"), ("depth",), True, 0.03, 0.0, 0.015, 0.01),
    GaugeKind("feeler", ("feelers", "feeler-blades", "blade", "blades", "feeler blades"),
              ("inside", "travel"), False, 0.005, 0.0, 0.01, 0.01),
    GaugeKind("indicator", ("dial", "dial-indicator", "test-indicator"), ("travel", "depth"), True,
              0.02, 0.0, 0.005, 0.01),
    GaugeKind("ruler", ("rule", "scale", "tape"), ("outside", "inside", "depth", "travel"), False,
              0.1, 0.0, 0.15, 0.5),
    GaugeKind("pin", ("pins", "go-no-go", "plug", "go/no-go"), ("inside",), False, 0.005, 0.0, 0.01, 0.01),
    GaugeKind("sample", ("sample-joint", "kept-joint", "master", "sample joint"), ("travel", "inside"), False,
              0.02, 0.0, 0.02, 0.01),
)  # fmt: skip

#: What a gauge is held to for a reading that is read directly.
_DIRECT_USES: Mapping[str, Use] = MappingProxyType(
    {"width": "outside", "depth": "depth", "proud": "depth", "setback": "depth", "play": "travel"}
)
#: A difference that a calliper can only give by two readings, worked out in the head.
_BY_TWO: Mapping[str, tuple[str, str]] = MappingProxyType(
    {"clearance": ("slot", "finger"), "gap": ("pocket", "insert")}
)


@dataclass(frozen=True)
class Studied:
    """What a repeat study found for one use of a gauge.

    Parameters
    ----------
    repeat_sd_mm : float, mm
        Of one reading by one hand, with the interaction of hand and part.
    hand_sd_mm : float or None, mm
        Between hands; None when only one took part.
    dof : int
        Degrees of freedom of the repeat error.
    """

    repeat_sd_mm: float
    hand_sd_mm: float | None
    dof: int


@dataclass(frozen=True)
class Gauge:
    """A gauge as the model takes it; None = what its kind says.

    Parameters
    ----------
    resolution_mm, limit_of_error_mm, inside_limit_mm, zero_limit_mm : float or None, mm
        Step of the display; limits of error outside, and inside or by the depth rod; how far its zero
        may be off.
    studied : mapping of Use to Studied
    """

    name: str
    kind: str
    resolution_mm: float
    limit_of_error_mm: float | None = None
    inside_limit_mm: float | None = None
    zero_limit_mm: float | None = None
    studied: Mapping[str, Studied] = field(default_factory=lambda: MappingProxyType({}))


def kind_of(word: str) -> GaugeKind:
    """Return the kind meant by a word; raise `CalibError` with a near one, or all.

    >>> kind_of("Dial").name
    'indicator'
    """
    asked = word.strip().lower()
    for kind in KINDS:
        if asked == kind.name or asked in kind.words:
            return kind
    raise unknown("kind of gauge", word, [kind.name for kind in KINDS])


def limit_mm(gauge: Gauge, use: str) -> float:
    """Return the limit of error of one use, mm: the gauge's own, else its kind's.

    >>> limit_mm(Gauge("c", "calliper", 0.01), "outside"), limit_mm(Gauge("c", "calliper", 0.01), "inside")
    (0.02, 0.04)
    >>> limit_mm(Gauge("c", "calliper", 0.05), "outside")
    0.05
    """
    kind = kind_of(gauge.kind)
    own = gauge.limit_of_error_mm
    if use in ("inside", "depth") and gauge.inside_limit_mm is not None:
        return gauge.inside_limit_mm
    coarse = kind.name == "calliper" and gauge.resolution_mm > 0.02
    outside = own if own is not None else (0.05 if coarse else kind.limit_mm)
    return outside + (kind.inside_more_mm if use in ("inside", "depth") else 0.0)


def repeat_sd_mm(gauge: Gauge, use: str) -> float:
    """Return the sd of one reading by one hand, mm.

    From a study of this use it is s sqrt(dof / (dof - 2)), the sd of Student's t: a spread that is known
    from few readings is not taken as certain. Without one it is the kind's. Never less than one step of
    the display leaves open.

    >>> gauge = Gauge("c", "calliper", 0.01, studied={"outside": Studied(0.008, None, 10)})
    >>> round(repeat_sd_mm(gauge, "outside"), 5), round(repeat_sd_mm(gauge, "inside"), 5)
    (0.00894, 0.01041)
    """
    step = display_step(gauge.resolution_mm)
    found = gauge.studied.get(use)
    if found is None or found.dof < LEAST_DOF:
        return math.hypot(kind_of(gauge.kind).repeat_sd_mm, step)
    return max(found.repeat_sd_mm * math.sqrt(found.dof / (found.dof - 2.0)), step)


def shared_sds_mm(gauge: Gauge, use: str, at: str) -> dict[str, float]:
    """Return the sds of the errors that every reading of this use at this thing shares, by name, mm.

    >>> sds = shared_sds_mm(Gauge("c", "calliper", 0.01, zero_limit_mm=0.03), "inside", "slot")
    >>> {name: round(sd, 4) for name, sd in sds.items()}
    {'c, inside at slot': 0.0231, 'c, zero': 0.0173}
    """
    found = gauge.studied.get(use)
    hand = found.hand_sd_mm if found is not None and found.hand_sd_mm is not None else 0.0
    sds = {f"{gauge.name}, {use} at {at}": math.hypot(type_b(limit_mm(gauge, use)), hand)}
    if kind_of(gauge.kind).has_zero and use != "travel":
        own = gauge.zero_limit_mm
        sds[f"{gauge.name}, zero"] = display_step(gauge.resolution_mm) if own is None else type_b(own)
    return sds


def raw_with(
    gauge: Gauge | None,
    name: str,
    values_mm: tuple[float, ...],
    unknown_sd_mm: float,
    unknown_zero_mm: float = 0.0,
) -> Raw:
    """Return a raw reading with the errors of the gauge it was taken with.

    Parameters
    ----------
    gauge : Gauge or None
        None = not known; then `unknown_sd_mm` is the sd of one value, and `unknown_zero_mm` that of a zero
        error which all such values share.
    name : str
        slot, finger and so on: it says what the gauge was held to.
    """
    use = RAW_USES[name]
    if gauge is None:
        zero = {} if use == "travel" else {"a gauge not named, zero": unknown_zero_mm}
        return Raw(values_mm, unknown_sd_mm, zero)
    return Raw(values_mm, repeat_sd_mm(gauge, use), shared_sds_mm(gauge, use, name))


def direct_worth(gauge: Gauge, reading: str) -> Worth:
    """Return how good a reading is that was read with a gauge and not worked out here.

    A clearance or a gap that was read with callipers is taken as what it must be, inside jaws less
    outside jaws worked out in the head: the zero cancels, both limits and both repeats count.

    >>> worth = direct_worth(Gauge("c", "calliper", 0.01, 0.02), "clearance")
    >>> round(worth.shared_sd_mm, 4), round(worth.repeat_sd_mm, 4), sorted(worth.shared)
    (0.0258, 0.0147, ['c, inside at slot', 'c, outside at finger'])
    """
    kind = kind_of(gauge.kind)
    if reading in _BY_TWO and {"inside", "outside"} <= set(kind.uses) and kind.name != "ruler":
        one, other = _BY_TWO[reading]
        raws = {name: raw_with(gauge, name, (0.0,), 0.0) for name in (one, other)}
        return derive(raws, {one: 1.0, other: -1.0}, reading).worth
    use = _DIRECT_USES.get(reading, kind.uses[0])
    use = use if use in kind.uses else kind.uses[0]
    sds = shared_sds_mm(gauge, use, reading)
    return Worth(repeat_sd_mm(gauge, use), {name: (1.0, sd) for name, sd in sds.items() if sd > 0.0})

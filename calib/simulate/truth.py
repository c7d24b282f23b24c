"""What is true of one simulated shop, drawn inside or outside the prior of its setup.

Inside the prior: the offset of each reading, the factors on scatter and move error, the scale errors,
creep, gauge zero and rate of wear are drawn from `Knowledge` as the model takes them: the scatter's
factor multiplies the scatter of a cut and of a reading, the move's factor the error of every move,
and no factor touches a scale error. Outside it: fixed factors, heavy tails, fast first metres, a
shift on the way, slips, backlash that the maker does not take out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from numpy.random import Generator

from calib.geometry import describe
from calib.regression.footing import start_setting
from calib.shop import Knowledge, Setup

#: The sd that stands for "nothing is known" where a truth must be drawn all the same, mm.
WIDE_MM = 1.0


@dataclass(frozen=True)
class Truth:
    """The shop as it really is.

    Parameters
    ----------
    offset_mm : mapping of reading to mm
        Of the true size from what geometry says at the first setting.
    cut_sd_mm, reading_sd_mm : mapping of reading to mm
    move_sd_mm : mapping of adjuster to mm of its scale
    scale_error : mapping of adjuster to mm per mm
    slopes : mapping of (reading, adjuster) to mm per mm
        Only for slopes that the setup leaves to be learned.
    zero_mm : mapping of reading to mm
        Of the gauge: in every measurement, in no piece.
    creep_mm : mapping of reading to mm per piece since the last adjustment
    wear_mm_per_m : float
        Recession of the cutting edge.
    fast_mm, fast_m : float
        A fresh edge loses `fast_mm` more, most of it in the first `fast_m` metres.
    shift_mm : mapping of reading to mm; shift_after : int
        The setup jumps by so much after so many pieces, test cuts included.
    heavy_tails : bool
        The scatter of a cut is Student's t with 3 degrees of freedom, of the same sd.
    slip_probability, slip_sd_mm : float
        Of any one measurement being a slip, and how far it is then off.
    backlash_ignored : bool
        The maker does not take the lost motion out.
    scatter, move : float
        The factors that were drawn or given.
    """

    offset_mm: Mapping[str, float]
    cut_sd_mm: Mapping[str, float]
    reading_sd_mm: Mapping[str, float]
    move_sd_mm: Mapping[str, float]
    scale_error: Mapping[str, float]
    slopes: Mapping[tuple[str, str], float] = field(default_factory=dict)
    zero_mm: Mapping[str, float] = field(default_factory=dict)
    creep_mm: Mapping[str, float] = field(default_factory=dict)
    wear_mm_per_m: float = 0.0
    fast_mm: float = 0.0
    fast_m: float = 2.0
    shift_mm: Mapping[str, float] = field(default_factory=dict)
    shift_after: int = 0
    heavy_tails: bool = False
    slip_probability: float = 0.0
    slip_sd_mm: float = 0.5
    backlash_ignored: bool = False
    scatter: float = 1.0
    move: float = 1.0

    def recession_mm(self, metres: float, before_m: float = 0.0) -> float:
        """Return the recession after `metres` of this log, the edge having cut `before_m` already."""

        def fast(m: float) -> float:
            return self.fast_mm * -math.expm1(-m / self.fast_m)

        return self.wear_mm_per_m * metres + fast(before_m + metres) - fast(before_m)


def draw_truth(
    setup: Setup,
    rng: Generator,
    *,
    scatter: float | None = None,
    move: float | None = None,
    heavy_tails: bool = False,
    fast_mm: float = 0.0,
    shift_mm: float = 0.0,
    shift_after: int = 0,
    slip_probability: float = 0.0,
    slip_sd_mm: float = 0.5,
    backlash_ignored: bool = False,
) -> Truth:
    """Draw one shop.

    Parameters
    ----------
    scatter, move : float or None
        Factors on the medians of the setup's knowledge; None draws them from the prior.
    fast_mm : float, mm
        Extra recession of the first metres of a fresh edge.
    shift_mm : float, mm; shift_after : int
        sd of a jump of every reading, and the number of pieces after which it comes.

    Examples
    --------
    >>> import numpy as np
    >>> from calib.shop import Adjuster, Band, Joint, Setup
    >>> stop = Adjuster("stop", moves={"gap": 1.0})
    >>> setup = Setup("s", Joint("plain"), (Band("gap", 0.1, 0.0, 0.2),), (stop,))
    >>> draw_truth(setup, np.random.default_rng(1), scatter=2.0).cut_sd_mm
    {'gap': 0.04}
    """
    known = setup.knowledge
    readings, adjusters = [b.name for b in setup.bands], [a.name for a in setup.adjusters]
    lam = _factor(known, rng, scatter)
    tau = _factor(known, rng, move)

    def normal(name: str, quantity: str) -> float:
        sd = known.scale(name, quantity)
        return float(rng.standard_normal()) * (WIDE_MM if math.isinf(sd) else sd)

    return Truth(
        offset_mm=_offsets(setup, rng),
        cut_sd_mm={f: lam * known.scale(f, "cut_sd_mm") for f in readings},
        reading_sd_mm={f: lam * known.scale(f, "reading_sd_mm") for f in readings},
        move_sd_mm={a: tau * setup.move_sd_mm(a) for a in adjusters},
        scale_error={a: float(rng.standard_normal()) * setup.scale_sd(a) for a in adjusters},
        slopes={(f, a): 1.0 + 0.3 * float(rng.standard_normal()) for f in readings for a in adjusters},
        zero_mm={f: normal(f, "zero_sd_mm") for f in readings},
        creep_mm={f: normal(f, "creep_sd_mm") for f in readings},
        wear_mm_per_m=abs(float(rng.standard_normal())) * known.wear_sd_mm_per_m,
        fast_mm=fast_mm,
        shift_mm={f: shift_mm * float(rng.standard_normal()) for f in readings},
        shift_after=shift_after,
        heavy_tails=heavy_tails,
        slip_probability=slip_probability,
        slip_sd_mm=slip_sd_mm,
        backlash_ignored=backlash_ignored,
        scatter=lam,
        move=tau,
    )


def _factor(known: Knowledge, rng: Generator, given: float | None) -> float:
    """Return the factor that was given, else one from the prior; the draw is made in any case."""
    drawn = math.exp(known.log_sd * float(rng.standard_normal()))
    if given is not None:
        return given
    return 1.0 if known.scales_known else drawn


def _offsets(setup: Setup, rng: Generator) -> dict[str, float]:
    """Offsets of the readings; one that follows another has its offset and a rest of its own."""
    settings = {a.name: start_setting(setup, a.name) for a in setup.adjusters}
    follows = describe(setup, settings).follows
    offsets = {b.name: _offset(setup.knowledge, b.name, rng) for b in setup.bands if b.name not in follows}
    for name, base in follows.items():
        offsets[name] = offsets[base] + setup.knowledge.rest_sd_mm * float(rng.standard_normal())
    return offsets


def _offset(known: Knowledge, reading: str, rng: Generator) -> float:
    """Offset of this mounting: the setup's own plus the mounting's where the two are told apart."""
    sd = known.scale(reading, "offset_sd_mm")
    sd = WIDE_MM if math.isinf(sd) else sd
    if known.mounting_sd_mm is not None:
        sd = math.hypot(sd, known.mounting_sd_mm)
    return sd * float(rng.standard_normal())

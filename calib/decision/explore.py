"""A first move of an adjuster whose effect is not known yet.

A slope that is to be learned needs cuts at two positions. Until then no move can be planned, so the plan
is priced as if the adjuster moved its reading one to one, within a third, after the exploring cut.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.regression.prospect import Prospect
from calib.shop import Adjuster, Cut, Scales, Setup

#: The exploring move is this many times the scatter of one reading, if the adjuster moves one to one.
_TIMES_THE_SCATTER = 6.0
_GUESSED_SCALE_SD = 0.33
#: A slope is known when its mean is this many standard uncertainties from 0.
KNOWN_AT = 2.0


@dataclass(frozen=True)
class Unknown:
    """An adjuster of one block whose effect on one reading is still to be learned."""

    block: int
    adjuster: str
    reading: str
    change_mm: float


def unknown_effect(setup: Setup, rows: Sequence[Cut], futures: Sequence[Prospect]) -> Unknown | None:
    """Return the first adjuster that must be moved to learn what it does, or None.

    None too when another adjuster of known effect moves the reading. While the reading has not been
    measured at all the move is 0: one cut as it stands comes first.
    """
    measured = {name for cut in rows for name in cut.readings}
    for b, future in enumerate(futures):
        for f, reading in enumerate(future.readings):
            places = range(len(future.adjusters))
            unknown = [a for a in places if not slope_known(future, f, a)]
            known = [a for a in places if a not in unknown and abs(_slope(future, f, a)) > 1e-3]
            if not unknown or known:
                continue
            adjuster = setup.adjuster(future.adjusters[unknown[0]])
            first = reading not in measured
            change = 0.0 if first else _exploring_move(setup, adjuster, reading, future, unknown[0])
            return Unknown(b, adjuster.name, reading, change)
    return None


def slope_known(future: Prospect, f: int, a: int) -> bool:
    """Say whether the effect of adjuster a on reading f is known well enough to plan with."""
    if not future.learned[f, a]:
        return True
    at = _place(future, f, a)
    mean = future.weights @ future.mean[:, at]
    sd = math.sqrt(float(future.weights @ future.covariance[:, at, at]))
    return bool(abs(mean) > KNOWN_AT * sd)


def _place(future: Prospect, f: int, a: int) -> int:
    F, A = len(future.readings), len(future.adjusters)
    return F + 2 * A + f * A + a


def slope_of(future: Prospect, f: int, a: int) -> float:
    """Return the slope that can be planned with, mm per mm; 0 while it is not known."""
    return _slope(future, f, a) if slope_known(future, f, a) else 0.0


def _slope(future: Prospect, f: int, a: int) -> float:
    if future.learned[f, a]:
        return float(future.weights @ future.mean[:, _place(future, f, a)])
    return float(future.weights @ future.slopes[:, f, a])


def _exploring_move(setup: Setup, adjuster: Adjuster, reading: str, future: Prospect, a: int) -> float:
    """A move far above the scatter, to a position that can be reached; up the scale if there is room."""
    known = setup.knowledge
    scatter = math.hypot(
        known.scale(reading, "cut_sd_mm"),
        setup.reading_sd_mm(reading),
        setup.move_sd_mm(adjuster.name),
    )
    size = max(_TIMES_THE_SCATTER * scatter, adjuster.least_step_mm)
    if adjuster.least_step_mm > 0.0:
        size = math.ceil(size / adjuster.least_step_mm - 1e-9) * adjuster.least_step_mm
    now = float(future.now_mm[a])
    if now + size <= adjuster.high_mm:
        return size
    return -size if now - size >= adjuster.low_mm else 0.0


def as_if_known(setup: Setup, adjuster: str, reading: str) -> Setup:
    """Return the setup with one unknown effect taken as one to one, within a third."""
    known = setup.knowledge
    of = dict(known.of)
    of[adjuster] = replace(of.get(adjuster, Scales()), scale_sd=_GUESSED_SCALE_SD)
    changed = tuple(
        replace(a, moves={**a.moves, reading: 1.0}) if a.name == adjuster else a for a in setup.adjusters
    )
    return replace(setup, adjusters=changed, knowledge=replace(known, of=of))


def alone(future: Prospect, adjuster: str, change_mm: float) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Return (changes, moved), each of shape (A,), of moving one adjuster."""
    at = np.array([name == adjuster for name in future.adjusters], dtype=bool)
    return np.where(at, change_mm, 0.0), at

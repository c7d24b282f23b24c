"""Which positions a hand can reach: least step, range, and where the answer is worth looking for."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from calib.decision.shims import distinct, sums
from calib.shop import Adjuster

Array = NDArray[np.float64]

#: Positions that are looked at on each continuous adjuster, and the most of a stepped one.
_LOOKS = 61
_MOST_STEPS = 241
#: A continuous position is told to a micrometre; nobody sets finer.
RESOLUTION_MM = 0.001
#: A scale with marks of its own is set to a quarter of a mark.
MARK_SHARE = 0.25


def changes(adjuster: Adjuster, now_mm: float, aims: Array, span_mm: float) -> Array:
    """Return the moves (mm of the scale, never 0) worth weighing.

    Parameters
    ----------
    aims : ndarray
        Moves that would bring each reading onto its target.
    span_mm : float
        How far around them to look.

    Notes
    -----
    Steps count from where the adjuster stands now; shims reach their sums alone. The ends of the range are
    looked at too when an aim lies beyond them.
    """
    low, high = adjuster.low_mm - now_mm, adjuster.high_mm - now_mm
    if adjuster.shims_mm:
        found = _stacked(adjuster, now_mm, aims, span_mm)
    elif adjuster.least_step_mm > 0.0:
        found = _stepped(adjuster.least_step_mm, aims, span_mm, low, high)
    else:
        around = np.append(np.linspace(-span_mm, span_mm, _LOOKS), 0.0)
        looks = np.concatenate([aim + around for aim in aims])
        found = within(np.clip(looks, low, high), now_mm, adjuster)
    found = distinct(found)
    return found[np.abs(found) > 1e-9]


def within(change_mm: Array, now_mm: float, adjuster: Adjuster) -> Array:
    """Round moves of a continuous adjuster to what can be told, inside its range."""
    fine = max(RESOLUTION_MM, MARK_SHARE * adjuster.mark_mm)
    position = np.round((now_mm + change_mm) / fine) * fine
    inside: Array = np.clip(position, adjuster.low_mm, adjuster.high_mm) - now_mm
    return inside


def _stacked(adjuster: Adjuster, now_mm: float, aims: Array, span: float) -> Array:
    """Return the moves to sums of the shims: all near an aim, and the nearest one to each."""
    reach = sums(adjuster.shims_mm)
    found = reach[(reach >= adjuster.low_mm - 1e-9) & (reach <= adjuster.high_mm + 1e-9)] - now_mm
    if not len(found):
        return found
    away = np.abs(found[:, None] - aims[None, :])
    near = np.argsort(away.min(axis=1), kind="stable")[:_MOST_STEPS]
    kept = near[away.min(axis=1)[near] <= span]
    nearest: Array = found[np.concatenate([kept, away.argmin(axis=0)])]
    return nearest


def _stepped(step: float, aims: Array, span: float, low: float, high: float) -> Array:
    reach = int(min(np.ceil(span / step), (_MOST_STEPS - 1) // 2))
    first, last = np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9)
    counts = []
    for aim in aims:
        middle = np.clip(np.round(aim / step), first, last)
        counts.append(np.clip(middle + np.arange(-reach, reach + 1), first, last))
    found: Array = distinct(np.concatenate(counts)) * step
    return found

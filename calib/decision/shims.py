"""Shims in the drawer: which sums they make, and which to put in or take out.

An adjuster that stands on shims is set by the thickness that is in place: its setting is their sum, and it
can be set to nothing else. Thicknesses are what they measure, so two shims of one nominal size differ.

Symbols
-------
n shims, 2^n stacks; sums are told apart to a micrometre
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_SAME_MM = 0.0005


@lru_cache(maxsize=32)
def _stacks(drawer: tuple[float, ...]) -> tuple[NDArray[np.bool_], Array]:
    """Return every stack (2^n, n) and its thickness."""
    n = len(drawer)
    inside = (np.arange(2**n)[:, None] >> np.arange(n)) & 1
    return inside.astype(bool), np.round(inside @ np.array(drawer, dtype=float), 6)


def distinct(values: Array) -> Array:
    """Return the distinct values, rising."""
    found: Array = np.unique(values, return_index=True)[
        0
    ]  # without an index NumPy would load its masked arrays
    return found


def sums(drawer: tuple[float, ...]) -> Array:
    """Return every thickness that shims can be stacked to, mm, rising; 0 (none) is the first.

    >>> sums((0.05, 0.10)).tolist()
    [0.0, 0.05, 0.1, 0.15]
    """
    _, thickness = _stacks(drawer)
    found = distinct(np.round(thickness, 3))
    # A sum is kept at its exact value: the first of those that are the same to a micrometre.
    order = np.sort(thickness)
    exact: Array = order[np.searchsorted(order, found - _SAME_MM)]
    return exact


def nearest_sum(drawer: tuple[float, ...], wanted_mm: float, low_mm: float, high_mm: float) -> float | None:
    """Return the sum inside a range that is nearest to what is wanted, mm; None when there is none."""
    found = sums(drawer)
    found = found[(found >= low_mm - _SAME_MM) & (found <= high_mm + _SAME_MM)]
    return float(found[np.argmin(np.abs(found - wanted_mm))]) if len(found) else None


def stacks_of(drawer: tuple[float, ...], total_mm: float) -> list[tuple[float, ...]]:
    """Return the stacks (thickest first) that make a thickness, the fewest shims first.

    >>> stacks_of((0.05, 0.10, 0.15), 0.15)
    [(0.15,), (0.1, 0.05)]
    """
    inside, thickness = _stacks(drawer)
    found = {
        tuple(sorted((drawer[k] for k in np.flatnonzero(row)), reverse=True))
        for row in inside[np.abs(thickness - total_mm) < _SAME_MM]
    }
    return sorted(found, key=lambda stack: (len(stack), stack))


def change_of_stack(
    drawer: tuple[float, ...], from_mm: float, to_mm: float
) -> tuple[tuple[float, ...], tuple[float, ...] | None, tuple[float, ...] | None]:
    """Return the new stack, and what to put in and take out of the old one.

    Where the old thickness tells which shims are in (one stack makes it), the new stack is the one with the
    least to put in and take out; else the fewest shims, and the last two are None.

    >>> change_of_stack((0.05, 0.10, 0.20), 0.15, 0.25)
    ((0.2, 0.05), (0.2,), (0.1,))
    """
    before, after = stacks_of(drawer, from_mm), stacks_of(drawer, to_mm)
    if not after:
        return (), None, None
    if len(before) != 1:
        return after[0], None, None
    old = before[0]
    new = min(after, key=lambda stack: (len(_less(stack, old)) + len(_less(old, stack)), len(stack)))
    return new, _less(new, old), _less(old, new)


def _less(stack: tuple[float, ...], other: tuple[float, ...]) -> tuple[float, ...]:
    """Return the shims of one stack that are not in another; equal ones are counted."""
    left = list(other)
    found = []
    for shim in stack:
        if shim in left:
            left.remove(shim)
        else:
            found.append(shim)
    return tuple(found)

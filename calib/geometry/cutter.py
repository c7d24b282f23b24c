"""The cutter itself: what runout and wear do to a slot, and how far a lever carries a shim.

Symbols: d cutter diameter; eccentricity, half of what an indicator reads in one turn (TIR); r radial
recession. A spiral that sweeps the full circle is assumed. Derived here.
"""

from __future__ import annotations


def indicator_reading(eccentricity: float) -> float:
    """Return what an indicator on the cutter reads in one turn, mm: TIR = 2 x eccentricity."""
    return 2.0 * eccentricity


def slot_with_runout(diameter: float, eccentricity: float) -> float:
    """Return the slot as cut, mm: d + TIR, not d + 2 TIR.

    >>> round(slot_with_runout(9.525, 0.025), 3)
    9.575
    """
    return diameter + indicator_reading(eccentricity)


def slot_after_wear(slot: float, recession: float) -> float:
    """Return the slot when the edge has worn back, mm: s - 2r."""
    return slot - 2.0 * recession


def move_at_cutter(shim: float, pivot_to_cutter: float, pivot_to_shim: float) -> float:
    """Return how far a shim moves a pivoted fence or base at the cutter.

    Parameters
    ----------
    shim : float, mm
    pivot_to_cutter, pivot_to_shim : float, mm

    Returns
    -------
    float, mm
        shim x (pivot to cutter)/(pivot to shim).

    Examples
    --------
    >>> round(move_at_cutter(0.10, 250.0, 400.0), 4)
    0.0625
    """
    return shim * pivot_to_cutter / pivot_to_shim

"""Where a log stands: the settings at which its offsets are defined, and what came before it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calib.shop import Cut, Setup


@dataclass(frozen=True)
class Footing:
    """What a log stands on when it goes on from earlier mountings.

    Parameters
    ----------
    reference_mm : mapping of adjuster to mm
        Settings at which the offsets are defined: the first of the first mounting.
    stocks : tuple of str
        Cut in earlier mountings.
    metres_m : float, m
        That the edge had cut, since the log began, before the first row.
    """

    reference_mm: Mapping[str, float]
    stocks: tuple[str, ...] = ()
    metres_m: float = 0.0


def reference_settings(setup: Setup, cuts: Sequence[Cut]) -> dict[str, float]:
    """Return the settings at which the offset is defined: the first of the log, else the start."""
    if cuts:
        return {a.name: float(cuts[0].settings_mm[a.name]) for a in setup.adjusters}
    return {a.name: start_setting(setup, a.name) for a in setup.adjusters}


def start_setting(setup: Setup, adjuster: str) -> float:
    """Return a setting (mm) to start from before any cut, inside the range.

    A height starts at the thickness of the stock, any other scale at the cutter's nominal width; 0 where
    that is not known or there is no scale, or the nearest end of the range.
    """
    found = setup.adjuster(adjuster)
    guess = 0.0
    if found.tells_distance and adjuster == "height" and setup.thickness_mm is not None:
        guess = setup.thickness_mm
    elif found.tells_distance and setup.cutter.nominal_mm is not None:
        guess = setup.cutter.nominal_mm
    return min(max(guess, found.low_mm), found.high_mm)

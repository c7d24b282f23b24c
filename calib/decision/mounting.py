"""Where the scales should stand when a setup goes back on the machine, and how sure that is.

The scales are set freely then: the first position of a mounting has no error of a move. So the setting
is the one whose expected readings are on target, in the steps that each adjuster can make from where it
stood last; what is left is the mounting's own offset, and how well the setup's is known.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.decision.explore import slope_of
from calib.decision.odds import chance_of, shared_at
from calib.decision.reach import within
from calib.regression.infer import Posterior, posterior
from calib.regression.learn import Carried
from calib.regression.prospect import Prospect, prospect
from calib.shop import Adjuster, Cut, Setup

Array = NDArray[np.float64]


@dataclass(frozen=True)
class FirstReading:
    """What the first cut of a mounting should read, mm.

    Parameters
    ----------
    expected_mm, u_mm, interval90_mm : mm
        Of the measured reading.
    mounting_sd_mm : float, mm
        The part of u that comes from the mounting and the setup: what no better gauge would take away.
    probability : float
        That the true size of the first cut is inside its band.
    """

    name: str
    expected_mm: float
    u_mm: float
    interval90_mm: tuple[float, float]
    mounting_sd_mm: float
    probability: float


@dataclass(frozen=True)
class FirstSetting:
    """Where to start a mounting.

    Parameters
    ----------
    settings_mm : mapping of adjuster to mm
    probability : float
        That the first cut is inside all its bands.
    """

    settings_mm: Mapping[str, float]
    readings: tuple[FirstReading, ...]
    probability: float


def first_setting(
    setup: Setup, carried: Carried, *, sharpening: str | None = None, kept_joint: bool = False
) -> FirstSetting:
    """Return where to start the next mounting of a setup.

    Parameters
    ----------
    carried : Carried
        What its mountings so far taught; at least one.
    sharpening : str
        Label of the edge that is in it now; None: the one of the last mounting.
    kept_joint : bool
        It is put back with a kept joint as the gauge.

    Raises
    ------
    CalibError
        When the state was carried with another belief than the setup's.

    Notes
    -----
    The moves from where the scales stood last are the least ones that bring every expected reading onto
    its target, weighed by the width of its band (least squares of least norm).
    """
    settings = dict(carried.last_mm)
    for _ in range(2):  # the second look puts right what rounding to a step of one adjuster left
        found = _belief(setup, carried, settings, sharpening, kept_joint)
        for future in (prospect(block) for block in found.blocks):
            for name, change in zip(future.adjusters, _onto_target(setup, future), strict=True):
                if setup.adjuster(name).has_scale:
                    settings[name] = _reachable(setup.adjuster(name), settings[name], float(change))
    found = _belief(setup, carried, settings, sharpening, kept_joint)
    return _described(setup, settings, found)


def _belief(
    setup: Setup, carried: Carried, settings: Mapping[str, float], sharpening: str | None, kept: bool
) -> Posterior:
    row = Cut(0, "test", dict(settings), pieces=0, sharpening=sharpening, mounting="next")
    return posterior(setup, [row], carried=carried, kept_joint=kept)


def _onto_target(setup: Setup, future: Prospect) -> Array:
    """Return the change of every adjuster, mm, shape (A,)."""
    still, none = np.zeros((1, len(future.adjusters))), np.zeros((1, len(future.adjusters)), dtype=bool)
    mean, _ = future.after(still, none)
    bands = [setup.band(f) for f in future.readings]
    width = np.array([band.high_mm - band.low_mm for band in bands])
    away = np.array([band.target_mm for band in bands]) - future.weights @ mean[:, 0]
    slopes = np.array([
        [slope_of(future, f, a) * setup.adjuster(name).has_scale for a, name in enumerate(future.adjusters)]
        for f in range(len(bands))
    ])  # fmt: skip
    change: Array = np.linalg.lstsq(slopes / width[:, None], away / width, rcond=1e-6)[0]
    return change


def _reachable(adjuster: Adjuster, now_mm: float, change_mm: float) -> float:
    step = adjuster.least_step_mm
    if step > 0.0:
        change_mm = step * round(change_mm / step)
        return min(max(now_mm + change_mm, adjuster.low_mm), adjuster.high_mm)
    return now_mm + float(within(np.array([change_mm]), now_mm, adjuster)[0])


def _described(setup: Setup, settings: Mapping[str, float], found: Posterior) -> FirstSetting:
    readings: dict[str, FirstReading] = {}
    joint = 1.0
    for block in found.blocks:
        future = prospect(block)
        A = len(future.adjusters)
        shared = shared_at(future, np.zeros(A), np.zeros(A, dtype=bool))
        bands = tuple(setup.band(f) for f in future.readings)
        joint *= chance_of(shared, bands, 1).next_piece
        for f, band in enumerate(bands):
            read = found.next_reading(band.name)
            alone = chance_of(shared.only(f), (band,), 1).next_piece
            readings[band.name] = FirstReading(
                band.name, read.expected, read.u, read.interval(0.9), found.size(band.name).u, alone
            )
    return FirstSetting(dict(settings), tuple(readings[band.name] for band in setup.bands), joint)

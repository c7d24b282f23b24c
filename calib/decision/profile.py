"""What pictures show of the belief: ranges of the next reading cut by cut, and the chance along a scale.

Nothing new is inferred here; the same posterior and the same prospect as for the advice are asked at more
places.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from calib.decision.advice import Advice
from calib.decision.choice import Choice
from calib.decision.foretold import next_reading
from calib.decision.odds import chance_of, shared_at
from calib.errors import CalibError
from calib.regression.infer import watched
from calib.regression.learn import Carried, carry, through, units_of
from calib.regression.prospect import Prospect, prospect
from calib.shop import Band, Cut, Setup

#: Places at which a scale is asked.
_PLACES = 121
#: A slope below this moves nothing that can be measured, mm per mm.
_NO_SLOPE = 1e-3
_SAME_PLACE_MM = 1e-9


@dataclass(frozen=True)
class Forecast:
    """Where the next reading was expected, after the cuts before it and at the setting it was made on.

    Parameters
    ----------
    cut : int or None
        Number of the cut that was expected so; None = the one still to come, after the advised moves.
    half_mm, most_mm : (float, float), mm
        Ranges for half and for nine in ten of the next readings.
    """

    reading: str
    cut: int | None
    half_mm: tuple[float, float]
    most_mm: tuple[float, float]


@dataclass(frozen=True)
class Along:
    """The chance that the next good piece is in the band of one reading, along the scale of one adjuster.

    Parameters
    ----------
    settings_mm, chances : tuple of float
        Each chance is that after a move to the setting; other adjusters stand as advised.
    now_mm, now_chance : float
        Where it stands; its chance is that of leaving it alone, so no error of a move is in it.
    advised_mm, advised_chance : float or None
        None when this adjuster is to stay.
    """

    reading: str
    adjuster: str
    settings_mm: tuple[float, ...]
    chances: tuple[float, ...]
    now_mm: float
    now_chance: float
    advised_mm: float | None
    advised_chance: float | None


def forecasts(
    setup: Setup, cuts: Sequence[Cut], advice: Advice, last: int | None = None
) -> tuple[Forecast, ...]:
    """Return the ranges of the next reading after each cut, oldest first.

    Parameters
    ----------
    cuts : sequence of Cut
        In the order they were made; rows without pieces tell where the machine stood.
    advice : Advice
        On all of them; its moves are made for the last range.
    last : int, optional
        Only for so many of the last cuts, and the one to come.

    Raises
    ------
    CalibError
        When nothing was measured yet, or a cut does not fit the setup.
    """
    need_a_cut(setup, cuts)
    found: list[Forecast] = []
    made = [i for i, cut in enumerate(cuts) if cut.pieces]
    pasts = _pasts(setup, cuts)
    for i in made if last is None else made[-last:]:
        cut = cuts[i]
        if _measured(cuts[:i]):
            found += _ranges(setup, pasts[i], cuts[:i], cut, cut.number)
    return (*found, *_ranges(setup, pasts[-1], cuts, to_come(cuts, advice), None))


class _Past(NamedTuple):
    """What was carried to a cut, and the row at which its mounting began."""

    carried: Carried | None
    begin: int


def _pasts(setup: Setup, cuts: Sequence[Cut]) -> list[_Past]:
    """Return the past of every row: of its mounting, carried through those before it, as the advice does."""
    carried: Carried | None = None
    found: list[_Past] = []
    units = units_of(cuts)
    several = len({unit.mounting for unit in units}) > 1
    for unit in units:
        begin = len(found) if several else 0
        known = carried if carried is not None and carried.mountings else None
        found += [_Past(known, begin)] * len(unit.cuts)
        carried = carry(carried, setup, unit.cuts) if several and unit is not units[-1] else carried
    return found


def to_come(cuts: Sequence[Cut], advice: Advice) -> Cut:
    """Return a row without pieces: where the machine stands once moved as advised."""
    settings = {**cuts[-1].settings_mm, **{move.adjuster: move.to_mm for move in advice.moves}}
    moved = frozenset(move.adjuster for move in advice.moves)
    return replace(_standing(cuts[-1]), settings_mm=settings, moved=moved)


def _standing(cut: Cut) -> Cut:
    """Return a row that says where the machine stood for a cut, and nothing of what was cut or read."""
    return replace(cut, number=0, pieces=0, metres_m=None, readings={}, feel=None)


def need_a_cut(setup: Setup, cuts: Iterable[Cut]) -> None:
    """Raise `CalibError` when nothing was measured on a setup yet."""
    if not _measured(cuts):
        raise CalibError(
            f"{setup.name}: nothing to draw yet; no cut has been measured. Log one: calib cut {setup.name}"
        )


def _measured(cuts: Iterable[Cut]) -> bool:
    return any(cut.readings or cut.feel for cut in cuts)


def _ranges(
    setup: Setup, past: _Past, before: Sequence[Cut], at: Cut, number: int | None
) -> list[Forecast]:
    """Return what was expected of a cut from those before it, computed as the advice does."""
    still = replace(_standing(at), settings_mm=before[-1].settings_mm, moved=frozenset())
    rows = before[past.begin :] if past.carried is not None else before
    found = {}
    for block in watched(setup, [*rows, still], carried=past.carried)[0].blocks:
        future = prospect(block)
        to = np.array([at.settings_mm[a] for a in future.adjusters])
        change = to - future.now_mm
        moved = (np.abs(change) > _SAME_PLACE_MM) | [a in at.moved for a in future.adjusters]
        for f, name in enumerate(future.readings):
            reading = next_reading(future, Choice(0.0, change, moved), f)
            found[name] = Forecast(name, number, reading.interval(0.5), reading.interval(0.9))
    return [found[band.name] for band in setup.bands]


def chances_along(setup: Setup, cuts: Sequence[Cut], advice: Advice) -> tuple[Along, ...]:
    """Return the chance of the next good piece along every scale, for each reading that it moves.

    Parameters
    ----------
    cuts : sequence of Cut, in the order they were made
    advice : Advice
        On them; its moves are what the chances are compared with.

    Raises
    ------
    CalibError
        When nothing was measured yet, or a cut does not fit the setup.
    """
    need_a_cut(setup, cuts)
    to = {move.adjuster: move.to_mm for move in advice.moves}
    carried, rows = through(setup, cuts)
    futures = [prospect(block) for block in watched(setup, rows, carried=carried)[0].blocks]
    return tuple(
        _along(setup, future, f, a, to)
        for band in setup.bands
        for future in futures
        for f, reading in enumerate(future.readings)
        if reading == band.name
        for a in range(len(future.adjusters))
        if abs(_slope(future, f, a)) > _NO_SLOPE
    )


def _along(setup: Setup, future: Prospect, f: int, a: int, to: Mapping[str, float]) -> Along:
    """Return the chances of one reading along one scale."""
    name, band, now = future.adjusters[a], setup.band(future.readings[f]), float(future.now_mm[a])
    start = np.array([to.get(n, x) - x for n, x in zip(future.adjusters, future.now_mm, strict=True)])
    going = np.array([n in to for n in future.adjusters])

    def chance(setting_mm: float, moves: bool) -> float:
        change, moved = start.copy(), going.copy()
        change[a], moved[a] = setting_mm - now, moves
        return chance_of(shared_at(future, change, moved).only(f), (band,), 1).next_piece

    low, high = _reach(setup, future, f, a, to.get(name, now))
    settings = tuple(float(x) for x in np.linspace(low, high, _PLACES))
    return Along(
        reading=band.name,
        adjuster=name,
        settings_mm=settings,
        chances=tuple(chance(x, True) for x in settings),
        now_mm=now,
        now_chance=chance(now, False),
        advised_mm=to.get(name),
        advised_chance=chance(to[name], True) if name in to else None,
    )


def _reach(setup: Setup, future: Prospect, f: int, a: int, advised_mm: float) -> tuple[float, float]:
    """Return the part of a scale that is worth showing: the band, how sure it is, and both settings."""
    band, now, slope = setup.band(future.readings[f]), float(future.now_mm[a]), _slope(future, f, a)
    moved = np.zeros(len(future.adjusters), dtype=bool)
    moved[a] = True
    at = shared_at(future, np.zeros(len(moved)), moved)
    mean = float(at.weights @ at.mean[:, f])
    u = math.sqrt(float(at.weights @ (at.covariance[:, f, f] + at.cut_sd[:, f] ** 2)))
    middle = now + (band.target_mm - mean) / slope
    half = (0.5 * _width(band, u) + 2.5 * u) / abs(slope)
    margin = 0.08 * half
    low = min(middle - half, now - margin, advised_mm - margin)
    high = max(middle + half, now + margin, advised_mm + margin)
    adjuster = setup.adjuster(future.adjusters[a])
    return max(low, min(adjuster.low_mm, now)), min(high, max(adjuster.high_mm, now))


def _width(band: Band, u: float) -> float:
    """Return the width of a band; one with an open end counts twice what is on its closed side."""
    ends = [abs(end - band.target_mm) for end in (band.low_mm, band.high_mm) if math.isfinite(end)]
    return 2.0 * max(ends, default=u)


def _slope(future: Prospect, f: int, a: int) -> float:
    """Return by how much a reading changes per mm of a scale, as believed now."""
    step = np.zeros((2, len(future.adjusters)))
    step[:, a] = (-0.5, 0.5)
    mean, _ = future.after(step, np.ones_like(step, dtype=bool))
    low, high = future.weights @ mean[:, :, f]
    return float(high - low)

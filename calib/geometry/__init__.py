"""What a cut should read, from the geometry of its joint.

`describe` turns a setup into a `JointModel`: nominal readings at the reference settings, slopes to every
adjuster, and what a worn edge does. The geometry proper is in `finger` (with `finger_boards` and
`finger_faults`), `groove`, `inlay`, `cutter` and `thread`.

Rules that hold for every kind of joint:

* an adjuster's `moves` overrides geometry's slope for that reading; `counts_other_way` turns geometry's
  slope round, never one from `moves`,
* where the scale cannot tell the position that geometry means (no scale, a scale that counts the other
  way, a slope from `moves` that is to be learned or has the other sign), or a size is missing, positions
  are only relative: the nominal is the band's target,
* a reading that geometry does not know is the maker's own: its slopes come from `moves`, its nominal is
  the target, and the edge's recession has no known effect on it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

from calib.errors import CalibError, near_name
from calib.geometry import finger, groove, inlay, plain
from calib.geometry.model import JointModel, Known
from calib.geometry.thread import pitch_mm
from calib.shop import LEARN, Adjuster, Band, Joint, Setup

__all__ = ["JointModel", "by_thickness", "describe", "pitch_mm"]


class _KnownReadings(Protocol):
    def __call__(self, joint: Joint, cutter_mm: float, at: Mapping[str, float]) -> dict[str, Known]: ...


_READINGS: dict[str, _KnownReadings] = {
    "finger": finger.known_readings,
    "groove": groove.known_readings,
    "inlay": inlay.known_readings,
    "plain": plain.known_readings,
}
_ADJUSTERS: dict[str, tuple[str, ...]] = {
    "finger": finger.ADJUSTERS,
    "groove": groove.ADJUSTERS,
    "inlay": inlay.ADJUSTERS,
    "plain": plain.ADJUSTERS,
}


def describe(setup: Setup, reference_mm: Mapping[str, float]) -> JointModel:
    """Return the affine model of a setup.

    Parameters
    ----------
    setup : Setup
    reference_mm : mapping of adjuster name to mm
        Where the scales stood at the reference, usually the first cut.

    Returns
    -------
    JointModel

    Raises
    ------
    CalibError
        For an adjuster or reading that neither geometry nor `moves` explains, a slope that is no number,
        and a plain joint with a slope missing.

    Examples
    --------
    >>> from calib.shop import Adjuster, Band, Cutter, Joint, Setup
    >>> setup = Setup("corners", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),),
    ...               (Adjuster("key"),), Cutter("spiral-6", 6.0))
    >>> model = describe(setup, {"key": 6.14})
    >>> round(model.nominal_mm["clearance"], 3), model.slopes["clearance"]["key"]
    (-0.14, -1.0)
    """
    if setup.joint.kind == "plain":
        plain.check_slopes(setup)
    roles = {adjuster.name: _role(setup, adjuster) for adjuster in setup.adjusters}
    known = _READINGS[setup.joint.kind](setup.joint, _cutter(setup), _positions(setup, roles, reference_mm))
    for adjuster in setup.adjusters:
        _check_moves(setup, adjuster, known)
    slopes = {band.name: _slopes(setup, band, known.get(band.name), roles) for band in setup.bands}
    nominal = {b.name: _nominal(known.get(b.name), slopes[b.name], setup, roles) for b in setup.bands}
    targets = {b.name: b.target_mm for b in setup.bands}
    told = {name: targets[name] if math.isnan(mm) else mm for name, mm in nominal.items()}
    follows = _follows(setup, slopes, told)
    return JointModel(
        nominal_mm=told,
        slopes=slopes,
        recession_slopes={name: known[name].recession_slope if name in known else 0.0 for name in targets},
        from_geometry=frozenset(name for name, mm in nominal.items() if not math.isnan(mm)),
        follows=follows,
    )


def by_thickness(
    setup: Setup, model: JointModel, reference_mm: Mapping[str, float]
) -> dict[str, dict[str, float]]:
    """Return what each stock's own thickness adds to the nominal readings, mm by stock and reading.

    A finger stands as much less proud, and a groove leaves as much more wall, as the stock is thicker than
    the joint says. Stocks without a thickness of their own, and readings whose nominal does not come from
    geometry, are left out.
    """
    if setup.joint.thickness_mm is None:
        return {}
    found = {}
    for stock, thickness in setup.thicknesses_mm.items():
        if thickness == setup.joint.thickness_mm:
            continue
        other = describe(replace(setup, joint=replace(setup.joint, thickness_mm=thickness)), reference_mm)
        found[stock] = {
            reading: other.nominal_mm[reading] - model.nominal_mm[reading] for reading in model.from_geometry
        }
    return found


def _follows(
    setup: Setup, slopes: Mapping[str, Mapping[str, float | None]], nominal: dict[str, float]
) -> dict[str, str]:
    """Let the play follow the clearance, when both are read and move alike, by geometry's difference."""
    if setup.joint.kind != "finger" or not {"play", "clearance"} <= nominal.keys():
        return {}
    apart = finger.play_less_clearance(setup.joint, _cutter(setup))
    if math.isnan(apart) or slopes["play"] != slopes["clearance"]:
        return {}
    nominal["play"] = nominal["clearance"] + apart
    return {"play": "clearance"}


def _cutter(setup: Setup) -> float:
    return math.nan if setup.cutter.nominal_mm is None else setup.cutter.nominal_mm


def _role(setup: Setup, adjuster: Adjuster) -> str | None:
    """Return geometry's name for an adjuster; None when only its `moves` tell what it does."""
    names = _ADJUSTERS[setup.joint.kind]
    if adjuster.name in names:
        return adjuster.name
    if setup.joint.kind == "inlay" and (adjuster.name in inlay.ALIASES or len(setup.adjusters) == 1):
        return "diameter"
    if adjuster.moves or setup.joint.kind == "plain":
        return None
    raise CalibError(
        f'setup {setup.name}: a {setup.joint.kind} joint knows no adjuster "{adjuster.name}", only '
        f"{' and '.join(names)}. Use one of these, or say what it moves: "
        f"moves = {{ {setup.bands[0].name if setup.bands else 'reading'} = 1.0 }}."
    )


def _positions(
    setup: Setup, roles: Mapping[str, str | None], reference_mm: Mapping[str, float]
) -> dict[str, float]:
    """Return where geometry's adjusters stand, NaN where the scale does not tell."""
    at = dict.fromkeys(_ADJUSTERS[setup.joint.kind], math.nan)
    for adjuster in setup.adjusters:
        role = roles[adjuster.name]
        if role is not None and adjuster.tells_distance and not adjuster.counts_other_way:
            at[role] = float(reference_mm[adjuster.name])
    return at


def _check_moves(setup: Setup, adjuster: Adjuster, known: Mapping[str, Known]) -> None:
    """Raise for a slope that is no number, and for one to a reading that nobody knows."""
    names = [band.name for band in setup.bands]
    where = f"setup {setup.name}: adjusters.{adjuster.name}.moves"
    for reading, slope in adjuster.moves.items():
        if reading not in names and reading not in known:
            near = near_name(reading, names)
            hint = f'Did you mean "{near}"?' if near else f"It has: {', '.join(names)}."
            raise CalibError(f'{where} names a reading "{reading}" that the setup does not have. {hint}')
        if slope != LEARN and (isinstance(slope, str) or not math.isfinite(slope)):
            raise CalibError(f'{where}.{reading} is {slope}. Write mm of reading per mm, or "learn".')


def _slopes(
    setup: Setup, band: Band, known: Known | None, roles: Mapping[str, str | None]
) -> dict[str, float | None]:
    said = any(band.name in adjuster.moves for adjuster in setup.adjusters)
    if known is None and not said and setup.joint.kind != "plain":
        names = sorted(_READINGS[setup.joint.kind](setup.joint, math.nan, _nowhere(setup)))
        raise CalibError(
            f'setup {setup.name}: a {setup.joint.kind} joint knows no reading "{band.name}", only '
            f"{', '.join(names)}. Use one of these, or say under an adjuster what moves it: "
            f"moves = {{ {band.name} = 1.0 }}."
        )
    return {a.name: _slope(a, band.name, known, roles[a.name]) for a in setup.adjusters}


def _nowhere(setup: Setup) -> dict[str, float]:
    return dict.fromkeys(_ADJUSTERS[setup.joint.kind], math.nan)


def _geometric_slope(adjuster: Adjuster, known: Known | None, role: str | None) -> float:
    if known is None or role is None:
        return 0.0
    slope = known.slopes.get(role, 0.0)
    slope = slope * adjuster.ratio if slope else slope
    return -slope if adjuster.counts_other_way and slope else slope


def _slope(adjuster: Adjuster, reading: str, known: Known | None, role: str | None) -> float | None:
    if reading in adjuster.moves:
        told = adjuster.moves[reading]
        return None if told == LEARN else float(told) * adjuster.ratio
    return _geometric_slope(adjuster, known, role)


def _nominal(
    known: Known | None, slopes: Mapping[str, float | None], setup: Setup, roles: Mapping[str, str | None]
) -> float:
    """Return geometry's nominal, or NaN where `moves` contradicts the scale that it rests on."""
    if known is None:
        return math.nan
    for adjuster in setup.adjusters:
        expected = _geometric_slope(adjuster, known, roles[adjuster.name])
        told = slopes[adjuster.name]
        if expected and (told is None or told * expected <= 0.0):
            return math.nan
    return known.nominal_mm

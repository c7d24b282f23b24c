"""What a maker says of a cut or a move, checked against the setup before it is stored."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping

from calib.errors import CalibError, near_name
from calib.feel import BETWEEN, not_side_by_side
from calib.shop import Interval, Reading, Setup
from calib.units import format_length, twenty_five_fold

#: No position and no reading in a workshop is longer.
LONGEST_MM = 10_000.0
#: A move that is longer than the one, and would be shorter than the other with its decimal point elsewhere.
_LONG_MOVE_MM, _SHORT_MOVE_MM = 3.0, 1.0


def check_settings(setup: Setup, settings_mm: Mapping[str, float]) -> None:
    """Raise `CalibError` for a position of an unknown adjuster, or one that cannot be reached."""
    known = [adjuster.name for adjuster in setup.adjusters]
    for name, mm in settings_mm.items():
        check_name(setup.name, "adjuster", name, known)
        adjuster = setup.adjuster(name)
        if not abs(mm) <= LONGEST_MM:
            raise CalibError(f"{setup.name}: {name} {mm:.6g} mm is not a position. Give one below 10 m.")
        if not adjuster.low_mm <= mm <= adjuster.high_mm:
            raise CalibError(
                f"{setup.name}: {name} {mm:.6g} mm is outside its range {adjuster.low_mm:.6g} to "
                f"{adjuster.high_mm:.6g} mm. Check the number, or change the range of the setup."
            )


def check_readings(setup: Setup, readings: Mapping[str, tuple[Reading, ...]]) -> None:
    """Raise `CalibError` for a reading that the setup does not have, or that is no length."""
    known = [band.name for band in setup.bands]
    for name in readings:
        check_name(setup.name, "reading", name, known)
    check_numbers(setup.name, readings)


def check_numbers(where: str, readings: Mapping[str, Iterable[Reading]]) -> None:
    """Raise `CalibError` for a reading that is no length and no interval."""
    for name, repeats in readings.items():
        for reading in repeats:
            if isinstance(reading, Interval):
                good = reading.low_mm < reading.high_mm and not (
                    math.isinf(reading.low_mm) and math.isinf(reading.high_mm)
                )
            else:
                good = abs(reading) <= LONGEST_MM
            if not good:
                raise CalibError(
                    f"{where}: {name} {reading} is not a reading. Give a length in mm or inches, below 10 m."
                )


def check_feel(setup: Setup, feel: str | None) -> None:
    """Raise `CalibError` for a word that the setup's feel scale does not have."""
    if feel is None or setup.feel.knows(feel):
        return
    if BETWEEN in feel:
        raise CalibError(f"{setup.name}: {not_side_by_side(setup.feel, feel)}")
    check_name(setup.name, "feel", feel, list(setup.feel.words))


def check_amounts(setup_name: str, pieces: int, metres_m: float | None) -> None:
    """Raise `CalibError` for less than one piece or metres below 0."""
    if pieces < 1:
        raise CalibError(f"{setup_name}: {pieces} pieces cannot be logged. Give 1 or more.")
    if metres_m is not None and not 0.0 <= metres_m < math.inf:
        raise CalibError(f"{setup_name}: metres {metres_m:g} will not do. Give 0 or more.")


def check_name(where: str, what: str, name: str, known: Collection[str]) -> None:
    """Raise `CalibError` with a near name, or all names, for one that is not known."""
    if name in known:
        return
    near = near_name(name, list(known))
    hint = f'Did you mean "{near}"?' if near else f"It has: {', '.join(known) or 'none'}."
    raise CalibError(f'{where}: there is no {what} "{name}". {hint}')


def above_zero(where: str, what: str, mm: float | None) -> None:
    """Raise `CalibError` for a length that is given and not above 0."""
    if mm is not None and not 0.0 < mm < math.inf:
        raise CalibError(f"{where}: {what} {mm:g} mm will not do. It has to be above 0.")


def plain_name(what: str, name: str) -> str:
    """Return a name without outer spaces; `CalibError` for an empty one or one that reads like NAME=VALUE."""
    trimmed = name.strip()
    if not trimmed or "=" in trimmed or not trimmed.isprintable():
        raise CalibError(
            f'{what} name "{name}" will not do. Use letters, digits and dashes, as in chest-corners.'
        )
    return trimmed


def position_questions(settings_mm: Mapping[str, float], before_mm: Mapping[str, float]) -> tuple[str, ...]:
    """Return a question for every position that looks like a slip, by where the adjuster stood before."""
    found = [
        (name, twenty_five_fold(mm, before_mm[name]) or _point_slipped(mm, before_mm[name]))
        for name, mm in settings_mm.items()
        if name in before_mm
    ]
    return tuple(f"{name}: {question}" for name, question in found if question)


def _point_slipped(mm: float, before_mm: float) -> str | None:
    """Ask whether the decimal point slipped, when a move is long and would be short without it.

    >>> _point_slipped(61.4, 6.0)
    '61.40 mm is 55.40 mm from where it stood. Was 6.14 mm meant (the decimal point)?'
    >>> _point_slipped(5.0, 6.0) is None
    True
    """
    if abs(mm - before_mm) <= _LONG_MOVE_MM:
        return None
    for factor in (0.1, 0.01, 10.0, 100.0):
        if abs(factor * mm - before_mm) <= _SHORT_MOVE_MM:
            return (
                f"{format_length(mm)} is {format_length(abs(mm - before_mm))} from where it stood. "
                f"Was {format_length(factor * mm)} meant (the decimal point)?"
            )
    return None


def unit_questions(
    setup: Setup,
    settings_mm: Mapping[str, float],
    readings: Mapping[str, Iterable[Reading]],
    before_mm: Mapping[str, float],
) -> tuple[str, ...]:
    """Return a question for every position that looks like a slip, and every reading in another unit."""
    found: list[tuple[str, str | None]] = []
    for name, repeats in readings.items():
        band = setup.band(name)
        for reading in repeats:
            far = max(abs(band.low_mm), abs(band.high_mm))
            # A reading inside three bands is plausible as it is, whatever its ratio to the target.
            if not isinstance(reading, Interval) and abs(reading) > 3.0 * far:
                found.append((name, twenty_five_fold(reading, math.copysign(far, reading))))
            elif not isinstance(reading, Interval) and not band.low_mm <= reading <= band.high_mm:
                found.append((name, twenty_five_fold(reading, band.target_mm)))
    values = tuple(f"{name}: {question}" for name, question in found if question)
    return (*position_questions(settings_mm, before_mm), *values)


def echoes(
    setup: Setup, values: Mapping[str, Iterable[Reading]], texts: Mapping[str, str]
) -> tuple[str, ...]:
    """Say what was understood of the values that were typed: ``clearance -3 thou = -0.0762 mm``."""
    lines = []
    for name, repeats in values.items():
        numbers = [one for one in repeats if not isinstance(one, Interval)]
        if name in texts and numbers:
            told = ", ".join(f"{mm:.4f}".rstrip("0").rstrip(".") for mm in numbers)
            lines.append(f"{name} {texts[name]} = {told} mm")
    return tuple(lines)

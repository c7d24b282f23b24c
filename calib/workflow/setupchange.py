"""Changing a setup by dotted paths of its TOML form: ``clearance.low=0.02 key.thread=M6 pieces_left=16``.

A path that starts with a reading's or an adjuster's name means its own table. An empty value takes a
thing away, so that the default holds again. The changed form is checked as a log is.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from typing import Any

from calib.errors import UsageError, near_name
from calib.setupform import setup_from_dict, setup_to_dict
from calib.shop import Setup

#: Last parts of a path that are lengths: a bare number there takes the unit that was asked for.
_LENGTHS = frozenset(
    (
        "target", "low", "high", "least_step", "backlash", "key_width", "thickness", "drawn_gap", "nominal",
        "spread", "offset_sd", "move_sd", "cut_sd", "reading_sd", "creep_sd", "stock_sd", "zero_sd",
        "mounting_sd", "rest_sd", "measured", "shims", "mark",
    )
)  # fmt: skip
_TOP = (
    "name", "units", "pieces_left", "metres_per_piece", "stock", "joint", "cutter", "readings", "adjusters",
    "stakes", "knowledge", "feel", "stocks", "abrasive",
)  # fmt: skip


def changed(setup: Setup, changes: Sequence[tuple[str, str]], units: str | None = None) -> Setup:
    """Return a setup with some values changed.

    Parameters
    ----------
    setup : Setup
    changes : sequence of (path, value as typed)
    units : {"mm", "in"} or None
        Unit of bare lengths; None = the setup's.

    Raises
    ------
    UsageError
        A path that begins with nothing known.
    LogError
        One line for every value that will not do.
    """
    form = setup_to_dict(setup)
    for path, text in changes:
        parts = _full_path(setup, path)
        value = _value(text)
        if units is not None and units != setup.units and parts[-1] in _LENGTHS and _is_number(value):
            value = f"{text} {units}"
        if units is not None and units != setup.units and parts[-1] == "shims" and isinstance(value, list):
            value = [f"{one} {units}" if _is_number(one) else one for one in value]
        _put(form, parts, path, value)
    return setup_from_dict(form, source=f"setup {setup.name}")


def _full_path(setup: Setup, path: str) -> list[str]:
    """Return the parts of a path from the top of the form."""
    parts = [part.strip() for part in path.split(".")]
    if not all(parts):
        raise UsageError(f'"{path}" is not a path. Write it as clearance.low=0.02 or pieces_left=16.')
    readings = [band.name for band in setup.bands]
    adjusters = [adjuster.name for adjuster in setup.adjusters]
    if len(parts) > 1 and parts[0] in readings:
        return ["readings", *parts]
    if len(parts) > 1 and parts[0] in adjusters:
        return ["adjusters", *parts]
    if parts[0] in _TOP:
        return parts
    known = [*_TOP, *readings, *adjusters]
    near = near_name(parts[0], known)
    hint = f'Did you mean "{near}"?' if near else f"A path starts with one of: {', '.join(known)}."
    raise UsageError(f'setup {setup.name} has no "{parts[0]}" to change. {hint}')


def _put(form: dict[str, Any], parts: Sequence[str], path: str, value: Any) -> None:
    """Put a value at its place, or take the place away when the value is None."""
    table = form
    for part in parts[:-1]:
        table = table.setdefault(part, {})
        if not isinstance(table, dict):
            raise UsageError(f'"{path}": {part} is a value and has no parts. Write {part}=... instead.')
    if value is None:
        table.pop(parts[-1], None)
    else:
        table[parts[-1]] = value


def _value(text: str) -> Any:
    """Read a value as TOML does, else as text: 0.02, true, [1, 2], M6, 1/4 in."""
    text = text.strip()
    if not text:
        return None
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        return text
    return value if isinstance(value, bool | int | float | str | list | dict) else text


def _is_number(value: Any) -> bool:
    """Say whether a value was a bare number."""
    return isinstance(value, int | float) and not isinstance(value, bool)

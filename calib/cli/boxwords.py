"""Sizes of boxes and panels as people type them: 250x180x100, black cherry-6, 35-60."""

from __future__ import annotations

from calib.cli.kit import Units, read_length
from calib.errors import UsageError


def mm(text: str, units: Units | None, what: str) -> float:
    """Read a length that has to be there."""
    found = read_length(text, units, what)
    assert found is not None
    return found


def sizes(
    outside: str | None, inside: str | None, units: Units | None
) -> tuple[tuple[float, float, float], bool]:
    """Read the one size that was given, and say whether it is the inside."""
    text = outside or inside
    if text is None or (outside and inside):
        raise UsageError("box plan: give --outside or --inside, one of them, as 250x180x100.")
    parts = _parts(text)
    if len(parts) != 3:
        raise UsageError(f'box plan: "{text}" is not length x width x height. Write it as 250x180x100.')
    named = zip(parts, ("length", "width", "height"), strict=True)
    length, width, height = (mm(part, units, what) for part, what in named)
    return (length, width, height), outside is None


def panel_sides(text: str | None, units: Units | None) -> tuple[float, float] | None:
    """Read the size of a panel, along the box and across it; None stays None."""
    return None if text is None else two_sides(text, units, "panel")


def two_sides(text: str, units: Units | None, what: str) -> tuple[float, float]:
    """Read 240x170."""
    parts = _parts(text)
    if len(parts) != 2:
        raise UsageError(f'box: {what} size "{text}" is not length x width. Write it as 240x170.')
    return mm(parts[0], units, f"{what} length"), mm(parts[1], units, f"{what} width")


def panel_kind(text: str, units: Units | None) -> tuple[str, float]:
    """Read plywood-6 or black cherry-6."""
    wood, dash, thick = text.rpartition("-")
    if not dash or not wood.strip():
        raise UsageError(f'box plan: panel "{text}" has no thickness. Write it as plywood-6, black cherry-6.')
    name = wood.strip()
    return name.lower() if name.lower() in ("plywood", "mdf") else name, mm(thick, units, "panel")


def humidity_range(text: str, made_at: float) -> tuple[float, float, float]:
    """Read 35-60: the driest, where it is made, the wettest."""
    try:
        low, high = (float(part) for part in text.replace("%", "").split("-"))
    except ValueError:
        raise UsageError(f'box plan: humidity "{text}" is no range. Write it as 35-60.') from None
    if not low <= high:
        raise UsageError(f'box plan: humidity "{text}" runs from wet to dry. Write the lower number first.')
    return low, made_at, high


def _parts(text: str) -> list[str]:
    return [part.strip() for part in text.lower().replace("×", "x").split("x")]

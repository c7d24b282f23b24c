"""Two mountings side by side as text: first how much differently the setup stood, then the table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calib.present.figures import figure, typed_figure, typed_length
from calib.present.layout import paragraph, table_or_records

#: Half the range that holds nine in ten, in standard uncertainties.
_HALF = 1.645
#: Closer than this is the same.
_SAME_MM = 1e-6


def between_lines(found: Any, width: int = 80, units: str | None = None) -> list[str]:
    """Return the differences between two mountings; `found` has the fields of `workflow.compare.Between`."""
    unit = units or found.setup.units
    first, second = found.first, found.second
    lines = paragraph(f"{found.setup.name}, mounting {second.number} against mounting {first.number}", width)
    lines += _higher(found, width, unit)
    head = ["", f"mounting {first.number}", f"mounting {second.number}", "changed"]
    return [*lines, "", *table_or_records(head, _rows(found, unit), width)]


def _higher(found: Any, width: int, unit: str) -> list[str]:
    lines = []
    for reading, mm in found.higher_mm.items():
        half = typed_length(_HALF * found.u_mm[reading], unit)
        side = "higher" if mm >= 0.0 else "lower"
        lines += paragraph(
            f"With the same settings {reading} read {typed_figure(abs(mm), unit)} ± {half} {side} "
            "(after ± half the range of nine in ten).",
            width,
        )
    return lines or paragraph("One of them has no cut that was measured, so they cannot be compared.", width)


def _rows(found: Any, unit: str) -> list[list[str]]:
    first, second = found.first, found.second
    rows = [
        _row("when", first.when[:16].replace("T", " "), second.when[:16].replace("T", " "), plain=True),
        _row("cutter", first.cutter, second.cutter),
        _row("sharpening", first.sharpening, second.sharpening),
        _row("stock", first.stock, second.stock),
        _row("test cuts", first.tests, second.tests),
        _row("good pieces", first.good, second.good),
        _row("moves", first.moves, second.moves),
    ]
    rows += _lengths("ended", first.ending.settings_mm, second.ending.settings_mm, unit)
    return rows + _lengths("read", first.ending.readings_mm, second.ending.readings_mm, unit)


def _row(name: str, one: Any, other: Any, *, plain: bool = False) -> list[str]:
    same = plain or one == other
    return [name, "" if one is None else str(one), "" if other is None else str(other), "" if same else "*"]


def _lengths(what: str, one: Mapping[str, float], other: Mapping[str, float], unit: str) -> list[list[str]]:
    """Return one row a length, with the difference: where a scale ended, what was read there."""
    rows = []
    for name in dict.fromkeys([*one, *other]):
        cells = [typed_figure(side[name], unit) if name in side else "" for side in (one, other)]
        apart = other[name] - one[name] if name in one and name in other else 0.0
        rows.append([f"{name} {what}, {unit}", *cells, _signed(apart, unit) if abs(apart) > _SAME_MM else ""])
    return rows


def _signed(mm: float, unit: str) -> str:
    return f"{'+' if mm > 0.0 else ''}{figure(mm, unit)}"

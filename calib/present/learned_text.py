"""What the shop taught, and what a new mounting should read, in words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calib.decision.mounting import FirstSetting
from calib.present.figures import count, figure, length, percent
from calib.present.layout import paragraph, table_or_records
from calib.regression.learn import Learned

_COVERAGE = 0.9


def learned_lines(
    name: str, mountings: int, numbers: int, moves: int, found: Sequence[Learned], width: int, unit: str
) -> list[str]:
    """Return what the mountings of one setup taught, a row a component."""
    head = f"{name}: {count(mountings, 'mounting')}, {count(numbers, 'reading')}, {count(moves, 'move')}."
    rows = [_row(one, unit) for one in found]
    titles = ("", "before (nine in ten)", "now (nine in ten)")
    return [*paragraph(head, width), *table_or_records(titles, rows, width, right=(1, 2))]


def learned_notes(unit: str, width: int) -> list[str]:
    """Return how the rows of `learned_lines` are to be read."""
    lengths = "inches" if unit == "in" else unit
    return paragraph(
        f"In {lengths}, but the scale error in parts of a move. First the middle, then where nine shops in "
        "ten lie: before any cut, by what is assumed; now, with what the mountings showed.",
        width,
    )


def first_lines(first: FirstSetting, spread: Sequence[Learned], width: int, unit: str) -> list[str]:
    """Return what the first cut of a mounting should read, and how well mountings have gone back."""
    lines: list[str] = []
    for r in first.readings:
        low, high = r.interval90_mm
        lines += paragraph(
            f"Expect {r.name} {length(r.expected_mm, unit)}, {figure(low, unit)} to {length(high, unit)} "
            f"in nine cuts of ten; {percent(r.probability)} that the first cut is in its band.",
            width,
        )
    if len(first.readings) > 1:
        lines += paragraph(f"{percent(first.probability)} that it is in all its bands.", width)
    for one in spread:
        low, high = one.interval(_COVERAGE)
        if one.kind == "mounting":
            lines += paragraph(
                f"In {' and '.join(one.of)} it goes back within {length(one.median(), unit)} "
                f"(standard deviation; {figure(low, unit)} to {length(high, unit)} at 90 %).",
                width,
            )
        else:
            lines += paragraph(
                f"With a kept joint as the gauge: {percent(one.median())} of that "
                f"({percent(low)} to {percent(high)} at 90 %).",
                width,
            )
    return lines


def plain_parts(found: Sequence[Learned]) -> list[dict[str, Any]]:
    """Return components as JSON can hold them; lengths in mm, the others without a unit."""
    return [
        {
            "kind": one.kind,
            "of": list(one.of),
            "unit": "" if one.kind in ("kept", "scale") else "mm",
            **{
                when: {
                    "median": one.median(before=before),
                    "interval90": list(one.interval(_COVERAGE, before=before)),
                }
                for when, before in (("before", True), ("now", False))
            },
        }
        for one in found
    ]


def _row(one: Learned, unit: str) -> tuple[str, str, str]:
    def said(value: float) -> str:
        return f"{round(value, 3) + 0.0:.3f}" if one.kind in ("kept", "scale") else _fine(value, unit)

    def cell(before: bool) -> str:
        low, high = one.interval(_COVERAGE, before=before)
        return f"{said(one.median(before=before))} ({said(low)} to {said(high)})"

    return _what(one), cell(True), cell(False)


def _fine(mm: float, unit: str) -> str:
    """Say a spread with a third decimal of mm: it is often a hundredth."""
    return figure(mm, unit, 3 if unit == "mm" else 4)


def _what(one: Learned) -> str:
    name = " and ".join(one.of)
    return {
        "scatter": f"scatter of {name}",
        "move": f"error of a move, {name}",
        "mounting": f"mountings of {name}",
        "kept": "part left by a kept joint",
        "creep": f"creep of {name}, a piece",
        "offset": f"offset of {name}",
        "scale": f"scale error, {name}",
    }[one.kind]

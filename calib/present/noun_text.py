"""Cutters, stocks and gauges as tables.

The rows are any records with the fields that are named here; the records themselves belong to the
use cases.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calib.present.figures import figure, typed_figure, typed_length
from calib.present.layout import paragraph, section, table_or_records


def cutter_lines(records: Sequence[Any], width: int, units: str) -> list[str]:
    """Return one line a cutter: name, nominal and measured width, sharpening, metres since."""
    head = ["cutter", f"nominal {units}", f"measured {units}", "sharpening", "since", "metres", "note"]
    rows = [
        [
            record.name,
            _figure(record.nominal_mm, units),
            _figure(record.measured_mm, units),
            record.sharpening,
            str(record.sharpened_when or "")[:10],
            f"{record.metres_m:.1f}",
            record.note or "",
        ]
        for record in records
    ]
    return table_or_records(head, rows, width, right=[1, 2, 5])


def stock_lines(records: Sequence[Any], width: int, units: str) -> list[str]:
    """Return one line a stock: name, species, thickness, moisture in per cent, how fast it wears an edge."""
    head = ["stock", "species", f"thickness {units}", "moisture %", "abrasive", "note"]
    rows = [
        [
            record.name,
            record.species or "",
            _figure(record.thickness_mm, units),
            "" if record.moisture_percent is None else f"{record.moisture_percent:.1f}",
            f"{record.abrasiveness:g}",
            record.note or "",
        ]
        for record in records
    ]
    return table_or_records(head, rows, width, right=[2, 3, 4])


def stock_details(record: Any, table: Any, width: int) -> list[str]:
    """Return what more there is to say of one stock: room, movement, thickness in the prediction.

    Parameters
    ----------
    table : pair of movement coefficients (quarter-sawn, flat-sawn) of its species, or None
    """
    lines = []
    if record.temperature_c is not None:
        lines.append(
            f"Moisture reckoned from {record.temperature_c:g} °C and {record.humidity_percent:g} % relative "
            "humidity (Wood Handbook, eq. 4-5); one per cent either way is fair."
        )
    for face, own, place in (("flat-sawn", record.tangential, 1), ("quarter-sawn", record.radial, 0)):
        known = own if own is not None else None if table is None else table[place]
        if known is not None:
            whose = "your own" if own is not None else "Table 13-5"
            lines.append(f"A {face} face moves by {100.0 * known:.3f} % for 1 % of moisture ({whose}).")
    return [line for text in lines for line in paragraph(text, width, "  ")]


def movement_lines(moves: Any, width: int, units: str) -> list[str]:
    """Return how far the boards of a joint move: the difference first, then each board."""
    first = moves.boards[0]
    size = typed_length(first.size_mm, units)
    lines = []
    if moves.difference_mm is not None:
        more = figure(abs(moves.difference_mm), units, 3 if units == "mm" else None)
        wider = moves.boards[0 if moves.difference_mm >= 0.0 else 1]
        lines += paragraph(
            f"The two boards of {size} will differ by {more} {units}: {wider.stock}, {wider.sawn}-sawn, "
            "will be the wider one.",
            width,
        )
    for board in moves.boards:
        change = figure(abs(board.change_mm), units, 3 if units == "mm" else None)
        does = "grows" if board.change_mm >= 0.0 else "shrinks"
        lines += paragraph(
            f"{board.stock}, {board.sawn}-sawn, {size} across the grain: {does} by {change} {units} from "
            f"{board.from_percent:.1f} to {board.to_percent:.1f} % moisture ({board.rests_on}).",
            width,
        )
    return [*lines, *section("Mind", [_BOARDS], width, "!")]


_BOARDS = "Few boards are purely flat- or quarter-sawn; along the grain a board hardly moves."


def gauge_lines(records: Sequence[Any], width: int, units: str) -> list[str]:
    """Return one line a gauge: name, kind, resolution, limit of error."""
    head = ["gauge", "kind", f"resolution {units}", f"limit of error {units}", "note"]
    rows = [
        [
            record.name,
            record.kind,
            _figure(record.resolution_mm, units),
            _figure(record.limit_of_error_mm, units),
            record.note or "",
        ]
        for record in records
    ]
    return table_or_records(head, rows, width, right=[2, 3])


def _figure(mm: float | None, units: str) -> str:
    """Return a length, or nothing when it is not known."""
    return "" if mm is None else typed_figure(mm, units)

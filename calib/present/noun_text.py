"""Cutters, stocks and gauges as tables.

The rows are any records with the fields that are named here; the records themselves belong to the
use cases.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from calib.present.figures import typed_figure
from calib.present.layout import table_or_records


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

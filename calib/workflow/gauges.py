"""Gauges: what readings are taken with."""

from __future__ import annotations

from dataclasses import dataclass

from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class GaugeRecord:
    """A gauge: kind (calliper, indicator, feeler, rule ...), resolution and limit of error, mm."""

    name: str
    kind: str
    resolution_mm: float
    limit_of_error_mm: float | None
    note: str | None


def add(
    shop: Shop,
    name: str,
    kind: str,
    resolution_mm: float,
    limit_of_error_mm: float | None = None,
    note: str | None = None,
) -> GaugeRecord:
    """Add a gauge."""
    raise NotImplementedError


def all(shop: Shop) -> list[GaugeRecord]:
    """Return every gauge, by name."""
    raise NotImplementedError


def get(shop: Shop, name: str) -> GaugeRecord:
    """Return one gauge; raise `CalibError` with a near name when there is none."""
    raise NotImplementedError


def change(
    shop: Shop,
    name: str,
    *,
    kind: str | None = None,
    resolution_mm: float | None = None,
    limit_of_error_mm: float | None = None,
    note: str | None = None,
) -> GaugeRecord:
    """Change what is known of a gauge; None leaves a thing as it was."""
    raise NotImplementedError

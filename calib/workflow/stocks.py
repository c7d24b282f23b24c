"""Stocks: species, thickness, moisture, batch."""

from __future__ import annotations

from dataclasses import dataclass

from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class StockRecord:
    """A stock; thickness in mm, moisture in per cent of the dry weight, None where not known."""

    name: str
    species: str | None
    thickness_mm: float | None
    moisture_percent: float | None
    note: str | None


def add(
    shop: Shop,
    name: str,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
) -> StockRecord:
    """Add a stock."""
    raise NotImplementedError


def all(shop: Shop) -> list[StockRecord]:
    """Return every stock, by name."""
    raise NotImplementedError


def get(shop: Shop, name: str) -> StockRecord:
    """Return one stock; raise `CalibError` with a near name when there is none."""
    raise NotImplementedError


def change(
    shop: Shop,
    name: str,
    *,
    species: str | None = None,
    thickness_mm: float | None = None,
    moisture_percent: float | None = None,
    note: str | None = None,
) -> StockRecord:
    """Change what is known of a stock; None leaves a thing as it was."""
    raise NotImplementedError

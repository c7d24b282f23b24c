"""Moves: who moved what, from where, to where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from calib.workflow.shopfloor import Shop

MoveKind = Literal["advised", "to", "by", "cut", "mounting"]


@dataclass(frozen=True)
class Moved:
    """One logged move of one adjuster; ``from_mm`` is None when its position was not known."""

    setup: str
    adjuster: str
    from_mm: float | None
    to_mm: float
    kind: MoveKind


def moved_as_advised(shop: Shop, setup_name: str) -> list[Moved]:
    """Log that the last advice's moves were made; `CalibError` when there is nothing to follow."""
    raise NotImplementedError


def moved_to(
    shop: Shop,
    setup_name: str,
    settings_mm: Mapping[str, float],
    *,
    texts: Mapping[str, str] | None = None,
) -> list[Moved]:
    """Log where the scales stand now; the same place again is a re-set, and that counts as a move too."""
    raise NotImplementedError


def moved_by(
    shop: Shop, setup_name: str, adjuster: str, change_mm: float, *, text: str | None = None
) -> list[Moved]:
    """Log a move by an amount, in the direction of the scale; without a scale, positions count from 0."""
    raise NotImplementedError


def positions(shop: Shop, setup_name: str) -> dict[str, float]:
    """Return where every scale of a setup stands as far as is known, mm."""
    raise NotImplementedError

"""Cutters and their sharpenings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from calib.workflow.shopfloor import Shop

SharpeningKind = Literal["fitted", "reground", "replaced"]


@dataclass(frozen=True)
class CutterRecord:
    """A cutter with its present sharpening.

    Parameters
    ----------
    nominal_mm : float or None, mm
    nominal_text : str or None
        As typed ("1/4 in").
    sharpening : str
        Label of the present sharpening, "spiral-6 #2".
    sharpened_when : str
        ISO time, or as typed.
    metres_m : float, m
        Cut since that sharpening, in all setups, and what it had before.
    measured_mm : float or None, mm
        Width measured when it was last sharpened.
    sharpenings : int
        How many sharp lives are known.
    """

    name: str
    nominal_mm: float | None
    nominal_text: str | None
    sharpening: str
    sharpened_when: str
    metres_m: float
    measured_mm: float | None
    sharpenings: int
    note: str | None


def add(
    shop: Shop,
    name: str,
    nominal_mm: float | None,
    *,
    nominal_text: str | None = None,
    sharpened_when: str | None = None,
    metres: float = 0.0,
    note: str | None = None,
) -> CutterRecord:
    """Add a cutter; its first sharpening starts with the metres that it has already cut."""
    raise NotImplementedError


def all(shop: Shop) -> list[CutterRecord]:
    """Return every cutter, by name."""
    raise NotImplementedError


def get(shop: Shop, name: str) -> CutterRecord:
    """Return one cutter; raise `CalibError` with a near name when there is none."""
    raise NotImplementedError


def change(
    shop: Shop,
    name: str,
    *,
    nominal_mm: float | None = None,
    nominal_text: str | None = None,
    note: str | None = None,
) -> CutterRecord:
    """Change what is known of a cutter; None leaves a thing as it was."""
    raise NotImplementedError


def sharpen(
    shop: Shop,
    name: str,
    kind: SharpeningKind = "reground",
    measured_mm: float | None = None,
    *,
    metres: float = 0.0,
    note: str | None = None,
) -> CutterRecord:
    """Start a new sharpening: the metres start again from 0 (or from ``metres``)."""
    raise NotImplementedError

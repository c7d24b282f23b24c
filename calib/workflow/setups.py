"""Setups: versioned, never overwritten."""

from __future__ import annotations

from calib.shop import Setup
from calib.workflow.shopfloor import Shop


def add(shop: Shop, setup: Setup) -> Setup:
    """Add a setup (its cutter too, when the shop does not have it yet)."""
    raise NotImplementedError


def all(shop: Shop) -> list[Setup]:
    """Return the current version of every setup, by name."""
    raise NotImplementedError


def get(shop: Shop, name: str) -> Setup:
    """Return the current version of a setup; raise `CalibError` with a near name when there is none."""
    raise NotImplementedError


def change(shop: Shop, name: str, new: Setup) -> Setup:
    """Store a new version of a setup; the old one is kept, and cuts remember the version they were logged with.

    A different ``new.name`` renames it.
    """
    raise NotImplementedError


def versions(shop: Shop, name: str) -> int:
    """Return how many versions of a setup are kept."""
    raise NotImplementedError


def resolve(shop: Shop, name: str | None = None) -> str:
    """Return the setup meant: the one named, else the last one used; `CalibError` when there is none."""
    raise NotImplementedError

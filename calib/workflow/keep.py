"""Keeping: a copy that is whole, and a check that stored advice can be computed again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class Verified:
    """What `verify` found.

    Parameters
    ----------
    problems : tuple of str
        One line each; empty when all is well.
    advice_checked, advice_other_version : int
        Recomputed to 1e-6, and left alone because another model version gave them.
    """

    problems: tuple[str, ...]
    advice_checked: int
    advice_other_version: int
    cuts: int


def backup(shop: Shop, path: Path) -> Path:
    """Write a whole copy of the database to a file (also while another program writes)."""
    raise NotImplementedError


def verify(shop: Shop) -> Verified:
    """Check the file, its references and triggers, and recompute the advice of this model version."""
    raise NotImplementedError

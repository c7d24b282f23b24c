"""Undo: the last step is set aside; nothing is deleted."""

from __future__ import annotations

from dataclasses import dataclass

from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class Undone:
    """What was undone, in words ("cut 7 on chest-corners"); ``again`` when it was an undo that was undone."""

    what: str
    setup: str | None
    again: bool = False


def undo(shop: Shop, setup_name: str | None = None) -> Undone:
    """Undo the last thing logged (on one setup, when named); an undo right after an undo goes further back."""
    raise NotImplementedError


def redo(shop: Shop, setup_name: str | None = None) -> Undone:
    """Undo the last undo."""
    raise NotImplementedError

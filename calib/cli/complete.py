"""Completion of setup and cutter names: read-only, and silent when anything is wrong."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

import typer

from calib.cli.kit import opened
from calib.workflow.shopfloor import Shop


def setup_names(ctx: Any, incomplete: str) -> list[str]:
    """Offer the setups that begin so."""
    from calib.workflow import setups

    return _names(ctx, incomplete, lambda shop: [setup.name for setup in setups.all(shop)])


def cutter_names(ctx: Any, incomplete: str) -> list[str]:
    """Offer the cutters that begin so."""
    from calib.workflow import cutters

    return _names(ctx, incomplete, lambda shop: [cutter.name for cutter in cutters.all(shop)])


def box_names(ctx: Any, incomplete: str) -> list[str]:
    """Offer the boxes that begin so."""
    from calib.workflow import keptboxes

    return _names(ctx, incomplete, lambda shop: [box.name for box in keptboxes.all(shop)])


def _names(ctx: Any, incomplete: str, find: Callable[[Shop], list[str]]) -> list[str]:
    """Read the names; nothing may be written and nothing may be said while somebody types."""
    try:
        db = ctx.params.get("db")
        with opened(Path(db) if db else None, read_only=True) as shop:
            return [name for name in find(shop) if name.startswith(incomplete)]
    except Exception:  # completion must never disturb the line that is being typed
        return []


SetupName = Annotated[
    str | None,
    typer.Argument(metavar="SETUP", autocompletion=setup_names, help="Default: the last used."),
]

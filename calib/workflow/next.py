"""The next step: load, ask the core, keep the answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calib.decision.advice import Advice
from calib.workflow.shopfloor import Shop


def next_step(
    shop: Shop,
    setup_name: str,
    *,
    pieces_left: int | None = None,
    stakes: Mapping[str, Any] | None = None,
    knowledge: Mapping[str, Any] | None = None,
    store: bool = True,
) -> Advice:
    """Return the suggested next step of a setup, and store it so that it can be scored later.

    ``stakes`` and ``knowledge`` have the keys of a log's TOML. With ``store=False``, or a shop
    opened read only, nothing is written.
    """
    raise NotImplementedError

"""Mountings: the setup goes on the machine."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class Mounted:
    """A new mounting and where to start.

    Parameters
    ----------
    number : int
        Of this setup's mountings, from 1.
    settings_mm : mapping of adjuster name to mm
        Where to set the scales first; empty when the shop knows nothing yet.
    rests_on : tuple of int
        Numbers of the earlier mountings that the advice rests on.
    text : str
        The same in one or two sentences.
    cautions : tuple of str
        What has changed since (cutter, stock).
    """

    setup: str
    number: int
    settings_mm: Mapping[str, float]
    rests_on: tuple[int, ...]
    text: str
    cutter: str | None = None
    stock: str | None = None
    cautions: tuple[str, ...] = ()


def mount(
    shop: Shop,
    setup_name: str,
    *,
    cutter: str | None = None,
    stock: str | None = None,
    note: str | None = None,
) -> Mounted:
    """Put a setup on the machine again: a new mounting, whose offset is drawn anew.

    ``cutter`` and ``stock`` say which ones are used from now on (None: as before).
    """
    raise NotImplementedError

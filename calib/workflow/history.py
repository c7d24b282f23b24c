"""History: what was set, cut and advised."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calib.shop import Cut, Setup
from calib.workflow.moves import Moved
from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class StoredAdvice:
    """Advice as it was given.

    Parameters
    ----------
    published : mapping
        The form that was printed (``calib.advice/1``).
    after_cut : int or None
        Number of the last cut it used.
    """

    when: str
    model_version: str
    published: Mapping[str, Any]
    after_cut: int | None
    mounting: int | None


@dataclass(frozen=True)
class MountingHistory:
    """One mounting with what happened in it, in order; number 0 = before any mounting was named."""

    number: int
    when: str
    cutter: str | None
    stock: str | None
    note: str | None
    cuts: tuple[Cut, ...]
    moves: tuple[Moved, ...]
    advice: tuple[StoredAdvice, ...]


@dataclass(frozen=True)
class History:
    """A setup's whole history, oldest mounting first."""

    setup: Setup
    versions: int
    mountings: tuple[MountingHistory, ...]


def history(shop: Shop, setup_name: str) -> History:
    """Return what was set, cut, moved and advised on a setup."""
    raise NotImplementedError


def log_of(shop: Shop, setup_name: str) -> tuple[Setup, list[Cut]]:
    """Return a setup and its cuts as the model takes them (what `next`, plots and export start from)."""
    raise NotImplementedError


def find_cut(shop: Shop, number: int) -> tuple[Setup, Cut]:
    """Return one cut by the number on the piece, with its setup."""
    raise NotImplementedError

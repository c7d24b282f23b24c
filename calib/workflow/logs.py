"""Logs: a pair of files in, a pair of files out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from calib.workflow.shopfloor import Shop


@dataclass(frozen=True)
class Imported:
    """What an import did; ``already`` when the same log was there and nothing changed."""

    name: str
    cuts: int
    already: bool


def import_log(shop: Shop, toml_path: Path) -> Imported:
    """Read a log into the shop, all of it or nothing; the same log twice changes nothing."""
    raise NotImplementedError


def export_log(shop: Shop, setup_name: str, toml_path: Path) -> int:
    """Write a setup and its cuts as NAME.toml and NAME.csv; return how many cuts."""
    raise NotImplementedError

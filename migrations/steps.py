"""The steps, registered with sqlite-utils in their order."""

from __future__ import annotations

from importlib import import_module

from calib.migrations import SET, STEPS
from sqlite_utils import Migrations


def registered() -> Migrations:
    """Return every step of `STEPS`, ready to apply."""
    steps = Migrations(SET)
    for name in STEPS:
        steps(name=name)(import_module(f"calib.migrations.{name}").apply)
    return steps

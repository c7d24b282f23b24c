"""The steps, registered with sqlite-utils in their order."""

from __future__ import annotations

from importlib import import_module

from sqlite_utils import Migrations

from calib.migrations import SET, STEPS


def registered() -> Migrations:
    """Return every step of `STEPS`, ready to apply."""
    steps = Migrations(SET)
    for name in STEPS:
        steps(name=name)(import_module(f"calib.migrations.{name}").apply)
    return steps

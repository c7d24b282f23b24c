"""Any other joint: the maker says what moves what, the cuts say the rest.

The idea: no geometry at all. The nominal of a reading is its target, every slope comes from the
adjuster's `moves` (a number, 0 for no effect, or "learn"), and the edge's recession has no known effect:
how the reading drifts shows as creep.
"""

from __future__ import annotations

from collections.abc import Mapping

from calib.errors import CalibError
from calib.geometry.model import Known
from calib.shop import Joint, Setup

ADJUSTERS: tuple[str, ...] = ()


def known_readings(joint: Joint, cutter_mm: float, at: Mapping[str, float]) -> dict[str, Known]:
    """Return nothing: geometry knows no reading of a plain joint."""
    del joint, cutter_mm, at
    return {}


def check_slopes(setup: Setup) -> None:
    """Raise `CalibError`, naming setup, adjuster and reading, unless a plain joint has every slope."""
    for adjuster in setup.adjusters:
        for band in setup.bands:
            if band.name not in adjuster.moves:
                raise CalibError(
                    f"setup {setup.name}: a plain joint has no slope of its own from adjuster "
                    f"{adjuster.name} to reading {band.name}. Write it under adjusters.{adjuster.name}: "
                    f'moves = {{ {band.name} = -1.0 }}, 0 for no effect, or "learn".'
                )

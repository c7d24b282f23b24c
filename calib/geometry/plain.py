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
    """Raise `CalibError`, naming setup and adjuster, unless each adjuster of a plain joint has a slope.

    A reading that an adjuster does not name is one that it does not move.
    """
    for adjuster in setup.adjusters:
        if not adjuster.moves:
            first = setup.bands[0].name
            raise CalibError(
                f"setup {setup.name}: a plain joint has no slope of its own for adjuster {adjuster.name}. "
                f"Write it under adjusters.{adjuster.name}: moves = {{ {first} = -1.0 }}, 0 for no effect, "
                'or "learn".'
            )

"""The cutting edge: at which height a setup uses it, and how fast a wood wears it.

Wear sits where the edge was engaged. A shallow groove tells little about a deep finger slot, so only setups
of a like engaged height are taken to share one recession. All metres count alike, whatever the height: an
edge is then never taken to be sharper than it is.

How fast a wood wears an edge is told against a hardwood like cherry, which is 1. The order is common
practice, no source; the numbers are assumed, so that the order has something to count with.
"""

from __future__ import annotations

from collections.abc import Mapping

from calib.shop import Setup

#: Heights are alike when the smaller is at least this part of the larger (assumed, no source).
LIKE_HEIGHT = 0.5

#: Abrasiveness by a word of the species; the first that is found counts.
ABRASIVENESS: Mapping[str, float] = {
    "teak": 3.0, "iroko": 3.0, "mdf": 3.0, "plywood": 3.0, "particleboard": 3.0,
    "hard maple": 1.5, "sugar maple": 1.5, "maple, sugar": 1.5, "maple, hard": 1.5, "oak": 1.5, "ash": 1.5,
    "cherry": 1.0, "walnut": 1.0,
    "pine": 0.5, "spruce": 0.5, "fir": 0.5, "cedar": 0.5, "larch": 0.5, "softwood": 0.5,
}  # fmt: skip


def abrasiveness_of(species: str | None) -> float:
    """Return how fast a species wears an edge, 1 where it is not known.

    >>> abrasiveness_of("ash, white"), abrasiveness_of("birch plywood"), abrasiveness_of(None)
    (1.5, 3.0, 1.0)
    """
    words = (species or "").casefold()
    parts = words.replace(",", " ").split()
    for name, factor in ABRASIVENESS.items():
        if (" " in name and name in words) or name in parts:
            return factor
    return 1.0


def engaged_height(setup: Setup, settings_mm: Mapping[str, float] | None = None) -> float | None:
    """Return how much of the edge is engaged, mm, or None where nothing tells it.

    A depth that is wanted tells it, else the height on its scale, else (fingers) the thickness of the stock.
    """
    for band in setup.bands:
        if band.name == "depth":
            return band.target_mm
    for adjuster in setup.adjusters:
        if adjuster.name == "height" and adjuster.has_scale and settings_mm and settings_mm.get("height"):
            return settings_mm["height"]
    return setup.joint.thickness_mm if setup.joint.kind == "finger" else None


def alike(one: tuple[str, float | None], other: tuple[str, float | None]) -> bool:
    """Say whether two uses (kind of joint, engaged height in mm) wear the edge at a like height.

    Where a height is not known, setups of one kind of joint are taken to be alike, others not.

    >>> alike(("finger", 8.0), ("groove", 5.0)), alike(("finger", 8.0), ("groove", 3.0))
    (True, False)
    """
    (kind, height), (other_kind, other_height) = one, other
    if height is None or other_height is None or min(height, other_height) <= 0.0:
        return kind == other_kind
    return min(height, other_height) >= LIKE_HEIGHT * max(height, other_height)

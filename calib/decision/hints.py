"""How to make the next test cut count. Common practice, no source."""

from __future__ import annotations

from calib.shop import JointKind, Setup

_WOOD = "Use scrap of the same species at the final thickness."
_NUMBER = "Write the cut's number on the piece and keep it: it can be measured again."
_BY_KIND: dict[JointKind, tuple[str, ...]] = {
    "finger": (
        "A fresh backer; brush the fuzz off before measuring.",
        "Measure a middle finger and its slot, at both ends.",
    ),
    "groove": (
        "Run the whole length, then measure near both ends and in the middle.",
        "Brush the fuzz off before measuring.",
    ),
    "inlay": (
        "Cut pocket and insert with the same finishing pass.",
        "Read X and Y apart: a gap on one axis only is backlash.",
    ),
    "plain": ("Measure where it matters on the good piece, brushed clean.",),
}


def test_hints(setup: Setup, times: int) -> tuple[str, ...]:
    """Return how to make the next test cut count, five lines at most; `times` is how often it is measured."""
    often = (
        f"Measure it {times} times, each time from the start, and log every reading: beside what cuts "
        "scatter one reading is coarse, and to measure is cheaper than to cut."
    )
    return (_WOOD, *_BY_KIND[setup.joint.kind], *((often,) if times > 1 else ()), _NUMBER)

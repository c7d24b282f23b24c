"""How to make the next test cut count. Common practice, no source."""

from __future__ import annotations

from dataclasses import replace

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


def test_hints(setup: Setup, times: int, by_feel: bool) -> tuple[str, ...]:
    """Return how to make the next test cut count.

    Parameters
    ----------
    times : int
        How often the cut is measured.
    by_feel : bool
        The last cut was felt and not measured.
    """
    often = (
        f"Measure it {times} times, each time from the start, and log every reading: beside what cuts "
        "scatter one reading is coarse, and to measure is cheaper than to cut."
    )
    more = [often] if times > 1 else []
    between = _between_words(setup) if by_feel else None
    if between is not None:
        more.append(f"Where a fit lies between two words, say so, as in feel={between}: it tells more.")
    return (_WOOD, *_BY_KIND[setup.joint.kind], *more, _NUMBER)


def _between_words(setup: Setup) -> str | None:
    """Return what lies between the two words that meet nearest to the target, as it is typed."""
    finer = replace(setup.feel, finer=True)
    between = [said for said in finer.all_said() if said not in finer.words]
    target = setup.bands[0].target_mm
    return min(between, key=lambda said: abs(sum(finer.limits_of(said)) / 2.0 - target), default=None)

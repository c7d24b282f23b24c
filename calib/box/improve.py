"""Which single thing to measure or adjust before a box is glued.

The idea: every candidate is asked for the closing chance on the same draws, so that the best one is the best
one and not the luckiest. Steps are what a maker can make at the bench (common practice, no source).
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, NamedTuple

from calib.box.closing import BoxBelief, Draws, Uncertain, closing_chance

_MEASURE = {
    "clearance": "clearance of the corners",
    "clearance_scatter": "scatter from corner to corner",
    "pitch_difference": "pitch of the two settings",
    "inside_x": "inside length",
    "inside_y": "inside width",
    "proud_error": "depth of the fingers",
    "proud_error_y": "depth of the fingers of the second setup",
    "depth": "depth of the groove",
    "depth_scatter": "groove depth from board to board",
    "setback_scatter": "setback from board to board",
    "groove_play": "groove width and panel thickness",
    "panel_x": "panel length",
    "panel_y": "panel width",
    "panel_square": "squareness of the panel",
    "up": "moisture on the wettest day",
    "down": "moisture on the driest day",
}
_STEADIER = "work twice as steadily"
_SIZED_FOR = "measure it and size the panel for it"
_HOW = {
    "clearance_scatter": _STEADIER,
    "depth_scatter": _STEADIER,
    "setback_scatter": _STEADIER,
    "up": _SIZED_FOR,
    "down": _SIZED_FOR,
}
_ADJUST = (
    ("clearance", "clearance of the corners", 0.02, "key 0.02 mm toward the cutter"),
    ("depth", "depth of the groove", 0.25, "cut it 0.25 mm deeper"),
    ("panel_x", "panel length", -0.25, "make it 0.25 mm shorter"),
    ("panel_x", "panel length", 0.25, "make it 0.25 mm longer"),
    ("panel_y", "panel width", -0.25, "make it 0.25 mm narrower"),
    ("panel_y", "panel width", 0.25, "make it 0.25 mm wider"),
    ("groove_play", "groove width", 0.05, "cut it 0.05 mm wider"),
)


class Improvement(NamedTuple):
    """One thing to measure or adjust, what is done, and the chance that it leads to."""

    what: str
    how: str
    closes: float


def improvements(belief: BoxBelief, draws: Draws) -> tuple[Improvement, ...]:
    """Return every single thing to measure or adjust with the chance it leads to, the best first.

    Measuring something and putting it right leaves half its uncertainty (a reading whose own uncertainty is
    half of what was believed, and a correction by what was read); adjusting shifts it by a step that a maker
    can make. A scatter from board to board is halved by steadier work.
    """
    tried = [
        Improvement(what, how, closing_chance(better, draws).closes)
        for what, how, better in candidates(belief)
    ]
    return tuple(sorted(tried, key=lambda found: -found.closes))


def candidates(belief: BoxBelief) -> list[tuple[str, str, BoxBelief]]:
    """Return what can be measured or adjusted, how, and the belief that it leads to."""
    found = []
    for name, what in _MEASURE.items():
        value = getattr(belief, name)
        if value is None:
            continue
        sd = value.sd if isinstance(value, Uncertain) else value
        if sd > 0.0:
            half = Uncertain(value.mean, 0.5 * sd) if isinstance(value, Uncertain) else 0.5 * sd
            better = _with(belief, name, half)
            if name in ("clearance", "pitch_difference"):  # what is left is the reading's error, not theirs
                better = replace(better, pitch_with_clearance=0.0)
            found.append((what, _HOW.get(name, "measure it and put it right"), better))
    for name, what, step, how in _ADJUST:
        if name == "depth" and step > belief.deeper_by_most:
            continue
        value = getattr(belief, name)
        found.append((what, how, _with(belief, name, Uncertain(value.mean + step, value.sd))))
    return found


def _with(belief: BoxBelief, name: str, value: Any) -> BoxBelief:
    return replace(belief, **{name: value})

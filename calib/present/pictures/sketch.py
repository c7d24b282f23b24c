"""A small picture of the joint on its machine: which adjuster is which, and which way its numbers rise.

Not to scale. Inside a frame of 56 by 32 mm; an arrow with a plus points where a rising setting takes the
part.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from calib.decision.hand import direction_word
from calib.shop import Setup

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDE_MM, HIGH_MM = 56.0, 32.0
_BASE = 8.0
#: The directions of the trade, as they are drawn: the cutter stands to the right of key and fence.
_WAYS = {
    "toward the cutter": (1.0, 0.0),
    "away from the cutter": (-1.0, 0.0),
    "up": (0.0, 1.0),
    "down": (0.0, -1.0),
}
#: Where the arrow of an adjuster starts, by kind of joint and its part.
_STARTS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "finger": {"key": (16.0, 4.0), "height": (51.0, 14.0)},
    "groove": {"fence": (9.0, 4.5), "height": (51.0, 14.0)},
}


def draw_sketch(axes: Axes, setup: Setup, left: float, bottom: float) -> None:
    """Draw the sketch with its lower left corner at a place of the page, mm."""
    {"finger": _finger, "groove": _groove, "inlay": _inlay, "plain": _nothing}[setup.joint.kind](
        axes, left, bottom
    )
    spare = 0
    for adjuster in setup.adjusters:
        start = _STARTS.get(setup.joint.kind, {}).get(adjuster.name)
        way = _WAYS.get(direction_word(setup, adjuster.name, 1.0))
        if start is not None and way is not None:
            _arrow(axes, left + start[0], bottom + start[1], way, adjuster.name)
        else:
            axes.text(left + 1, bottom + 1.5 + 3.6 * spare, _unplaced(setup, adjuster.name), size=7)
            spare += 1


def _unplaced(setup: Setup, name: str) -> str:
    adjuster = setup.adjuster(name)
    return f"{name}: typed in" if adjuster.typed else f"{name}: + is {direction_word(setup, name, 1.0)}"


def _arrow(axes: Axes, x: float, y: float, way: tuple[float, float], name: str) -> None:
    """Draw an arrow with a plus at its head and the adjuster's name at its tail."""
    tip = (x + 6.0 * way[0], y + 6.0 * way[1])
    axes.annotate("", tip, (x, y), arrowprops={"arrowstyle": "-|>", "color": "black", "linewidth": 0.9})
    axes.text(tip[0] + 1.8 * way[0], tip[1] + 1.8 * way[1], "+", size=8, ha="center", va="center")
    if way[0]:
        axes.text(x - 1.2 * way[0], y, name, size=7.5, va="center", ha="right" if way[0] > 0 else "left")
    else:
        axes.text(x, y - 1.6 * way[1], name, size=7.5, ha="center", va="top" if way[1] > 0 else "bottom")


def _box(
    axes: Axes, x: float, y: float, wide: float, high: float, fill: str = "white", hatch: str = ""
) -> None:
    from matplotlib.patches import Rectangle

    axes.add_patch(
        Rectangle((x, y), wide, high, facecolor=fill, edgecolor="black", linewidth=0.8, hatch=hatch or None)
    )


def _finger(axes: Axes, left: float, bottom: float) -> None:
    """Draw key, cutter and a board on its end whose last slot sits on the key."""
    base = bottom + _BASE
    outline = [(12, 26), (12, 0), (18, 0), (18, 7), (24, 7), (24, 0), (30, 0), (30, 7), (36, 7), (36, 0),
               (42, 0), (42, 26)]  # fmt: skip
    axes.plot([left + x for x, _ in outline], [base + y for _, y in outline], color="black", linewidth=0.9)
    axes.plot([left + 2, left + 54], [base, base], color="black", linewidth=0.9)
    _box(axes, left + 18.3, base, 5.2, 5.4, "0.75")
    _box(axes, left + 30, base, 6, 7, "white", "////")
    axes.text(left + 20.9, base + 2.5, "key", size=6, ha="center", va="center")
    axes.text(left + 33, base - 1, "cutter", size=7, ha="center", va="top")
    axes.text(left + 27, base + 15, "board", size=7, ha="center", va="center")


def _groove(axes: Axes, left: float, bottom: float) -> None:
    """Draw fence, cutter and a board that lies flat with its edge on the fence."""
    base = bottom + _BASE
    _box(axes, left + 8, base, 6, 17, "0.75")
    outline = [(14, 10), (14, 0), (28, 0), (28, 5), (34, 5), (34, 0), (46, 0), (46, 10), (14, 10)]
    axes.plot([left + x for x, _ in outline], [base + y for _, y in outline], color="black", linewidth=0.9)
    axes.plot([left + 2, left + 54], [base, base], color="black", linewidth=0.9)
    _box(axes, left + 28, base, 6, 5, "white", "////")
    axes.text(left + 11, base + 18, "fence", size=7, ha="center", va="bottom")
    axes.text(left + 31, base - 1, "cutter", size=7, ha="center", va="top")
    axes.text(left + 40, base + 7.5, "board", size=7, ha="center", va="center")


def _inlay(axes: Axes, left: float, bottom: float) -> None:
    """Draw an insert over its pocket; the gap is all that is too wide in the pocket."""
    base = bottom + 9.0
    outline = [(6, 10), (6, 0), (50, 0), (50, 10), (40, 10), (40, 3), (16, 3), (16, 10), (6, 10)]
    axes.plot([left + x for x, _ in outline], [base + y for _, y in outline], color="black", linewidth=0.9)
    _box(axes, left + 17.5, base + 11.5, 21, 7, "0.75")
    axes.text(left + 28, base + 15, "insert", size=7, ha="center", va="center")
    axes.text(left + 28, base + 6.5, "pocket", size=7, ha="center", va="center")


def _nothing(axes: Axes, left: float, bottom: float) -> None:
    """A plain joint has no picture; its adjusters are named."""

"""Why this move: the chance that the next good piece is in its band, along the scale of each adjuster.

The curve is the chance after a move, whose landing is not certain. Staying has no such error, so the ring
of the present setting may stand above it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from calib.decision.profile import Along
from calib.present.figures import percent, typed_figure
from calib.present.pictures.sheet import WIDTH_IN, axes_at, in_unit, look, new_figure
from calib.shop import Setup

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _TOP, _PANEL, _GAP, _FOOT = 0.72, 0.2, 0.36, 1.7, 0.6, 1.0
#: How wide a letter is, as a share of the axis, and how high a line, in per cent of chance.
_LETTER, _LINE = 0.0172, 14.0


def draw_band(setup: Setup, along: Sequence[Along], units: str | None = None) -> Figure:
    """Draw the chances along every scale, one panel for each reading and adjuster that moves it."""
    unit = units or setup.units
    height = _TOP + len(along) * (_PANEL + _GAP) - _GAP + _FOOT
    with look():
        figure = new_figure(WIDTH_IN, height)
        title = f"{setup.name}: chance that the next good piece is in its band"
        figure.text(0.12 / WIDTH_IN, 1 - 0.22 / height, title, weight="bold", va="center", size=9)
        for i, one in enumerate(along):
            bottom = height - _TOP - (i + 1) * _PANEL - i * _GAP
            axes = axes_at(figure, _LEFT, bottom, WIDTH_IN - _LEFT - _RIGHT, _PANEL)
            _panel(axes, setup, one, unit)
        text = "Curve: the chance once moved there; a move never lands exactly.\nStaying has no such error."
        figure.text(0.12 / WIDTH_IN, 0.08 / height, text, size=8.5, va="bottom")
    return figure


def _panel(axes: Axes, setup: Setup, one: Along, unit: str) -> None:
    """Draw the chance of one reading along one scale."""
    x = [in_unit(mm, unit) for mm in one.settings_mm]
    axes.plot(x, [100 * chance for chance in one.chances], color="black", gid="chance")
    axes.set_xlim(x[0], x[-1])
    axes.set_ylim(0, 125)  # room for what is said above a dot
    axes.spines["left"].set_bounds(0, 100)
    axes.set_yticks([0, 25, 50, 75, 100])
    axes.set_ylabel(f"{one.reading} in band (%)")
    scale = "" if setup.adjuster(one.adjuster).has_scale else ", counted from its first place"
    axes.set_xlabel(f"{one.adjuster} ({unit}{scale})")
    if one.advised_mm is None or one.advised_chance is None:
        _mark(axes, one, one.now_mm, one.now_chance, "stay at", unit)
    else:
        taken = _mark(axes, one, one.advised_mm, one.advised_chance, "move to", unit)
        _mark(axes, one, one.now_mm, one.now_chance, "now", unit, taken)


#: Left and right end of a label on the axis, and its foot in per cent.
_Place = tuple[float, float, float]


def _mark(
    axes: Axes, one: Along, mm: float, chance: float, name: str, unit: str, taken: _Place | None = None
) -> _Place:
    """Mark one setting with a dot and an upright, and say its chance above it, clear of all else."""
    x, y, filled = in_unit(mm, unit), 100 * chance, name != "now"
    words = f"{name} {typed_figure(mm, unit)}: {percent(chance)}"
    start, end, side = _ends(axes, x, words)
    along = zip(one.settings_mm, one.chances, strict=True)
    over = [100 * c for at, c in along if start <= in_unit(at, unit) <= end]
    foot = max([y, *over]) + 8
    if taken is not None and start < taken[1] and end > taken[0] and abs(foot - taken[2]) < _LINE:
        foot = taken[2] + _LINE
    head = foot - 2 if foot > y + 12 else y
    axes.plot([x, x], [0, head], color="black", linewidth=0.8, linestyle=(0, (2, 2)))
    axes.plot(
        [x], [y], marker="o", markersize=7, color="black", markerfacecolor="black" if filled else "white",
        linestyle="none", zorder=4, gid="advised" if filled else "now", clip_on=False,
    )  # fmt: skip
    anchor = {"left": start, "center": x, "right": end}[side]
    axes.text(anchor, foot, words, size=9, va="bottom", ha=side)
    return start, end, foot


def _ends(axes: Axes, x: float, words: str) -> tuple[float, float, Literal["left", "center", "right"]]:
    """Return where a label over x starts and ends, and which side of it is given; it stays on the axis."""
    left, right = axes.get_xlim()
    width, aside = _LETTER * len(words) * (right - left), 0.012 * (right - left)
    if x - left < 0.5 * width:
        return x - aside, x - aside + width, "left"
    if right - x < 0.5 * width:
        return x + aside - width, x + aside, "right"
    return x - 0.5 * width, x + 0.5 * width, "center"

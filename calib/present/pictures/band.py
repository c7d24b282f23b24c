"""Why this move: the chance that the next good piece is in its band, along the scale of each adjuster.

The curve is the chance after a move, whose landing is not certain. Staying has no such error, so the ring
of the present setting may stand above it.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.decision.profile import Along
from calib.present.figures import percent, typed_figure
from calib.present.pictures.sheet import WIDTH_IN, axes_at, in_unit, look, new_figure
from calib.shop import Setup

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _TOP, _PANEL, _GAP, _FOOT = 0.72, 0.2, 0.36, 1.7, 0.6, 1.0
#: How wide a label is, as a share of the axis.
_SAID = 0.36


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
    stay = one.advised_mm is None
    _mark(axes, one, one.now_mm, one.now_chance, "stay at" if stay else "now", unit)
    if one.advised_mm is not None and one.advised_chance is not None:
        _mark(axes, one, one.advised_mm, one.advised_chance, "move to", unit)


def _mark(axes: Axes, one: Along, mm: float, chance: float, name: str, unit: str) -> None:
    """Mark one setting with a dot and an upright, and say its chance above it, clear of the curve."""
    x, y, filled = in_unit(mm, unit), 100 * chance, name != "now"
    left, right = axes.get_xlim()
    share = (x - left) / (right - left)
    side = "left" if share < 0.3 else "right" if share > 0.7 else "center"
    over = [c for at, c in zip(one.settings_mm, one.chances, strict=True) if _under(at, mm, one, side)]
    top = max([y, *(100 * c for c in over)]) + 6
    axes.plot([x, x], [0, top if top > y + 12 else y], color="black", linewidth=0.8, linestyle=(0, (2, 2)))
    axes.plot(
        [x], [y], marker="o", markersize=7, color="black", markerfacecolor="black" if filled else "white",
        linestyle="none", zorder=4, gid="advised" if filled else "now", clip_on=False,
    )  # fmt: skip
    aside = 0.012 * (right - left) * {"left": -1, "center": 0, "right": 1}[side]
    words = f"{name} {typed_figure(mm, unit)}: {percent(chance)}"
    axes.text(x + aside, top + 2, words, size=9, va="bottom", ha=side)


def _under(at_mm: float, mm: float, one: Along, side: str) -> bool:
    """Say whether a place of the scale lies under what is said of a setting."""
    width = _SAID * (one.settings_mm[-1] - one.settings_mm[0])
    start = {"left": 0.0, "center": 0.5, "right": 1.0}[side]
    return mm - start * width <= at_mm <= mm + (1.0 - start) * width

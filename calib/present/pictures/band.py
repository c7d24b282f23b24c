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

_LEFT, _RIGHT, _TOP, _PANEL, _GAP, _FOOT = 0.72, 0.2, 0.55, 1.7, 0.72, 1.0


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
        text = "Curve: the chance once moved there, landing error included.\nStaying has no such error."
        figure.text(0.12 / WIDTH_IN, 0.08 / height, text, size=8.5, va="bottom")
    return figure


def _panel(axes: Axes, setup: Setup, one: Along, unit: str) -> None:
    """Draw the chance of one reading along one scale."""
    x = [in_unit(mm, unit) for mm in one.settings_mm]
    axes.plot(x, [100 * chance for chance in one.chances], color="black", gid="chance")
    axes.set_xlim(x[0], x[-1])
    axes.set_ylim(0, 108)
    axes.set_yticks([0, 25, 50, 75, 100])
    axes.set_ylabel(f"{one.reading} (%)")
    scale = "" if setup.adjuster(one.adjuster).has_scale else ", counted from its first place"
    axes.set_xlabel(f"{one.adjuster} ({unit}{scale})")
    stay = one.advised_mm is None
    _mark(axes, one.now_mm, one.now_chance, "stay at" if stay else "now", unit, filled=stay, below=True)
    if one.advised_mm is not None and one.advised_chance is not None:
        _mark(axes, one.advised_mm, one.advised_chance, "move to", unit, filled=True, below=False)


def _mark(axes: Axes, mm: float, chance: float, name: str, unit: str, *, filled: bool, below: bool) -> None:
    """Mark one setting with a dot and an upright, and say its chance beside it."""
    x, y = in_unit(mm, unit), 100 * chance
    axes.plot([x, x], [0, y], color="black", linewidth=0.8, linestyle=(0, (2, 2)))
    axes.plot(
        [x], [y], marker="o", markersize=7, color="black", markerfacecolor="black" if filled else "white",
        linestyle="none", zorder=4, gid="advised" if filled else "now", clip_on=False,
    )  # fmt: skip
    left, right = axes.get_xlim()
    leftwards = x > 0.5 * (left + right)
    axes.annotate(
        f"{name} {typed_figure(mm, unit)}: {percent(chance)}", (x, y), size=9, va="center",
        xytext=(-8 if leftwards else 8, 0), textcoords="offset points", ha="right" if leftwards else "left",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0}, zorder=3,
    )  # fmt: skip

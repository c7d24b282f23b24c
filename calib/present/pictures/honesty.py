"""How often the chances came true: what was said against what came, with what chance alone would make of it.

A dot is all forecasts of about one chance. The grey upright is where it would fall if the chances are true,
two standard errors either way, as the verdict of `calib honesty` takes them; a dot outside it is news. Below,
the ranges that were to hold nine readings in ten, in the same way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from calib.monitor.honesty import Bin, Honesty
from calib.present.figures import count
from calib.present.honesty_text import CLEAR, Judged
from calib.present.pictures.sheet import WIDTH_IN, axes_at, look, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _TOP, _PANEL, _GAP, _STRIP, _FOOT = 0.86, 0.24, 0.42, 3.1, 0.66, 0.36, 1.0
#: Dots nearer than this, per cent, have their numbers on opposite sides.
_CLOSE = 14.0


def draw_honesty(judged: Judged) -> Figure:
    """Draw the honesty of a setup or of the shop; something must have been judged."""
    height = _TOP + _PANEL + _GAP + _STRIP + _FOOT
    wide = WIDTH_IN - _LEFT - _RIGHT
    with look():
        figure = new_figure(WIDTH_IN, height)
        whose = judged.setup or "the shop"
        title = f"{whose}: how often its chances came true ({count(judged.cuts, 'cut')})"
        figure.text(0.12 / WIDTH_IN, 1 - 0.22 / height, title, weight="bold", va="center", size=9)
        _bins(axes_at(figure, _LEFT, _FOOT + _STRIP + _GAP, wide, _PANEL), judged.chances)
        _range(axes_at(figure, _LEFT, _FOOT, wide, _STRIP), judged.ranges)
        text = (
            "Dot: what came true, and of how many. Broken line: just as said. Grey: where\n"
            "the dot falls if the chances are true, two standard errors either way."
        )
        figure.text(0.12 / WIDTH_IN, 0.08 / height, text, size=8.5, va="bottom")
    return figure


def _bins(axes: Axes, found: Honesty | None) -> None:
    """Draw the bins of chances over the line on which chances are true."""
    axes.set_xlim(0, 100)
    axes.set_ylim(-11, 111)  # room for dots on the ends
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_ticks([0, 20, 40, 60, 80, 100])
    axes.spines["left"].set_bounds(0, 100)
    axes.set_xlabel("chance given that the next reading is in its band (%)")
    axes.set_ylabel("came true (%)")
    axes.plot([0, 100], [0, 100], color="black", linewidth=0.7, linestyle=(0, (4, 3)), zorder=3, gid="true")
    if found is None:
        axes.text(4, 96, "no chance of this kind was kept", size=9, va="center")
        return
    under = False
    for before, one in zip((None, *found.bins), found.bins, strict=False):
        close = before is not None and 100 * (one.said - before.said) < _CLOSE
        under = not under if close else one.came_true >= 0.5
        _bin(axes, one, under)


def _bin(axes: Axes, one: Bin, under: bool) -> None:
    """Draw one bin; its number stands under its dot or over it."""
    low, high = expected(one.said, one.u)
    x, y = 100 * one.said, 100 * one.came_true
    axes.plot([x, x], [low, high], color="0.75", linewidth=7, solid_capstyle="butt", gid="expected", zorder=2)
    axes.plot(
        [x], [y], marker="o", markersize=6, color="black", linestyle="none", zorder=4, clip_on=False,
        gid="came",
    )  # fmt: skip
    axes.text(
        x, y + (-3.5 if under else 3.5), f"of {one.count}", size=8.5, va="top" if under else "bottom",
        ha="center", zorder=5, bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
    )  # fmt: skip


def expected(said: float, u: float) -> tuple[float, float]:
    """Return where a share would fall if the chances are true, per cent, 0 to 100.

    >>> expected(0.9, 0.1)
    (70.0, 100.0)
    """
    return (
        round(100 * max(said - CLEAR * u, 0.0), 9),
        round(100 * min(said + CLEAR * u, 1.0), 9),
    )


def _range(axes: Axes, found: Honesty | None) -> None:
    """Draw how many readings fell in the range that was to hold nine in ten."""
    axes.set_xlim(0, 100)
    axes.set_xticks([0, 20, 40, 60, 80, 90, 100])
    axes.set_ylim(0, 1)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("fell in the range for nine readings in ten (%)")
    if found is None:
        return
    low, high = expected(found.said, found.u)
    axes.plot([low, high], [0.5, 0.5], color="0.75", linewidth=9, solid_capstyle="butt", gid="expected")
    x = 100 * found.came_true
    axes.plot(
        [x], [0.5], marker="o", markersize=6, color="black", linestyle="none", clip_on=False, gid="came"
    )
    axes.text(min(low, x) - 2.6, 0.5, f"of {found.count}", size=9, va="center", ha="right")

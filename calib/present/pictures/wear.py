"""The wear of an edge: how far it has worn back with its band, what the readings say of it, metres left.

The curve is the recession along the metres since sharp, the grey band holds nine in ten. A sign is one
reading turned into recession, its upright twice its own standard uncertainty either way. A bar under the
curve is how long a setup still holds as it stands.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Protocol

from calib.decision.edgelife import EdgeLeft, WearPicture
from calib.present.figures import percent
from calib.present.pictures.sheet import WIDTH_IN, axes_at, in_unit, look, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_LEFT, _RIGHT, _TOP, _PANEL, _AXIS, _ROW, _FOOT = 0.86, 0.2, 0.4, 2.3, 0.62, 0.42, 0.68
#: Signs of the setups, hollow and full in turn; a sign is named once where it is drawn.
_SIGNS = ("o", "s", "^", "D", "v")
#: Recessions are told in thousandths of a millimetre or of an inch.
_FINE = {"mm": (1000.0, "µm"), "in": (1000.0, "thou")}
#: Readings further out than so many times the band are drawn as arrows on the edge of the picture.
_STRETCH = 3.0


class Edge(Protocol):
    """One edge of a report on wear."""

    @property
    def established(self) -> bool: ...
    @property
    def picture(self) -> WearPicture: ...


class Worn(Protocol):
    """What a picture needs of a report on wear."""

    @property
    def sharpening(self) -> str: ...
    @property
    def confidence(self) -> float: ...
    @property
    def edges(self) -> Sequence[Any]: ...


def draw_wear(report: Worn, units: str | None = None) -> Figure:
    """Draw every edge of a report, one panel a height; recession in µm or thousandths of an inch."""
    unit = units or "mm"
    heights = [_PANEL + _AXIS + _ROW * len(edge.picture.left) for edge in report.edges]
    height = _TOP + sum(heights) + _FOOT
    with look():
        figure = new_figure(WIDTH_IN, height)
        figure.text(
            0.12 / WIDTH_IN, 1 - 0.2 / height, f"{report.sharpening}: wear of the edge", weight="bold",
            va="center",
        )  # fmt: skip
        top = height - _TOP
        for edge, high in zip(report.edges, heights, strict=True):
            curve = axes_at(figure, _LEFT, top - _PANEL, WIDTH_IN - _LEFT - _RIGHT, _PANEL)
            _curve(curve, edge, unit)
            below = top - high + 0.04
            rows = axes_at(
                figure, _LEFT, below, WIDTH_IN - _LEFT - _RIGHT, _ROW * len(edge.picture.left)
            )
            _bars(rows, edge, curve.get_xlim(), report.confidence)
            top -= high
        text = (
            "Line: how far it has worn back; grey: nine in ten. Signs: what readings say of\n"
            "it, ± two standard uncertainties. Bar: how long a setup holds as it stands."
        )
        figure.text(0.12 / WIDTH_IN, 0.08 / height, text, size=8.5, va="bottom")
    return figure


def recession_in(mm: float, unit: str) -> float:
    """Return a recession in the small unit of the picture: µm, or thousandths of an inch."""
    return in_unit(mm, unit) * _FINE[unit][0]


def _curve(axes: Axes, edge: Edge, unit: str) -> None:
    """Draw the recession with its band, and the readings."""
    picture = edge.picture
    low, middle, high = (
        [recession_in(mm, unit) for mm in side]
        for side in (picture.low_mm, picture.median_mm, picture.high_mm)
    )
    axes.fill_between(picture.metres_m, low, high, facecolor="0.86", edgecolor="none", gid="nine in ten")
    axes.plot(picture.metres_m, middle, color="black", gid="recession")
    axes.set_xlim(picture.metres_m[0], picture.metres_m[-1])
    axes.set_ylim(*_limits(picture, unit))
    axes.axvline(picture.now_m, color="black", linewidth=0.9, linestyle=(0, (1, 2)), gid="now")
    late = picture.now_m > 0.9 * picture.metres_m[-1]
    axes.text(
        picture.now_m, 1.01, f"now, {_metres(picture.now_m)}", transform=axes.get_xaxis_transform(), size=9,
        va="bottom", ha="right" if late else "center",
    )  # fmt: skip
    for name, sign, fill in _signs(picture):
        _points(axes, picture, name, sign, fill, unit)
    axes.axhline(0.0, color="black", linewidth=0.6)
    axes.set_ylabel(f"edge worn back ({_FINE[unit][1]})")
    axes.set_xlabel("metres cut since it was sharp (m of ordinary hardwood)")
    if not edge.established:
        axes.text(
            0.02, 0.92, "The cuts hardly narrow it yet.", transform=axes.transAxes, size=9, va="top",
            zorder=6, bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
        )  # fmt: skip


def _limits(picture: WearPicture, unit: str) -> tuple[float, float]:
    """Return the ends of the upright axis: the band and the readings, but those that are far out."""
    top = max(*picture.high_mm, 1e-4)
    read = [one.recession_mm for one in picture.readings]
    tall = min(max([top, *read]), _STRETCH * top)
    deep = max(min([0.0, *read]), -_STRETCH * top)
    margin = 0.1 * (tall - deep)
    return recession_in(deep - margin, unit), recession_in(tall + margin, unit)


def _signs(picture: WearPicture) -> list[tuple[str, str, str]]:
    """Return setup, sign and filling of each setup that has readings."""
    names = list(dict.fromkeys(one.setup for one in picture.readings))
    return [
        (name, _SIGNS[i % len(_SIGNS)], "white" if i % 2 == 0 else "black") for i, name in enumerate(names)
    ]


def _points(axes: Axes, picture: WearPicture, name: str, sign: str, fill: str, unit: str) -> None:
    """Draw the readings of one setup with their uncertainty; one beyond the axis as an arrow on its edge."""
    low, high = axes.get_ylim()
    for one in picture.readings:
        if one.setup != name:
            continue
        at, u = recession_in(one.recession_mm, unit), recession_in(one.u_mm, unit)
        ends = [at - 2 * u, at + 2 * u]
        axes.plot([one.metres_m] * 2, ends, color="0.45", linewidth=0.7, gid="uncertainty")
        beyond = not low <= at <= high
        axes.plot(
            [one.metres_m], [min(max(at, low), high)], marker=(6 if at > high else 7) if beyond else sign,
            markersize=8 if beyond else 5, color="black", markerfacecolor=fill, linestyle="none", zorder=4,
            clip_on=False, gid="beyond" if beyond else "read",
        )  # fmt: skip


def _bars(axes: Axes, edge: Edge, limits: tuple[float, float], confidence: float) -> None:
    """Draw how long each setup on the edge still holds, as a bar that starts now."""
    picture = edge.picture
    signs = {name: (sign, fill) for name, sign, fill in _signs(picture)}
    axes.set_xlim(*limits)
    axes.set_ylim(len(picture.left), 0)
    axes.set_axis_off()
    for row, left in enumerate(picture.left):
        metres = left.metres_m
        if metres is not None:
            axes.plot(
                [picture.now_m] * 2, [row + 0.62, row + 0.94], color="black", linewidth=0.9,
                linestyle=(0, (1, 2)),
            )  # fmt: skip
            end = min(picture.now_m + metres, limits[1])
            axes.plot(
                [picture.now_m, end], [row + 0.78] * 2, color="black", linewidth=4, solid_capstyle="butt",
                gid="left", clip_on=False,
            )  # fmt: skip
        sign, fill = signs.get(left.setup, ("", ""))
        shift = 0.0
        if sign:
            shift = 0.03 * (limits[1] - limits[0])
            axes.plot(
                [limits[0] + 0.4 * shift], [row + 0.34], marker=sign, markersize=5, color="black",
                markerfacecolor=fill, linestyle="none", clip_on=False,
            )  # fmt: skip
        axes.text(limits[0] + shift, row + 0.36, _left_words(left, confidence), size=9, va="center")


def _left_words(left: EdgeLeft, confidence: float) -> str:
    """Say how long a setup holds, on one side."""
    metres = left.metres_m
    if not left.readings:
        return f"{left.setup}: no reading of it follows the wear"
    if metres is None:
        return f"{left.setup}: how long it holds is not known yet"
    if metres <= 0.0:
        return f"{left.setup}: does not hold a piece at {percent(confidence)}"
    if math.isinf(metres):
        return f"{left.setup}: holds longer than can be told"
    return f"{left.setup}: holds at least {_metres(metres)} more, at {percent(confidence)}"


def _metres(metres: float) -> str:
    return f"{metres:.1f} m" if metres < 10.0 else f"{metres:.0f} m"

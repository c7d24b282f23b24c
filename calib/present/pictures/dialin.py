"""The dial-in at a glance: cuts in order, moves between them, band, target, and the belief narrowing.

One panel per reading over one table of settings. A bar left of a cut is where its reading was expected
after the cuts before it: thick for half of the readings, thin for nine in ten. The dot is where it fell,
hollow for a test cut, black for good pieces.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from calib.decision.profile import Forecast
from calib.present.figures import typed_figure
from calib.present.pictures.sheet import WIDTH_IN, axes_at, in_unit, look, new_figure, spread
from calib.shop import Band, Cut, Interval, Setup

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: More columns than these cannot be read on a phone; the last ones are shown.
MOST_CUTS = 9
_LEFT, _RIGHT, _TOP, _PANEL, _GAP, _ROW = 0.98, 0.86, 0.42, 1.9, 0.22, 0.2
_BAR = -0.27  # of a column, left of its dot


@dataclass(frozen=True)
class DialIn:
    """What the picture of a dial-in shows.

    Parameters
    ----------
    cuts : tuple of Cut
        With pieces, in order.
    forecasts : tuple of Forecast
    acts_on : mapping of reading to the adjusters that move it
    to_come : Cut
        Nothing cut or read yet: where the machine stands once moved as advised.
    """

    setup: Setup
    cuts: tuple[Cut, ...]
    forecasts: tuple[Forecast, ...]
    acts_on: Mapping[str, tuple[str, ...]]
    to_come: Cut


def draw_dial_in(data: DialIn, units: str | None = None) -> Figure:
    """Draw a dial-in; lengths in `units` (None: the setup's own)."""
    unit = units or data.setup.units
    shown = data.cuts[-MOST_CUTS:]
    panels, rows = len(data.setup.bands), len(_rows(data, shown, unit))
    below = 0.12 + _ROW * rows + 0.42
    height = _TOP + panels * _PANEL + (panels - 1) * _GAP + below
    with look():
        figure = new_figure(WIDTH_IN, height)
        figure.text(0.12 / WIDTH_IN, 1 - 0.22 / height, _title(data, shown), weight="bold", va="center")
        for i, band in enumerate(data.setup.bands):
            bottom = height - _TOP - (i + 1) * _PANEL - i * _GAP
            axes = axes_at(figure, _LEFT, bottom, WIDTH_IN - _LEFT - _RIGHT, _PANEL)
            _panel(axes, data, shown, band, unit)
        _table(axes, data, shown, unit)
        text = (
            "Bar: where the reading was expected, from the cuts before it; thick for\n"
            "half of such readings, thin for nine in ten. Ring: test; black: good piece."
        )
        figure.text(0.12 / WIDTH_IN, 0.08 / height, text, size=8.5, va="bottom")
    return figure


def _title(data: DialIn, shown: Sequence[Cut]) -> str:
    if len(shown) == len(data.cuts):
        return f"{data.setup.name}: the dial-in"
    return f"{data.setup.name}: the last {len(shown)} of {len(data.cuts)} cuts"


def _panel(axes: Axes, data: DialIn, shown: Sequence[Cut], band: Band, unit: str) -> None:
    """Draw one reading over the cuts."""
    columns = len(shown) + 1
    low, high = _limits(data, shown, band)
    axes.set_xlim(-0.6, columns - 0.4)
    axes.set_ylim(in_unit(low, unit), in_unit(high, unit))
    axes.set_xticks(range(columns), [""] * columns, minor=False)
    axes.tick_params(axis="x", length=0)
    axes.set_ylabel(f"{band.name} ({unit})")
    ends = [max(band.low_mm, low), min(band.high_mm, high)]
    axes.axhspan(*(in_unit(end, unit) for end in ends), facecolor="0.92", edgecolor="none", zorder=0)
    for i in _moves([*shown, data.to_come], data.acts_on.get(band.name, ())):
        axes.axvline(i - 0.5, color="black", linewidth=0.9, linestyle=(0, (1, 2)), gid="move")
    for i, name in _turns([*shown, data.to_come]):
        axes.axvline(i - 0.5, color="black", linewidth=0.9, gid=name)
        axes.text(
            i - 0.53, 0.985, name, transform=axes.get_xaxis_transform(), size=8.5, rotation=90, ha="right",
            va="top",
        )  # fmt: skip
    _forecasts(axes, data, shown, band, unit)
    for i, cut in enumerate(shown):
        _dots(axes, data.setup, cut, i, band, unit)
    _names(axes, band, unit)


def _limits(data: DialIn, shown: Sequence[Cut], band: Band) -> tuple[float, float]:
    """Return the mm at the foot and the head of a panel: all that was read, the band, and the belief."""
    read = [end for cut in shown for value in _values(data.setup, cut, band) for end in _ends(value)]
    ends = [end for end in (*read, band.low_mm, band.high_mm, band.target_mm) if math.isfinite(end)]
    low, high = min(ends), max(ends)
    span = max(high - low, 1e-3)
    numbers: set[int | None] = {None, *(cut.number for cut in shown)}
    ranges = [f.most_mm for f in data.forecasts if f.reading == band.name and f.cut in numbers]
    low = max(min([low, *(r[0] for r in ranges)]), low - span)
    high = min(max([high, *(r[1] for r in ranges)]), high + span)
    margin = 0.08 * (high - low)
    return low - margin, high + margin


def _values(setup: Setup, cut: Cut, band: Band) -> Sequence[float | Interval]:
    """Return what is known of one reading of a cut: what was measured, else what its feel stands for."""
    measured = cut.readings.get(band.name, ())
    if measured or not setup.feel.knows(str(cut.feel)) or band.name != setup.bands[0].name:
        return measured
    assert cut.feel is not None
    return (Interval(*setup.feel.limits_of(cut.feel)),)


def _ends(value: float | Interval) -> tuple[float, float]:
    return (value.low_mm, value.high_mm) if isinstance(value, Interval) else (value, value)


def _moves(rows: Sequence[Cut], acting: Sequence[str]) -> list[int]:
    """Return the columns before which one of these adjusters was moved, or is to be."""
    return [
        i
        for i in range(1, len(rows))
        if any(abs(rows[i].settings_mm[a] - rows[i - 1].settings_mm[a]) > 1e-9 for a in acting)
        or any(a in rows[i].moved for a in acting)
    ]


def _turns(rows: Sequence[Cut]) -> list[tuple[int, str]]:
    """Return the columns before which the setup was mounted anew or its cutter sharpened, and that word."""
    found = []
    for i in range(1, len(rows)):
        before, after = rows[i - 1], rows[i]
        if after.mounting not in (None, before.mounting):
            found.append((i, "mounted anew"))
        elif after.sharpening not in (None, before.sharpening):
            found.append((i, "sharpened"))
    return found


def _forecasts(axes: Axes, data: DialIn, shown: Sequence[Cut], band: Band, unit: str) -> None:
    """Draw where each reading was expected; name the two bars where the last one stands."""
    columns: dict[int | None, float] = {cut.number: i + _BAR for i, cut in enumerate(shown)}
    columns[None] = float(len(shown))
    for forecast in data.forecasts:
        if forecast.reading != band.name or forecast.cut not in columns:
            continue
        x = columns[forecast.cut]
        for ends, width, name in ((forecast.most_mm, 1.0, "nine in ten"), (forecast.half_mm, 5.0, "half")):
            y = [in_unit(end, unit) for end in ends]
            axes.plot([x, x], y, color="black", linewidth=width, solid_capstyle="butt", gid=name)


def _dots(axes: Axes, setup: Setup, cut: Cut, x: float, band: Band, unit: str) -> None:
    """Draw what was read of one cut: a dot a number, an upright with ends for what lies between limits."""
    foot, head = axes.get_ylim()
    values = _values(setup, cut, band)
    for value in values:
        if isinstance(value, Interval):
            y = [min(max(in_unit(end, unit), foot), head) for end in _ends(value)]
            axes.plot([x, x], y, color="black", linewidth=1.2, marker="_", markersize=9, gid="between")
            if band.name not in cut.readings and cut.feel is not None:
                up = y[1] < head - 0.1 * (head - foot)  # else there is no room above
                axes.annotate(
                    cut.feel, (x, y[1] if up else y[0]), xytext=(0, 5 if up else -5), size=8.5, ha="center",
                    textcoords="offset points", va="bottom" if up else "top",
                )  # fmt: skip
        else:
            fill = "black" if cut.kind == "good" else "white"
            axes.plot(
                [x], [in_unit(value, unit)], marker="o", markersize=6.5, color="black",
                markerfacecolor=fill, linestyle="none", zorder=4, gid="read",
            )  # fmt: skip


def _names(axes: Axes, band: Band, unit: str) -> None:
    """Draw and name band and target at the right edge."""
    foot, head = axes.get_ylim()
    lines = [(band.high_mm, "high", "-"), (band.target_mm, "target", (0, (5, 3))), (band.low_mm, "low", "-")]
    lines = [line for line in lines if math.isfinite(line[0])]
    at = [in_unit(mm, unit) for mm, _, _ in lines]
    places = spread(at, 0.085 * (head - foot))
    right = axes.get_xlim()[1]
    for (mm, name, style), y, place in zip(lines, at, places, strict=True):
        axes.axhline(y, color="black", linewidth=0.9, linestyle=style, gid=name, zorder=1)
        axes.text(right + 0.08, place, f"{name} {typed_figure(mm, unit)}", size=8.5, va="center")


def _table(axes: Axes, data: DialIn, shown: Sequence[Cut], unit: str) -> None:
    """Write number, kind and settings under the columns of the lowest panel; a setting where it changed."""
    from matplotlib.transforms import ScaledTranslation, blended_transform_factory

    figure = axes.get_figure()
    assert figure is not None
    base = blended_transform_factory(axes.transData, axes.transAxes)
    for k, (name, cells) in enumerate(_rows(data, shown, unit)):
        down = base + ScaledTranslation(0, -0.16 - _ROW * k, figure.dpi_scale_trans)
        axes.text(-0.72, 0, name, transform=down, ha="right", va="center", size=9)
        for x, cell in enumerate(cells):
            axes.text(x, 0, cell, transform=down, ha="center", va="center", size=8.5 if k else 9.5)


def _rows(data: DialIn, shown: Sequence[Cut], unit: str) -> list[tuple[str, list[str]]]:
    """Return the table under the panels, a name and its cells a row."""
    rows = [
        ("cut", [*(str(cut.number) for cut in shown), "next"]),
        ("", [*(cut.kind for cut in shown), ""]),
    ]
    if any(cut.pieces != 1 for cut in shown):
        rows.append(("pieces", [*(str(cut.pieces) for cut in shown), ""]))
    for adjuster in data.setup.adjusters:
        at = [row.settings_mm[adjuster.name] for row in (*shown, data.to_come)]
        cells = [
            typed_figure(x, unit) if i == 0 or abs(x - at[i - 1]) > 1e-9 else "" for i, x in enumerate(at)
        ]
        rows.append((f"{adjuster.name} {unit}", cells))
    return rows

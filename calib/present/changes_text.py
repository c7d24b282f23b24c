"""What changed on a setup between two times, in words: what is set first, then what was cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from calib.present.figures import count, span, typed_length
from calib.shop import Setup

#: Closer than this is the same, mm.
_SAME_MM = 1e-6


@dataclass(frozen=True)
class Standing:
    """How a setup stood at some time.

    Parameters
    ----------
    edge : str
        The sharpening that was in it.
    positions_mm, start_mm : mapping of adjuster to mm
        Where it stood, and where the next mounting was to start.
    tests, good, mountings : int
        Test cuts, good pieces and mountings so far.
    """

    setup: Setup
    edge: str
    positions_mm: Mapping[str, float]
    start_mm: Mapping[str, float]
    tests: int
    good: int
    mountings: int


def changed_lines(then: Standing, now: Standing, unit: str) -> list[str]:
    """Say what changed, a line each; one line when nothing did."""
    lines = [
        *_lengths("next mounting: start", then.start_mm, now.start_mm, unit),
        *_lengths("stands at:", then.positions_mm, now.positions_mm, unit),
        *_bands(then.setup, now.setup, unit),
    ]
    if then.edge != now.edge:
        lines.append(f"edge {now.edge}, was {then.edge}")
    if then.setup.stock != now.setup.stock and now.setup.stock:
        lines.append(f"stock {now.setup.stock}, was {then.setup.stock or 'not named'}")
    cut = [
        count(number, thing)
        for number, thing in (
            (now.tests - then.tests, "test cut"),
            (now.good - then.good, "good piece"),
            (now.mountings - then.mountings, "mounting"),
        )
        if number > 0
    ]
    if cut:
        lines.append(f"since then: {', '.join(cut)}")
    return lines or ["Nothing."]


def _lengths(what: str, then: Mapping[str, float], now: Mapping[str, float], unit: str) -> list[str]:
    """Say which settings differ."""
    lines = []
    for name, mm in now.items():
        was = then.get(name)
        if was is None or abs(was - mm) > _SAME_MM:
            before = "" if was is None else f", was {typed_length(was, unit)}"
            lines.append(f"{what} {name} {typed_length(mm, unit)}{before}")
    return lines


def _bands(then: Setup, now: Setup, unit: str) -> list[str]:
    """Say which bands differ, and which readings are new."""
    old = {band.name: band for band in then.bands}
    lines = []
    for band in now.bands:
        was = old.get(band.name)
        limits = (band.low_mm, band.high_mm)
        before = "" if was is None else span(was.low_mm, was.high_mm, unit)
        if was is None:
            lines.append(f"{band.name} is new: band {span(*limits, unit)}")
        elif limits != (was.low_mm, was.high_mm):
            lines.append(f"{band.name}: band {span(*limits, unit)}, was {before}")
        elif band.target_mm != was.target_mm:
            target, before = (typed_length(one.target_mm, unit) for one in (band, was))
            lines.append(f"{band.name}: target {target}, was {before}")
    return lines

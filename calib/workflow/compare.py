"""Two mountings of a setup side by side, and how much differently the setup stood."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import TYPE_CHECKING

from calib.errors import CalibError
from calib.shop import Cut, Interval, Setup
from calib.workflow.history import History, MountingHistory, history, log_of
from calib.workflow.shopfloor import Shop

if TYPE_CHECKING:
    from calib.regression.terms import Block


@dataclass(frozen=True)
class Ending:
    """Where a mounting ended: the last positions, and the mean of what was read on them.

    Parameters
    ----------
    settings_mm : mapping of adjuster to mm
    readings_mm : mapping of reading to mm
        Mean over the cuts since the last move; a reading without a number is left out.
    """

    settings_mm: dict[str, float]
    readings_mm: dict[str, float]


@dataclass(frozen=True)
class Side:
    """One of the two mountings."""

    number: int
    when: str
    cutter: str | None
    sharpening: str | None
    stock: str | None
    tests: int
    good: int
    moves: int
    ending: Ending


@dataclass(frozen=True)
class Between:
    """Two mountings and the difference of their offsets.

    Parameters
    ----------
    higher_mm, u_mm : mapping of reading to mm
        How much higher the second one reads with the same settings, and its standard uncertainty; empty
        when one of the two has no cut.
    """

    setup: Setup
    first: Side
    second: Side
    higher_mm: dict[str, float]
    u_mm: dict[str, float]


def between(shop: Shop, setup_name: str, first: int, second: int) -> Between:
    """Return two mountings (by their numbers) side by side.

    Raises
    ------
    CalibError
        When the setup has no such mounting, or both are the same.
    """
    if first == second:
        raise CalibError(f"history: {first} and {second} are one mounting. Name two, as in --between 1 3.")
    found = history(shop, setup_name)
    sides = [_side(_mounting(found, number)) for number in (first, second)]
    setup, log = log_of(shop, setup_name)
    labels = [_label(log, found, number) for number in (first, second)]
    higher, u = _higher(setup, log, labels) if all(labels) else ({}, {})
    return Between(setup, sides[0], sides[1], higher, u)


def _mounting(found: History, number: int) -> MountingHistory:
    for mounting in found.mountings:
        if mounting.number == number:
            return mounting
    numbers = ", ".join(str(mounting.number) for mounting in found.mountings) or "none"
    raise CalibError(f"{found.setup.name} has no mounting {number}. It has: {numbers}.")


def _side(mounting: MountingHistory) -> Side:
    cuts = mounting.cuts
    stocks = [cut.stock for cut in cuts if cut.stock is not None]
    return Side(
        number=mounting.number,
        when=mounting.when,
        cutter=mounting.cutter,
        sharpening=cuts[-1].sharpening if cuts else None,
        stock=mounting.stock or (stocks[-1] if stocks else None),
        tests=sum(cut.kind == "test" for cut in cuts),
        good=sum(cut.pieces for cut in cuts if cut.kind == "good"),
        moves=len(mounting.moves),
        ending=_ending(cuts),
    )


def _ending(cuts: Sequence[Cut]) -> Ending:
    if not cuts:
        return Ending({}, {})
    at = cuts[-1].settings_mm
    since: list[Cut] = []
    for cut in reversed(cuts):
        if cut.settings_mm != at:
            break
        since.append(cut)
        if cut.moved:
            break
    read: dict[str, list[float]] = {}
    for cut in since:
        for name, values in cut.readings.items():
            read.setdefault(name, []).extend(float(v) for v in values if not isinstance(v, Interval))
    return Ending(dict(at), {name: fmean(values) for name, values in read.items() if values})


def _label(log: Sequence[Cut], found: History, number: int) -> str | None:
    """Return what the log calls a mounting; None when nothing was cut in it."""
    cuts = _mounting(found, number).cuts
    return cuts[-1].mounting if cuts else None


def _higher(
    setup: Setup, log: Sequence[Cut], labels: Sequence[str | None]
) -> tuple[dict[str, float], dict[str, float]]:
    """Return how much higher the second mounting reads at the same settings, with its uncertainty."""
    from calib.regression import posterior  # numpy comes with it

    belief = posterior(setup, [cut for cut in log if cut.mounting in labels])
    higher, u = {}, {}
    for band in setup.bands:
        found, _ = belief.block_of(band.name)
        block = found.block
        spans = [
            max(block.track.states[row.position].span for row in block.rows if row.position in places)
            for places in _places(log, labels)
            if any(row.position in places for row in block.rows)
        ]
        if len(spans) == 2:
            named = {f"span:{band.name}:{spans[1]}": 1.0, f"span:{band.name}:{spans[0]}": -1.0}
            apart = found.one(_always(named))
            higher[band.name], u[band.name] = apart.expected, apart.u
    return higher, u


def _always(named: Mapping[str, float]) -> Callable[[Block], list[Mapping[str, float]]]:
    """Return a function that gives the same features for every variant of a block."""
    return lambda block: [named]


def _places(log: Sequence[Cut], labels: Sequence[str | None]) -> list[set[int]]:
    """Return the places of either mounting's cuts among those of both."""
    both = [cut for cut in log if cut.mounting in labels]
    return [{i for i, cut in enumerate(both) if cut.mounting == label} for label in labels]

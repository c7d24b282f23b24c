"""When the setup seems to have moved: what is told, and what the maker is asked to do.

One wild reading is a slip until it is measured again; only two or more cuts that agree with each other
and not with those before them speak of a shift (`calib.regression.shift`).
"""

from __future__ import annotations

from collections.abc import Sequence

from calib.regression.shift import Shift
from calib.shop import Cut, Setup
from calib.units import format_length


def shift_questions(setup: Setup, rows: Sequence[Cut], shifts: Sequence[Shift]) -> list[str]:
    """Return for every shift when it happened, how large it is, how sure that is, and what to look at.

    Parameters
    ----------
    rows : sequence of Cut
        The log in which they were found.
    shifts : sequence of Shift
        Those that are taken as true, oldest first.
    """
    return [_question(setup, rows, shift) for shift in shifts]


def _question(setup: Setup, rows: Sequence[Cut], shift: Shift) -> str:
    return (
        f"From cut {shift.step.cut} on, {_how_far(setup, shift)} than before: {_percent(shift.probability)} "
        f"that something has moved ({_began(shift)}). {_stock(rows, shift)}Check the {_suspects(setup)}. "
        f"If one of them did move, set it right and say: calib mount {setup.name}. If none did, measure cut "
        f"{_last(rows)} again."
    )


def shift_warnings(shifts: Sequence[Shift]) -> list[str]:
    """Return what shifts do to the numbers of an advice."""
    if not shifts:
        return []
    since = _last_cuts(shifts[-1].cuts_since)
    return [f"The numbers here take it that this is so; where things stand now rests on {since}."]


def _last_cuts(cuts: int) -> str:
    """Say how many cuts an answer rests on."""
    return "the last cut" if cuts == 1 else f"the last {cuts} cuts"


def _suspects(setup: Setup) -> str:
    """List what may have moved: the adjusters, and always the cutter."""
    return _listed([*(adjuster.name for adjuster in setup.adjusters), "cutter"])


def _how_far(setup: Setup, shift: Shift) -> str:
    """Say "clearance reads 0.05 ± 0.02 mm higher"; after ± stands half the range of nine in ten."""
    return " and ".join(
        f"{reading} reads {format_length(abs(size), setup.units)} ± "
        f"{format_length(1.645 * shift.u_mm[reading], setup.units)} {'higher' if size >= 0.0 else 'lower'}"
        for reading, size in shift.size_mm.items()
    )


def _began(shift: Shift) -> str:
    if shift.earliest == shift.latest:
        return "with that cut"
    return f"with one of the cuts {shift.earliest} to {shift.latest}"


def _stock(rows: Sequence[Cut], shift: Shift) -> str:
    """Say that another stock was cut from there on, when it was."""
    stocks = [row.stock for row in rows[: shift.step.position] if row.stock is not None]
    new = rows[shift.step.position].stock
    if new is None or not stocks or stocks[-1] == new:
        return ""
    return f"{new} was cut from there on, and that alone may be it. "


def _last(rows: Sequence[Cut]) -> int:
    return next(row.number for row in reversed(rows) if row.readings)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _percent(probability: float) -> str:
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"

"""A setup's history as text: what was set, cut, moved and advised, oldest first.

Nothing here knows the store: the rows come in as the shared nouns and as published advice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from calib.present.figures import (
    count,
    decimals_of,
    figure,
    percent,
    reading_text,
    span,
    typed_figure,
    typed_length,
)
from calib.present.layout import paragraph, table_or_records
from calib.shop import Cut, Interval, Reading, Setup

_STEP_WORDS = {
    "cut_good": "cut the good pieces",
    "move_and_cut_good": "then cut the good pieces",
    "test_again": "make one more test cut",
    "move_and_test": "then make one more test cut",
    "measure_again": "measure the last cut again",
    "resharpen": "sharpen or change the cutter",
}


def cut_table(setup: Setup, cuts: Sequence[Cut], width: int = 80, units: str | None = None) -> list[str]:
    """Return the cuts of a setup as a table, or as paragraphs where the table is too wide.

    Lengths are in the setup's unit (or `units`), named once in the head.
    """
    unit = units or setup.units
    adjusters = [adjuster.name for adjuster in setup.adjusters]
    readings = [band.name for band in setup.bands]
    texts = [name for name in ("feel", "by", "stock", "note") if any(getattr(cut, name) for cut in cuts)]
    named = [f"{name} {unit}" for name in (*adjusters, *readings)]
    head = ["cut", "kind", *named, *texts]
    columns = [
        [str(cut.number) for cut in cuts],
        [_kind(cut) for cut in cuts],
        *(_settings(cuts, name, unit) for name in adjusters),
        *(_readings(cuts, name, unit) for name in readings),
        *([getattr(cut, name) or "" for cut in cuts] for name in texts),
    ]
    rows = list(zip(*columns, strict=True))
    return table_or_records(head, rows, width, right=[0, *range(2, 2 + len(named))])


def advised_lines(published: Mapping[str, Any], after_cut: int | None, width: int, units: str) -> list[str]:
    """Return one stored advice (``calib.advice/1``) in a line or two."""
    moves = ", ".join(f"{m['adjuster']} to {typed_length(m['to_mm'], units)}" for m in published["moves"])
    step = _STEP_WORDS.get(published["step"], published["step"])
    words = f"move {moves}, {step}" if moves else step
    chance = f"{percent(published['probability_next'])} that the next good piece is in your band"
    when = "before any cut" if after_cut is None else f"after cut {after_cut}"
    return paragraph(f"{when}: {words}; {chance}", width, "  ", "    ")


def move_line(adjuster: str, from_mm: float | None, to_mm: float, units: str) -> str:
    """Say a logged move: "key from 6.14 to 6.00 mm"."""
    start = "" if from_mm is None else f" from {typed_figure(from_mm, units)}"
    if from_mm == to_mm:
        return f"{adjuster} set again to {typed_length(to_mm, units)}"
    return f"{adjuster}{start} to {typed_length(to_mm, units)}"


def cut_line(setup: Setup, cut: Cut, units: str | None = None, numbered: bool = True) -> str:
    """Say one cut in a line: "cut 7, key 6.14 mm, clearance -0.07 mm, feel mallet"."""
    unit = units or setup.units
    what = f"cut {cut.number}" + (f" ({count(cut.pieces, 'good piece')})" if cut.kind == "good" else "")
    settings = [f"{name} {typed_length(value, unit)}" for name, value in cut.settings_mm.items()]
    readings = [f"{name} {_repeats(values, unit)}" for name, values in cut.readings.items()]
    hand = f" ({cut.by})" if cut.by else ""
    feel = [f"feel {cut.feel}{hand}"] if cut.feel else []
    return ", ".join([*([what] if numbered else []), *settings, *readings, *feel])


def _kind(cut: Cut) -> str:
    """Say test, or how many good pieces."""
    return "test" if cut.kind == "test" else f"{cut.pieces} good"


def _settings(cuts: Sequence[Cut], adjuster: str, unit: str) -> list[str]:
    """Say where a scale stood, one decimal point under the other; a star marks one that was set again."""
    known = [cut.settings_mm[adjuster] for cut in cuts if adjuster in cut.settings_mm]
    decimals = decimals_of(known, unit)
    blank = " " if any(adjuster in cut.moved for cut in cuts) else ""
    return [
        figure(cut.settings_mm[adjuster], unit, decimals) + ("*" if adjuster in cut.moved else blank)
        if adjuster in cut.settings_mm
        else ""
        for cut in cuts
    ]


def _readings(cuts: Sequence[Cut], name: str, unit: str) -> list[str]:
    """Say the repeats of one reading, a bar between them, all with as many decimals."""
    repeats = [cut.readings.get(name, ()) for cut in cuts]
    decimals = decimals_of([r for values in repeats for r in values if not isinstance(r, Interval)], unit)
    return [
        " | ".join(
            span(r.low_mm, r.high_mm, unit) if isinstance(r, Interval) else figure(r, unit, decimals)
            for r in values
        )
        for values in repeats
    ]


def _repeats(values: Sequence[Reading], unit: str) -> str:
    """Say the repeats of one reading with their unit: "-0.07 and -0.06 mm", "under 0.05 mm"."""
    said = " and ".join(reading_text(value, unit) for value in values)
    return said if isinstance(values[-1], Interval) else f"{said} {unit}"

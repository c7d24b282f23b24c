"""What `calib wear` says: how long each setup holds first, then why, then the cautions.

A number of pieces is always "at least", with its probability. Nothing is decided here; the report is any
record with the fields of `workflow.wear.WearReport`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from calib.decision.hand import how_to_move
from calib.present.figures import count, figure, in_units, minutes, percent
from calib.present.layout import paragraph, section, table_or_records, to_ascii

_BLOCKS = "▁▂▃▄▅▆▇█"
_BLOCKS_ASCII = "12345678"
#: Moves that are told: those that the pieces left will ask for, at least the next one.
_MOST_MOVES = 6
#: Decimals of a recession: thousandths of a millimetre, hundred-thousandths of an inch.
_FINE = {"mm": 3, "in": 5}


def wear_lines(report: Any, width: int, units: str | None = None, ascii_only: bool = False) -> list[str]:
    """Return the lines of a report on one edge.

    Parameters
    ----------
    units : {"mm", "in"} or None
        None = each setup's own, mm for the recession.
    """
    lines = paragraph(f"{report.sharpening}: {_cut(report)}.", width)
    several = len(report.edges) > 1
    for edge in report.edges:
        for ahead in edge.setups:
            lines += ["", *_setup(report, edge, ahead, width, units or ahead.setup.units, ascii_only)]
        lines += ["", *_edge(edge, several, width, units or "mm", ascii_only)]
    lines += section("Mind", _warnings(report), width, "!")
    lines += section("Before you touch anything", report.cautions, width, "*")
    return [to_ascii(line) for line in lines] if ascii_only else lines


def _cut(report: Any) -> str:
    weighed = f" ({report.weighed_m:.0f} m of ordinary hardwood)"
    same = abs(report.weighed_m - report.metres_m) < 0.5
    return f"{_metres(report.metres_m)} cut since it was sharp{'' if same else weighed}"


def _metres(metres: float) -> str:
    return f"{metres:.1f} m" if metres < 10.0 else f"{metres:.0f} m"


def _setup(report: Any, edge: Any, ahead: Any, width: int, unit: str, ascii_only: bool) -> list[str]:
    """Return the block of one setup: how long it holds, what it will read, the moves, the regrind."""
    name = ahead.setup.name
    if not ahead.left.readings:
        return paragraph(f"{name}: no reading of it follows the wear of the edge.", width, "", "  ")
    if ahead.left.metres_per_piece_m <= 0.0:
        told = f"calib setup change {name} metres_per_piece=0.05"
        text = f"{name}: its pieces add no metres to the edge. Say how many: {told}"
        return paragraph(text, width, "", "  ")
    lines = []
    for left in ahead.left.readings:
        lines += paragraph(f"{name}, {left.reading}: {_holds(left, ahead.left)}", width, "", "  ")
    for told in ahead.foreseen:
        lines += _foreseen(told, width, unit, ascii_only)
    if ahead.left.established:
        lines += _moves(ahead, width, unit)
        lines += paragraph(_regrind(report, ahead), width, "  ")
    return lines


def _holds(left: Any, whole: Any) -> str:
    """Say how long one reading holds, on one side."""
    if left.pieces is None:
        return "how long it holds is not established; its cuts say too little of the wear."
    at = percent(whole.confidence)
    if left.pieces < 1.0:
        return f"does not hold a piece at {at} as it stands; see calib next {whole.setup}."
    if math.isinf(left.pieces):
        return f"holds longer at {at} than can be told."
    text = f"holds at least {count(int(left.pieces), 'piece')} ({_metres(left.metres_m)}) at {at}"
    return text + (f"; even odds after {_metres(left.likely_m)}." if left.likely_m is not None else ".")


def _foreseen(told: Sequence[Any], width: int, unit: str, ascii_only: bool) -> list[str]:
    """Return what one reading will be, a line a length, and the chance as small blocks."""
    head = ["after m", "pieces", f"{told[0].reading} {unit}", f"nine in ten {unit}", "in its band"]
    rows = [
        [
            f"{one.metres_m:g}",
            f"{one.pieces:.0f}",
            figure(one.expected_mm, unit),
            f"{figure(one.low_mm, unit)} to {figure(one.high_mm, unit)}",
            percent(one.chance),
        ]
        for one in told
    ]
    lines = [f"  {line}" for line in table_or_records(head, rows, width - 2, right=[0, 1, 2, 3, 4])]
    signs = _BLOCKS_ASCII if ascii_only else _BLOCKS
    return [*lines, f"  chance, in that order: {blocks([one.chance for one in told], signs, top=1.0)}"]


def blocks(values: Sequence[float], signs: str = _BLOCKS, top: float | None = None) -> str:
    """Return a line of small blocks, one a value, from 0 to the largest (or to `top`).

    >>> blocks([0.0, 0.5, 1.0])
    '▁▅█'
    """
    most = max(values, default=0.0) if top is None else top
    if most <= 0.0:
        return signs[0] * len(values)
    last = len(signs) - 1
    return "".join(signs[min(max(round(last * value / most), 0), last)] for value in values)


def _moves(ahead: Any, width: int, unit: str) -> list[str]:
    """Return the moves that would keep the setup in its bands, and what ends them."""
    piece_m = ahead.left.metres_per_piece_m
    moves = sorted(
        (move for plan in ahead.left.schedules for move in plan.moves), key=lambda move: move.after_pieces
    )
    soon = sum(move.after_pieces < ahead.setup.pieces_left for move in moves)
    if not moves:
        return []
    lines = paragraph("To keep it in its band, a piece measured after each move (a forecast):", width, "  ")
    for move in moves[: min(max(soon, 1), _MOST_MOVES)]:
        when = f"after {count(move.after_pieces, 'piece')} ({_metres(move.after_pieces * piece_m)})"
        when = "now" if move.after_pieces == 0 else when
        how = in_units(how_to_move(ahead.setup, move.adjuster, move.from_mm, move.to_mm), unit)
        words = how if how.startswith("type ") else f"{move.adjuster} {how}"
        lines += paragraph(f"{when}: {words}", width, "    ")
    return lines


def _regrind(report: Any, ahead: Any) -> str:
    """Say when a regrind beats moving on."""
    piece_m = ahead.left.metres_per_piece_m
    cost = f"A regrind at {minutes(report.regrind_min)}"
    after = ahead.regrind_after_pieces
    if after is None:
        return f"{cost} does not pay yet: moving on is cheaper as far as can be told."
    most, key = ahead.left.most_pieces, ahead.left.key_enters_pieces
    why = "moving on has then cost more"
    if most is not None and after >= most:
        why = "the key then no longer enters the slot" if key is not None and key <= most else (
            "no position that can be reached holds then"
        )  # fmt: skip
    where = f"after {count(int(after), 'piece')} ({_metres(after * piece_m)})"
    return f"{cost} beats moving on {'now' if after < 1.0 else where}: {why}."


def _edge(edge: Any, several: bool, width: int, unit: str, ascii_only: bool) -> list[str]:
    """Return the recession that some setups share, with its band."""

    def fine(mm: float) -> str:
        return figure(mm, unit, _FINE[unit])

    names = " and ".join(ahead.setup.name for ahead in edge.setups)
    where = f"At the height that {names} uses: worn" if several and names else "Worn"
    low, middle, high = edge.recession_mm
    lines = paragraph(
        f"{where} back by {fine(middle)} {unit} so far (nine in ten: {fine(low)} to {fine(high)} {unit})",
        width, "", "  ",
    )  # fmt: skip
    low, middle, high = edge.rate_mm_per_100_m
    lines += paragraph(
        f"and once run in by {fine(middle)} {unit} per 100 m of ordinary hardwood "
        f"(nine in ten: {fine(low)} to {fine(high)} {unit}).", width, "  ",
    )  # fmt: skip
    signs = _BLOCKS_ASCII if ascii_only else _BLOCKS
    picture, step = edge.picture, max(len(edge.picture.metres_m) // (20 if width >= 60 else 10), 1)
    line = blocks(picture.median_mm[::step], signs)
    lines.append(f"  from 0 m {line} to {_metres(picture.metres_m[-1])}")
    said = ", ".join(f"{count(cuts, 'cut')} of {name}" for name, cuts in edge.rests_on if cuts)
    lines += paragraph(f"From {said}." if said else "No cut speaks of the wear yet.", width, "  ")
    if not edge.established:
        known = "the prior that you gave" if edge.given else "what is assumed beforehand"
        lines += paragraph(f"The cuts hardly narrow the wear: this is {known}.", width, "  ")
    return lines


def _warnings(report: Any) -> list[str]:
    lines = [
        "Minutes of a regrind are common practice, no source, unless you gave them: --regrind, or "
        "calib setup change SETUP stakes.regrind=45."
    ]
    if any(not edge.established and not edge.given for edge in report.edges):
        lines.append("Measure a good piece now and then on one mounting: only that shows the wear.")
    if len(report.edges) > 1:
        lines.append("Setups that engage very different heights of the edge do not share its wear.")
    return lines

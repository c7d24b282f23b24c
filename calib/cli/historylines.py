"""The history and a new mounting, from the use cases' records to lines."""

from __future__ import annotations

from collections.abc import Mapping

from calib.present.blocks import block_lines, legend, scale_of, value_of
from calib.present.figures import count, typed_length
from calib.present.history_text import advised_lines, cut_table, move_line
from calib.present.layout import paragraph, section
from calib.present.learned_text import first_lines
from calib.workflow.history import History, MountingHistory
from calib.workflow.mountings import Mounted
from calib.workflow.moves import Moved


def history_lines(found: History, width: int, units: str) -> list[str]:
    """Return a setup's history, a block a mounting."""
    cuts = sum(len(mounting.cuts) for mounting in found.mountings)
    changed = f", changed {count(found.versions - 1, 'time')}" if found.versions > 1 else ""
    lines = paragraph(f"{found.setup.name}: {count(cuts, 'cut')}{changed}", width)
    scales = _scales(found)
    for mounting in found.mountings:
        lines += ["", *_mounting_lines(found, mounting, scales, width, units)]
    if any(cut.moved for mounting in found.mountings for cut in mounting.cuts):
        lines += ["", "* set again to the same place"]
    drawn = [(band, scales[band.name]) for band in found.setup.bands if band.name in scales]
    return [*lines, "", *legend(drawn, width, units)] if drawn else lines


def _scales(found: History) -> dict[str, tuple[float, float]]:
    """Return the scale of the blocks of every reading that was measured, one for all mountings."""
    cuts = [cut for mounting in found.mountings for cut in mounting.cuts]
    return {
        band.name: scale_of(band, cuts)
        for band in found.setup.bands
        if any(value_of(cut, band.name) is not None for cut in cuts)
    }


def mounted_lines(mounted: Mounted, width: int, units: str) -> list[str]:
    """Return what there is to say when a setup has been put on the machine."""
    lines = paragraph(f"Mounting {mounted.number} of {mounted.setup}.", width)
    if mounted.kept_joint is not None:
        lines += paragraph(f"Put it back with {mounted.kept_joint} as the gauge.", width)
    for name, mm in mounted.settings_mm.items():
        lines += paragraph(f"Start with the {name} at {typed_length(mm, units)}.", width)
    if mounted.first is not None:
        lines += first_lines(mounted.first, mounted.spread, width, units)
    lines += paragraph(mounted.text, width) if mounted.text else []
    lines += section("Mind", mounted.changed, width, "!")
    lines += section("Before you touch anything", mounted.cautions, width, "*")
    return [*lines, "", "Not so? calib undo"]


def _mounting_lines(
    found: History,
    mounting: MountingHistory,
    scales: Mapping[str, tuple[float, float]],
    width: int,
    units: str,
) -> list[str]:
    """Return one mounting: head, cuts, moves of their own, advice."""
    named = [f"mounting {mounting.number}" if mounting.number else "before any mounting was named"]
    named += [
        f"{what} {value}" for what, value in (("cutter", mounting.cutter), ("stock", mounting.stock)) if value
    ]
    lines = paragraph(", ".join([*named, mounting.when[:16].replace("T", " ")]).rstrip(", "), width, "", "  ")
    if mounting.note:
        lines += paragraph(mounting.note, width, "  ")
    if mounting.cuts:
        lines += cut_table(found.setup, mounting.cuts, width, units)
        for band in found.setup.bands:
            if band.name in scales and len(mounting.cuts) > 1:
                lines += block_lines(band, mounting.cuts, scales[band.name], width)
    elif not (mounting.moves or mounting.advice):
        lines.append("  no cut yet")
    told = [move for move in mounting.moves if move.kind in ("advised", "to", "by")]
    moves = [line for move in told for line in paragraph(_move_text(move, units), width, "  ", "    ")]
    advice = _advice_lines(mounting, width, units)
    return [*lines, *(["moved", *moves] if moves else []), *(["advised", *advice] if advice else [])]


def _advice_lines(mounting: MountingHistory, width: int, units: str) -> list[str]:
    """Return what was advised; the same advice asked for twice is told once."""
    told: list[list[str]] = []
    for given in mounting.advice:
        lines = advised_lines(given.published, given.after_cut, width, units)
        if not told or told[-1] != lines:
            told.append(lines)
    return [line for lines in told for line in lines]


def _move_text(move: Moved, units: str) -> str:
    """Say one logged move, and that it was the advised one."""
    text = move_line(move.adjuster, move.from_mm, move.to_mm, units)
    return f"{text}, as advised" if move.kind == "advised" else text

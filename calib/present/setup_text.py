"""A setup as text: what is read and wanted, what is moved, what is at stake, what is believed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from calib.present.figures import fine_length, minutes, span, typed_figure, typed_length
from calib.present.layout import paragraph, section, table, table_or_records
from calib.shop import Adjuster, Band, Setup
from calib.units import MM_PER_INCH


def setup_table(setups: list[Setup], width: int = 80) -> list[str]:
    """Return one line a setup."""
    head = ["setup", "joint", "cutter", "readings", "adjusters", "left"]
    rows = [
        [
            setup.name,
            setup.joint.kind,
            setup.cutter.name,
            ", ".join(band.name for band in setup.bands),
            ", ".join(adjuster.name for adjuster in setup.adjusters),
            str(setup.pieces_left),
        ]
        for setup in setups
    ]
    return table_or_records(head, rows, width, right=[5])


def setup_lines(setup: Setup, width: int = 80, units: str | None = None) -> list[str]:
    """Return a setup in full; the keys are those that `calib setup change` takes."""
    unit = units or setup.units
    head = f"{setup.name}: {setup.joint.kind} joint, cutter {_cutter(setup, unit)}"
    lines = paragraph("; ".join([head, *_joint(setup, unit)]), width, "", "  ")
    for band in setup.bands:
        stakes = setup.stakes.of(band.name)
        lines += paragraph(
            f"{band.name}: band {span(band.low_mm, band.high_mm, unit)}, "
            f"target {typed_length(band.target_mm, unit)}; a piece too high costs "
            f"{minutes(stakes.too_high_min)}, too low {minutes(stakes.too_low_min)}"
            f"{_read_by(setup, band, unit)}",
            width,
            "",
            "  ",
        )
    for adjuster in setup.adjusters:
        lines += paragraph(f"{adjuster.name}: {_adjuster(adjuster, unit)}", width, "", "  ")
    lines += paragraph(
        f"a test cut costs {minutes(setup.stakes.test_cut_min)}, a move {minutes(setup.stakes.move_min)}; "
        f"good pieces left: {setup.pieces_left}; metres_per_piece {setup.metres_per_piece_m:g} m",
        width,
        "",
        "  ",
    )
    return [*lines, *_beliefs(setup, unit), *_words(setup, unit)]


class _Copied(Protocol):
    @property
    def setup(self) -> Setup: ...
    @property
    def copied_from(self) -> str: ...
    @property
    def carries(self) -> Sequence[str]: ...
    @property
    def leaves(self) -> Sequence[str]: ...
    @property
    def starts_mm(self) -> Mapping[str, float]: ...
    @property
    def cautions(self) -> Sequence[str]: ...


def copied_lines(copied: _Copied, width: int = 80, units: str | None = None) -> list[str]:
    """Return what there is to say of a copy: what carries over, what does not, where geometry would start."""
    setup = copied.setup
    unit = units or setup.units
    starts = " ".join(f"{name}={typed_figure(mm, setup.units)}" for name, mm in copied.starts_mm.items())
    first = f"calib cut {setup.name} {starts + ' ' if starts else ''}{setup.bands[0].name}=..."
    what = "; ".join([_cutter(setup, unit), *_joint(setup, unit)])
    lines = paragraph(f"Setup {setup.name}, from {copied.copied_from}: cutter {what}.", width)
    lines += section("Carries over", copied.carries, width)
    lines += section("Does not", copied.leaves, width)
    lines += ["", *paragraph(f"A first cut where geometry would start: {first}", width)]
    lines += section("Before you touch anything", copied.cautions, width, "*")
    return [*lines, "", "Not so? calib undo"]


def _read_by(setup: Setup, band: Band, unit: str) -> str:
    """Say what a reading is taken with, and how good the next one is."""
    worth = setup.worth.get(band.name)
    by = "" if band.gauge is None else f"; read by {band.gauge}"
    if worth is None:
        return by
    return f"{by}; standard uncertainty of a reading {fine_length(worth.u_mm, unit)}"


def _cutter(setup: Setup, unit: str) -> str:
    """Name the cutter with its width."""
    nominal = setup.cutter.nominal_mm
    return setup.cutter.name + ("" if nominal is None else f" ({typed_length(nominal, unit)})")


def _joint(setup: Setup, unit: str) -> list[str]:
    """Say what the joint's geometry knows."""
    joint = setup.joint
    known = []
    if joint.thickness_mm is not None:
        known.append(f"stock {typed_length(joint.thickness_mm, unit)} thick")
    if joint.kind == "finger":
        known.append(f"seat {joint.seat}, holds {joint.holds}")
    if joint.kind == "groove":
        known.append(f"passes {joint.passes}")
    if joint.kind == "inlay":
        known.append(f"recut {joint.recut}, drawn gap {typed_length(joint.drawn_gap_mm, unit)}")
    return [", ".join(known)] if known else []


def _adjuster(adjuster: Adjuster, unit: str) -> str:
    """Say what is special about an adjuster."""
    said = ["typed in" if adjuster.typed else f"the error of a move {adjuster.landing}"]
    if adjuster.least_step_mm:
        said.append(f"least step {typed_length(adjuster.least_step_mm, unit)}")
    if adjuster.backlash_mm:
        said.append(f"backlash {typed_length(adjuster.backlash_mm, unit)}")
    if adjuster.thread:
        said.append(f"thread {adjuster.thread}")
    reach = span(adjuster.low_mm, adjuster.high_mm, unit)
    if reach != "anything":
        said.append(f"reaches {reach}")
    if adjuster.approach:
        said.append(f"every move finishes {adjuster.approach}")
    if adjuster.shims_mm:
        said.append("shims " + ", ".join(typed_length(mm, unit) for mm in adjuster.shims_mm))
    if adjuster.lever is not None:
        told = "to be learned" if isinstance(adjuster.lever, str) else f"{adjuster.lever:.3g} to 1"
        said.append(f"lever {told}")
    if adjuster.mark_mm:
        said.append(f"a mark of its scale is {typed_length(adjuster.mark_mm, unit)}")
    if adjuster.counts_other_way:
        said.append("its scale counts the other way")
    slopes = [f"{name} by {slope} per unit" for name, slope in adjuster.moves.items()]
    return "; ".join([*said, *(["moves " + ", ".join(slopes)] if slopes else [])])


def _beliefs(setup: Setup, unit: str) -> list[str]:
    """List what is believed before the first cut; medians where a scale is unknown."""
    known = setup.knowledge
    values = {
        "offset_sd": known.offset_sd_mm,
        "move_sd": known.move_sd_mm,
        "cut_sd": known.cut_sd_mm,
        "reading_sd": known.reading_sd_mm,
    }
    decimals, divisor = (4, MM_PER_INCH) if unit == "in" else (3, 1.0)
    rows = [[f"knowledge.{name}", f"{value / divisor:.{decimals}f}"] for name, value in values.items()]
    return ["", *table(["believed before the first cut", unit], rows, right=[1])]


def _words(setup: Setup, unit: str) -> list[str]:
    """List the words for the feel of the first reading."""
    if not setup.feel.words:
        return []
    rows = [[word, span(low, high, unit)] for word, (low, high) in setup.feel.words.items()]
    return ["", *table(["feel", f"{setup.bands[0].name}"], rows)]

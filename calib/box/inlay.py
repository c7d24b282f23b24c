"""An inlay in a box: pocket and insert with their corners, the glue line, and what to type in for both.

The idea: the machine is told a cutter diameter for each part. What is typed in makes the gap; the round
corner that the cutter leaves in the pocket asks for a gap of its own, or for round corners on the insert. The
insert is left standing out and is levelled with the surface after the glue has set.

Symbols
-------
De  diameter typed in;  Da  as cut;  G  total gap;  q = G/2 per side;  R = Da/2  fillet of the pocket
Ri  radius of the insert's corner

Signs as in `calib.geometry.inlay`. Assumed: one cutter for both parts, no deflection, glue fills what is
left evenly. Derived here; glue lines after G. Wengert's trade column (0.05 to 0.13 mm good, 0.13 to 0.25 mm
too thick), read in a public copy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, NamedTuple

from calib import normal
from calib.box.closing import Uncertain
from calib.errors import CalibError
from calib.geometry.inlay import Recut, gap_for_corner, insert_across, pocket_across

#: How far the insert is left standing out, to be levelled, mm; common practice, no source.
USUAL_ALLOWANCE_MM = 0.5
#: Glue line per side, mm: good up to the first, too thick beyond it (Wengert).
THIN_GLUE_MM, GOOD_GLUE_MM = 0.05, 0.13
#: 1 - 1/sqrt 2: how much of a difference of radii a corner takes from the gap.
_CORNER = 1.0 - math.sqrt(0.5)

Glue = Literal["starved", "good", "too thick"]


@dataclass(frozen=True)
class InlayNumbers:
    """What an inlay is planned from; lengths mm.

    Parameters
    ----------
    length, width : float
        Of the pocket, as drawn.
    depth : float
        Of the pocket.
    typed : float
        What was typed in when `gap` was read.
    gap : Uncertain
        Total gap on that setting, as the log knows it.
    target : float
        Total gap wanted: both glue lines.
    drawn_gap : float
        Pocket less insert in the drawing.
    corner : float
        Radius of the insert's corners; 0 = sharp.
    low, high : float
        Total gaps that will do.
    recut : {"both", "pocket", "insert"}
        Which part is cut from now on.
    least_step : float
        Of what is typed in; 0 = any.
    scatter : float
        sd from one inlay to the next.
    allowance : float
        How far the insert stands out.
    """

    length: float
    width: float
    depth: float
    typed: float
    gap: Uncertain
    target: float
    low: float
    high: float
    drawn_gap: float = 0.0
    corner: float = 0.0
    recut: Recut = "both"
    least_step: float = 0.0
    scatter: float = 0.0
    allowance: float = USUAL_ALLOWANCE_MM


class Part(NamedTuple):
    """Pocket or insert, mm: what to type in, as drawn, as cut, radius of its corners, depth or thickness."""

    name: Literal["pocket", "insert"]
    type_in_mm: float
    drawn_mm: tuple[float, float]
    cut_mm: tuple[float, float]
    corner_mm: float
    thick_mm: float
    cut_now: bool


@dataclass(frozen=True)
class InlayPlan:
    """Both parts of an inlay, and whether they go together.

    Parameters
    ----------
    cutter_mm : float
        Diameter as cut, from the gap that was read.
    gap : Uncertain
        Total, with what is to be typed in.
    chance : float
        That the gap of the next inlay lies from low to high.
    corner_needs_mm : float
        Gap per side that the corners ask for.
    corner_spare_mm : float
        Gap per side less that; below 0 the corners touch first.
    least_corner_mm : float
        Smallest radius of the insert's corners that the wanted gap clears.
    glue : {"starved", "good", "too thick"}
        Of the expected gap per side.
    """

    pocket: Part
    insert: Part
    cutter_mm: float
    gap: Uncertain
    chance: float
    corner_needs_mm: float
    corner_spare_mm: float
    least_corner_mm: float
    glue: Glue


def plan_inlay(numbers: InlayNumbers) -> InlayPlan:
    """Return what to type in for pocket and insert, and what comes of it.

    Raises
    ------
    CalibError
        For sizes that are not above 0, a pocket that the cutter does not enter, a wanted gap outside its
        own band, or an insert's corner too large for it.

    Examples
    --------
    >>> found = plan_inlay(InlayNumbers(60.0, 20.0, 3.0, 3.175, Uncertain(-0.15, 0.02), 0.1, 0.05, 0.2))
    >>> round(found.pocket.type_in_mm, 3), round(found.cutter_mm, 3)
    (3.05, 3.1)
    """
    cutter = numbers.typed + (numbers.gap.mean - numbers.drawn_gap) / 2.0
    _check(numbers, cutter)
    pocket_typed, insert_typed = _typed(numbers)
    if min(pocket_typed, insert_typed) <= 0.0:
        raise CalibError(
            f"inlay: a gap of {numbers.target:g} mm cannot be made by the diameter that is typed in. "
            "Draw the insert smaller instead."
        )
    drawn = numbers.length, numbers.width
    smaller = numbers.length - numbers.drawn_gap, numbers.width - numbers.drawn_gap
    pocket = Part(
        "pocket", pocket_typed, drawn, _each(drawn, pocket_across, cutter, pocket_typed), cutter / 2.0,
        numbers.depth, numbers.recut != "insert",
    )  # fmt: skip
    insert = Part(
        "insert", insert_typed, smaller, _each(smaller, insert_across, cutter, insert_typed), numbers.corner,
        numbers.depth + numbers.allowance, numbers.recut != "pocket",
    )  # fmt: skip
    gap = Uncertain(pocket.cut_mm[0] - insert.cut_mm[0], numbers.gap.sd)
    needs = gap_for_corner(pocket.corner_mm, numbers.corner)
    return InlayPlan(
        pocket=pocket,
        insert=insert,
        cutter_mm=cutter,
        gap=gap,
        chance=_chance(numbers, gap),
        corner_needs_mm=needs,
        corner_spare_mm=gap.mean / 2.0 - needs,
        least_corner_mm=max(0.0, pocket.corner_mm - max(0.0, gap.mean / 2.0) / _CORNER),
        glue=glue_line(gap.mean / 2.0),
    )


def glue_line(per_side: float) -> Glue:
    """Say what a gap per side (mm) is as a glue line.

    >>> glue_line(0.08), glue_line(0.2), glue_line(0.01)
    ('good', 'too thick', 'starved')
    """
    if per_side < THIN_GLUE_MM:
        return "starved"
    return "good" if per_side <= GOOD_GLUE_MM else "too thick"


def _typed(numbers: InlayNumbers) -> tuple[float, float]:
    """What to type in for pocket and insert, on the step that can be typed."""
    off = numbers.gap.mean - numbers.target
    new = numbers.typed + off * (0.5 if numbers.recut == "both" else 1.0)
    if numbers.least_step > 0.0:
        new = numbers.typed + round((new - numbers.typed) / numbers.least_step) * numbers.least_step
    return (
        numbers.typed if numbers.recut == "insert" else new,
        numbers.typed if numbers.recut == "pocket" else new,
    )


def _each(drawn: tuple[float, float], across, cutter: float, typed: float) -> tuple[float, float]:  # type: ignore[no-untyped-def]
    return across(drawn[0], cutter, typed), across(drawn[1], cutter, typed)


def _chance(numbers: InlayNumbers, gap: Uncertain) -> float:
    u = max(math.hypot(gap.sd, numbers.scatter), 1e-12)
    high, low = (numbers.high - gap.mean) / u, (numbers.low - gap.mean) / u
    return float(normal.cdf(high) - normal.cdf(low))


def _check(numbers: InlayNumbers, cutter: float) -> None:
    sizes = (numbers.length, numbers.width, numbers.depth, numbers.typed)
    if min(sizes) <= 0.0 or numbers.allowance < 0.0 or numbers.corner < 0.0:
        raise CalibError("inlay: length, width, depth and diameter must be above 0 mm, the rest not below.")
    if not numbers.low <= numbers.target <= numbers.high:
        raise CalibError(
            f"inlay: a gap of {numbers.target:g} mm is outside {numbers.low:g} to {numbers.high:g} mm. "
            "Choose another."
        )
    least = min(numbers.length, numbers.width)
    if least <= cutter:
        raise CalibError(
            f"inlay: a cutter of {cutter:.2f} mm does not enter a pocket {least:g} mm wide. Take a "
            "smaller one."
        )
    if 2.0 * numbers.corner > least - numbers.drawn_gap:
        raise CalibError(
            f"inlay: corners of radius {numbers.corner:g} mm do not fit an insert {least:g} mm wide. Make "
            "them smaller."
        )

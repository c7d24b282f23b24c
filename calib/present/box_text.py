"""The plan of a box in words: the chance first, then what to cut in order."""

from __future__ import annotations

from collections.abc import Sequence

from calib.box.groove import GrooveOnBoard
from calib.box.layout import Span
from calib.box.plan import BoxPlan
from calib.box.square import Square
from calib.present.figures import figure, in_units, length, percent
from calib.present.layout import paragraph, section, table_or_records

#: An improvement smaller than this is not worth the walk to the bench.
_HARDLY = 0.005
_SPANS_SHOWN = 3
_WHERE = {"slot": "in a slot", "finger": "in a finger", "both": "across a finger and a slot"}


def box_lines(
    plan: BoxPlan, known: Sequence[str], assumptions: Sequence[str], width: int, units: str = "mm"
) -> list[str]:
    """Return the lines of a plan, answer first."""
    return [
        *_chance(plan, width),
        *section("Width", _width(plan, units), width),
        "",
        "Cut list",
        *_cut_list(plan, width, units),
        *section("Groove", _groove(plan, units), width),
        *section("Panel", _panel(plan, units), width),
        *section("Order of work", _order(plan, units), width),
        *section("From the log", [in_units(text, units) for text in known], width),
        *section("Assumptions", [in_units(text, units) for text in assumptions], width),
    ]


def square_lines(found: Square, width: int, units: str = "mm") -> list[str]:
    """Return what two diagonals say."""
    if found.squeeze == "neither":
        return paragraph("Square, if opposite sides are equal: the diagonals are the same.", width)
    return [
        *paragraph(
            f"Out of square by {found.angle_deg:.3f}°. Squeeze the {found.squeeze} diagonal, the longer "
            "one, until "
            f"it is {length(found.shorten_by_mm, units)} shorter; the other grows by as much.",
            width,
        ),
        *paragraph(
            f"Gap at the corner: {length(found.gap_over_width_mm, units)} over the second side, "
            f"{length(found.gap_over_length_mm, units)} over the first.",
            width,
        ),
    ]


def _chance(plan: BoxPlan, width: int) -> list[str]:
    chance = plan.chance
    lines = paragraph(
        f"Chance that the box closes, holds its panel all round and never pinches it: "
        f"{percent(chance.closes)}.",
        width,
    )
    lines += paragraph(
        f"Corners go together {percent(chance.corners)}; panel lets them close {percent(chance.fits)}; "
        "held on "
        f"all sides on the driest day {percent(chance.held)}; free on the wettest day "
        f"{percent(chance.free)}.",
        width,
    )
    best = plan.improvements[0] if plan.improvements else None
    if best is None or best.closes - chance.closes < _HARDLY:
        return [*lines, *paragraph("No single thing that is measured or adjusted would help much.", width)]
    gain = f"Most to be gained: {best.what}: {best.how}. That makes it {percent(best.closes)}."
    return [*lines, *paragraph(gain, width)]


def _width(plan: BoxPlan, units: str) -> list[str]:
    layout = plan.layout
    said = [
        f"Pitch {length(layout.pitch_mm, units)}, slot {length(layout.slot_mm, units)}, finger "
        f"{length(layout.finger_mm, units)}; A has {len(layout.a_slots)} slots, B {len(layout.b_slots)}."
    ]
    if plan.rip is None:
        said.append(f"{length(layout.width_mm, units)} ends on a whole finger.")
    else:
        said.append(
            f"{length(layout.width_mm, units)} ends in a {layout.end} of "
            f"{length(layout.end_piece_mm, units)}. "
            f"Whole fingers: {length(layout.whole_below_mm, units)} or "
            f"{length(layout.whole_above_mm, units)}."
        )
        said.append(
            f"Leave the boards {length(plan.rip.leave_mm, units)} wide, cut the joint, then rip to line "
            f"{plan.rip.line}, {length(plan.rip.rip_to_mm, units)} from the reference edge."
        )
    if plan.lid is not None:
        said.append(
            f"Lid: saw just above {length(plan.lid.line_mm, units)}; body "
            f"{length(plan.lid.body_mm, units)}, lid "
            f"{length(plan.lid.lid_mm, units)}, its first finger {length(plan.lid.finger_left_mm, units)}."
        )
    return said


def _cut_list(plan: BoxPlan, width: int, units: str) -> list[str]:
    rows = [
        (
            board.label,
            figure(board.length_mm, units),
            figure(board.width_mm, units),
            figure(board.thickness_mm, units),
            f"a {board.starts_with}",
            f"{board.corners[0]} and {board.corners[1]}",
        )
        for board in plan.boards
    ]
    head = ("board", f"length {units}", "width", "thickness", "starts with", "corners")
    lines = table_or_records(head, rows, width, right=(1, 2, 3))
    for board in plan.boards[::2]:
        note = f"{board.note}; the corner named first is cut first."
        lines += paragraph(f"{board.label[0]} boards: {note}", width)
    depths = {board.label[0]: length(board.finger_depth_mm, units) for board in plan.boards}
    lines += paragraph(f"Cutter above the base: A {depths['A']}, B {depths['B']}.", width)
    return lines


def _groove(plan: BoxPlan, units: str) -> list[str]:
    near, far = plan.groove_near_mm, plan.groove_near_mm + plan.groove_width_mm
    said = [
        f"From {length(near, units)} to {length(far, units)}, {length(plan.groove_depth_mm, units)} deep; "
        f"{length(plan.wall_left_mm, units)} of wall is left."
    ]
    said += [_on_board(plan.groove_a, units), _on_board(plan.groove_b, units)]
    for name, hidden in (("A", plan.hidden_a), ("B", plan.hidden_b)):
        if hidden:
            said.append(f"It would run through {name} unseen with a setback of {_spans(hidden, units)}.")
    if not plan.hidden_a and not plan.hidden_b:
        said.append("At no setback would it run out unseen with room to spare: it is as wide as a slot.")
    if plan.question is not None:
        said.append(in_units(plan.question, units))
    return said


def _spans(hidden: Sequence[Span], units: str) -> str:
    shown = [f"{figure(low, units)} to {length(high, units)}" for low, high in hidden[:_SPANS_SHOWN]]
    return " or ".join(shown)


def _on_board(found: GrooveOnBoard, units: str) -> str:
    where = _WHERE[found.falls_in]
    if found.stop is None:
        return (
            f"{found.board} boards: {where}, {length(found.nearest_line_mm, units)} from its nearest wall; "
            "it runs "
            "through unseen."
        )
    stop = found.stop
    square = f" Chisel the ends {length(stop.square_mm, units)} square." if stop.square_mm > 0 else ""
    return (
        f"{found.board} boards: {where}; it would show, so stop it. Stop marks "
        f"{length(stop.axis_mm, units)} from "
        f"both ends to the cutter's axis (travel {length(stop.travel_mm, units)}); "
        f"{length(stop.end_wood_mm, units)} of wood stays outside it.{square}"
    )


def _panel(plan: BoxPlan, units: str) -> list[str]:
    x, y, season = plan.panel_x, plan.panel_y, plan.season
    said = [f"Make it {length(x.size_mm, units)} by {length(y.size_mm, units)} at {season.making:.1f} % "
            "moisture."]
    for way, found in (("along", x), ("across", y)):
        said.append(
            f"Play {way}: {length(found.made.float_mm, units)} when made, "
            f"{length(found.wettest.float_mm, units)} at "
            f"{season.wettest:.1f} %, {length(found.driest.float_mm, units)} at {season.driest:.1f} %; "
            "held by "
            f"{length(found.driest.centred_mm, units)} a side, at least "
            f"{length(found.driest.least_mm, units)}."
        )
    clip = [f.stop for f in (plan.groove_a, plan.groove_b) if f.stop is not None]
    if clip:
        said.append("Ends of a stopped groove are round: clip the panel's corners or chisel the ends square.")
    return said


def _order(plan: BoxPlan, units: str) -> list[str]:
    ends = len(plan.boards) * 2
    thick = length(plan.boards[0].thickness_mm, units)
    rip = [f"Rip all four to {length(plan.rip.rip_to_mm, units)}."] if plan.rip is not None else []
    blocks = []
    if plan.groove_a.stop is not None or plan.groove_b.stop is not None:
        blocks = ["Stopped grooves: stop blocks clamped at both marks, tried with the machine off."]
    return [
        f"Prepare scrap of the same stock, {thick} thick; calib rehearse says how much.",
        f"Test cuts for the corners (calib next), then the {ends} good board ends, A before B.",
        *rip,
        "Dry fit; measure inside both ways and trust that more than the list.",
        "Test cuts for the groove, then the grooves: through first, stopped ones after.",
        *blocks,
        "Cut the panel; dry fit with it in; the corners must close without force.",
        "Glue the corners only, never the panel; diagonals at once (calib box square); sand flush.",
        "Switch off and unplug before touching cutter, key, fence or stops. The machine's manual, the "
        "cutter's "
        "marks and local rules come first; this program never says that a setting is safe.",
    ]

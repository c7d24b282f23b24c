"""The plan of a box in words: the chance first, then what to cut in order."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from calib.box.boards import Board
from calib.box.groove import GrooveOnBoard
from calib.box.layout import SAME_MM, Span
from calib.box.panel import PanelAcross
from calib.box.plan import BoxPlan
from calib.present.figures import count, figure, in_units, length, percent
from calib.present.layout import paragraph, section, table_or_records

#: An improvement smaller than this is not worth the walk to the bench.
_HARDLY = 0.005
_SPANS_SHOWN = 3
#: A finger line that is known no better than this is followed by eye, mm.
_VAGUE_LINE_MM = 0.1
_WHERE = {"slot": "in a slot", "finger": "in a finger", "both": "across a finger and a slot"}


class Scrap(Protocol):
    """Scrap to prepare for one joint."""

    @property
    def part(self) -> str: ...
    @property
    def setup(self) -> str | None: ...
    @property
    def tests(self) -> float | None: ...
    @property
    def step(self) -> str | None: ...
    @property
    def pieces(self) -> int: ...
    @property
    def thickness_mm(self) -> float: ...
    @property
    def width_mm(self) -> float: ...
    @property
    def length_mm(self) -> float: ...


class Around(NamedTuple):
    """What stands around a plan: where its numbers are from, scrap, cautions, and how many boxes."""

    known: Sequence[str]
    assumptions: Sequence[str]
    scrap: Sequence[Scrap] = ()
    cautions: Sequence[str] = ()
    copies: int = 1


def box_lines(plan: BoxPlan, around: Around, width: int, units: str = "mm") -> list[str]:
    """Return the lines of a plan, answer first."""
    return [
        *_chance(plan, width),
        *_not_ready(around.scrap, width),
        *section("Width", _width(plan, units), width),
        "",
        "Cut list" if around.copies == 1 else f"Cut list, {around.copies} of each",
        *_cut_list(plan, width, units),
        *section("Write on each board", [_label(board) for board in plan.boards], width),
        *section("Groove", _groove(plan, units), width),
        *section("Panel", _panel(plan, units), width),
        *section("Scrap for test cuts", [_scrap(one, units) for one in around.scrap], width),
        *section("Order of work", _order(plan, around, units), width),
        *section("Check", _check_list(plan, units), width),
        *section("From the log", [in_units(text, units) for text in around.known], width),
        *section("Assumptions", [in_units(text, units) for text in around.assumptions], width),
        *section("Before you touch anything", around.cautions, width, "*"),
    ]


def _chance(plan: BoxPlan, width: int) -> list[str]:
    chance = plan.chance
    lines = paragraph(
        "Chance that a box closes, holds its panel all round and never pinches it: "
        f"{percent(chance.closes)}.",
        width,
    )
    lines += paragraph(
        f"Corners go together {percent(chance.corners)}; panel lets them close {percent(chance.fits)}; "
        f"held on all sides on the driest day {percent(chance.held)}; free on the wettest day "
        f"{percent(chance.free)}.",
        width,
    )
    best = plan.improvements[0] if plan.improvements else None
    if best is None or best.closes - chance.closes < _HARDLY:
        return [*lines, *paragraph("No single thing that is measured or adjusted would help much.", width)]
    gain = f"Most to be gained: {best.what}: {best.how}. That makes it {percent(best.closes)}."
    return [*lines, *paragraph(gain, width)]


def _not_ready(scrap: Sequence[Scrap], width: int) -> list[str]:
    """Say which setups are not where they will cut yet: the chances are for where they stand."""
    names = dict.fromkeys(one.setup for one in scrap if one.setup and one.step not in (None, "cut_good"))
    if not names:
        return []
    told = " and ".join(f"calib next {name}" for name in names)
    return paragraph(f"That is for the setups as they stand now; {told} would still test or move.", width)


def _width(plan: BoxPlan, units: str) -> list[str]:
    layout, asked = plan.layout, plan.asked
    said = [
        f"Pitch {length(layout.pitch_mm, units)}, slot {length(layout.slot_mm, units)}, finger "
        f"{length(layout.finger_mm, units)}; A has {len(layout.a_slots)} slots, B {len(layout.b_slots)}."
    ]
    for name, slots in (("A", layout.a_slots), ("B", layout.b_slots)):
        lines = ", ".join(figure(mm, units) for mm in _lines(slots, layout.width_mm))
        said.append(f"{name} has its lines at {lines} {units}.")
    if plan.pitch_difference_mm:
        said.append(
            "A and B are cut on two setups; over all fingers their lines part by "
            f"{length(abs(plan.pitch_difference_mm) * (len(layout.a_slots) - 1), units)}."
        )
    if plan.rip is None:
        said.append(f"{length(asked.width_mm, units)} ends on a whole finger.")
    else:
        said.append(
            f"{length(asked.width_mm, units)} would end in a {asked.end} of "
            f"{length(asked.end_piece_mm, units)}. Whole fingers: {length(asked.whole_below_mm, units)} or "
            f"{length(asked.whole_above_mm, units)}."
        )
        said.append(
            f"Leave the boards {length(plan.rip.leave_mm, units)} wide, cut the joint, then rip to line "
            f"{plan.rip.line}, {length(plan.rip.rip_to_mm, units)} from the reference edge."
        )
    if plan.line_u_mm > _VAGUE_LINE_MM:
        said.append(
            f"That line is known to ± {length(2.0 * plan.line_u_mm, units)} only: go by the line as cut, "
            "not by the number."
        )
    if plan.lid is not None:
        said.append(
            f"Lid: saw just above {length(plan.lid.line_mm, units)}; body {length(plan.lid.body_mm, units)}, "
            f"lid {length(plan.lid.lid_mm, units)}, its first finger "
            f"{length(plan.lid.finger_left_mm, units)}."
        )
    return said


def _lines(slots: Sequence[Span], width: float) -> list[float]:
    """Where slots begin and end between the edges of a board."""
    return [mm for span in slots for mm in span if SAME_MM < mm < width - SAME_MM]


def _cut_list(plan: BoxPlan, width: int, units: str) -> list[str]:
    rows: list[tuple[str, ...]] = [
        (
            board.label,
            board.place,
            figure(board.length_mm, units),
            figure(board.width_mm, units),
            figure(board.thickness_mm, units),
            f"a {board.starts_with}",
        )
        for board in plan.boards
    ]
    panel = (plan.panel_x.size_mm, plan.panel_y.size_mm, plan.panel_thickness_mm)
    rows.append(("panel", "", *(figure(mm, units) for mm in panel), ""))
    head = ("board", "place", f"length {units}", f"width {units}", f"thick {units}", "starts with")
    lines = table_or_records(head, rows, width, right=(2, 3, 4))
    if plan.rip is not None:
        lines += paragraph(
            f"Widths are as cut for the joint; {length(plan.rip.rip_to_mm, units)} after the rip.", width
        )
    depths = {board.label[0]: length(board.finger_depth_mm, units) for board in plan.boards}
    lines += paragraph(f"Cutter above the base: A {depths['A']}, B {depths['B']}.", width)
    return lines


def _label(board: Board) -> str:
    """What to write on a board, seen from outside with the reference edge down."""
    first, second = board.corners
    return (
        f"{board.label} {board.place}: face out, reference edge down; left end corner {first} (cut first), "
        f"right end corner {second}; starts with a {board.starts_with}."
    )


def _groove(plan: BoxPlan, units: str) -> list[str]:
    near, far = plan.groove_near_mm, plan.groove_near_mm + plan.groove_width_mm
    said = [
        f"From {length(near, units)} to {length(far, units)}, {length(plan.groove_depth_mm, units)} deep; "
        f"{length(plan.wall_left_mm, units)} of wall is left. In one pass the fence stands "
        f"{length(plan.fence_mm, units)} from the cutter's axis.",
        _on_board(plan.groove_a, units),
        _on_board(plan.groove_b, units),
    ]
    for name, hidden in (("A", plan.hidden_a), ("B", plan.hidden_b)):
        if hidden:
            said.append(f"It would run through {name} unseen with a setback of {_spans(hidden, units)}.")
    if not plan.hidden_a and not plan.hidden_b:
        said.append(
            "At no setback would it run out unseen with room to spare: it is as wide as a slot. A narrower "
            "cutter would."
        )
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
            f"it runs through unseen{_surely(found.unseen)}."
        )
    stop = found.stop
    square = f" Chisel the ends {length(stop.square_mm, units)} square." if stop.square_mm > 0 else ""
    return (
        f"{found.board} boards: {where}; it would show, so stop it. Stop marks {length(stop.axis_mm, units)} "
        f"from both ends to the cutter's axis (travel {length(stop.travel_mm, units)}); "
        f"{length(stop.end_wood_mm, units)} of wood stays outside it.{square}"
    )


def _surely(unseen: float | None) -> str:
    return "" if unseen is None else f" (chance that it is not seen: {percent(unseen)})"


def _panel(plan: BoxPlan, units: str) -> list[str]:
    x, y, season = plan.panel_x, plan.panel_y, plan.season
    size = f"{length(x.size_mm, units)} by {length(y.size_mm, units)}"
    if plan.panel_given:
        said = [f"The panel of {size} fits its grooves at {season.making:.1f} % moisture."]
    else:
        said = [f"Make it {size} at {season.making:.1f} % moisture."]
    said += [_through(way, found, plan, units) for way, found in (("along", x), ("across", y))]
    for way, found in (("along", x), ("across", y)):
        if found.wettest.float_mm < 0.0:
            said.append(
                f"It would bottom out {way} on the wettest day by {length(-found.wettest.float_mm, units)}: "
                "trim it."
            )
    if plan.sides is not None:
        said.append(
            f"Sides: {length(plan.sides.made_mm, units)} high when made, "
            f"{length(plan.sides.driest_mm, units)} on the driest day, "
            f"{length(plan.sides.wettest_mm, units)} on the wettest."
        )
    if any(found.stop is not None for found in (plan.groove_a, plan.groove_b)):
        said.append("Ends of a stopped groove are round: clip the panel's corners or chisel the ends square.")
    return said


def _through(way: str, found: PanelAcross, plan: BoxPlan, units: str) -> str:
    """One direction of the panel: its size and play when made and at the ends of the season, and its hold."""
    season = plan.season
    held = (
        f"held by {length(found.driest.centred_mm, units)} a side, at least "
        f"{length(found.driest.least_mm, units)}."
    )
    if found.driest_mm == found.wettest_mm:
        return f"Play {way}: {length(found.made.float_mm, units)}, all through the season; {held}"
    return (
        f"Play {way}: {length(found.made.float_mm, units)} when made; at {season.wettest:.1f} % it is "
        f"{length(found.wettest_mm, units)} with {length(found.wettest.float_mm, units)} of play; at "
        f"{season.driest:.1f} % {length(found.driest_mm, units)} with "
        f"{length(found.driest.float_mm, units)}, {held}"
    )


def _scrap(one: Scrap, units: str) -> str:
    expected = "three test cuts are taken for granted"
    if one.tests is not None:
        expected = f"about {one.tests:.1f} test cuts expected (how many at most: calib rehearse {one.setup})"
        if one.tests < 0.05:
            expected = f"{one.setup} is ready, one piece to spare"
    return (
        f"{one.part.capitalize()}: {count(one.pieces, 'piece')}, {length(one.thickness_mm, units)} thick "
        f"like the boards, {length(one.width_mm, units)} wide, {length(one.length_mm, units)} long or "
        f"longer; {expected}."
    )


def _order(plan: BoxPlan, around: Around, units: str) -> list[str]:
    ends = 2 * len(plan.boards) * around.copies
    rip = [f"Rip all boards to {length(plan.rip.rip_to_mm, units)}."] if plan.rip is not None else []
    blocks = []
    if plan.groove_a.stop is not None or plan.groove_b.stop is not None:
        blocks = ["Stopped grooves: stop blocks clamped at both marks, tried with the machine off."]
    lid = ["Saw the lid off when the glue has set."] if plan.lid is not None else []
    return [
        "Mark every board before the first cut. One end is cut with the face to the fence, the other with "
        "the face from it; the reference edge always goes to the key.",
        "Test cuts for the corners in scrap (calib next says when to stop).",
        f"The {ends} good board ends: all A boards first, then B. An A board starts with its edge against "
        "the key; a B board is hung on an A board by its first slot.",
        *rip,
        "Dry fit; measure inside both ways and trust that more than the list.",
        "Test cuts for the groove, then the grooves: through first, stopped ones after.",
        *blocks,
        "Cut the panel; dry fit again with it in.",
        "Glue the corners; squeeze them square; sand the fingers flush.",
        *lid,
    ]


def _check_list(plan: BoxPlan, units: str) -> list[str]:
    inside = f"{length(plan.sizes.inner_length_mm, units)} by {length(plan.sizes.inner_width_mm, units)}"
    return [
        f"[ ] Dry fit: corners close by hand, inside {inside}.",
        "[ ] Dry fit with the panel: corners close just as far, and the panel slides.",
        "[ ] Clamps, cauls, square and glue laid out; glue on the corners only, never on the panel or in its "
        "groove.",
        "[ ] Clamped: both diagonals at once; unequal: calib box square, and squeeze the longer one.",
        "[ ] Bottom in, right way up, and free, before the glue takes.",
    ]

"""What the card of a box says, in words: what is cut and left, the cut list, groove, stops and panel."""

from __future__ import annotations

from collections.abc import Sequence

from calib.box.drawing import draw_boards
from calib.box.groove import GrooveOnBoard
from calib.box.plan import BoxPlan
from calib.present.box_shop_text import PartCount
from calib.present.figures import count, figure, length, percent
from calib.present.pictures.boxcard import BoxCard


def box_card(
    plan: BoxPlan, *, title: str, date: str, copies: int, parts: Sequence[PartCount], cautions: Sequence[str],
    since: str, changed: Sequence[str], unit: str,
) -> BoxCard:  # fmt: skip
    """Return the card of a box."""
    return BoxCard(
        title=title,
        date=date,
        unit=unit,
        boards=draw_boards(plan),
        about=tuple(_about(plan, copies, unit)),
        left=tuple(_left(parts)),
        cut_list=tuple(_cut_list(plan, copies, unit)),
        groove=tuple(_groove(plan, unit)),
        since=since,
        changed=tuple(changed),
        cautions=tuple(cautions),
    )


def changed_lines(
    cut: Sequence[tuple[str, int]], closes: tuple[float, float] | None, copies: tuple[int, int], closed: bool
) -> list[str]:
    """Say what changed since the last card of a box.

    Parameters
    ----------
    cut : sequence of (setup, pieces)
        Good pieces since then.
    closes : (float, float) or None
        Chance that it closes, then and now, when it was planned anew.
    copies : (int, int)
        How many boxes, then and now.
    """
    lines = [f"{count(pieces, 'good piece')} on {setup}" for setup, pieces in cut]
    if closes is not None:
        lines.append(
            f"planned anew: chance that it closes, holds its panel and never pinches it "
            f"{percent(closes[1])}, was {percent(closes[0])}; the sizes may differ"
        )
    if copies[0] != copies[1]:
        lines.append(f"{copies[1]} of them, was {copies[0]}")
    if closed:
        lines.append("the box is closed: no more pieces are counted for it")
    return lines or ["Nothing."]


def _about(plan: BoxPlan, copies: int, unit: str) -> list[str]:
    sizes = plan.sizes
    outer = " x ".join(
        figure(mm, unit) for mm in (sizes.outer_length_mm, sizes.outer_width_mm, plan.layout.width_mm)
    )
    inner = f"{figure(sizes.inner_length_mm, unit)} x {figure(sizes.inner_width_mm, unit)}"
    boxes = "" if copies == 1 else f"{copies} boxes, each "
    return [
        f"{boxes}{outer} {unit} outside, {inner} {unit} inside",
        "Chance that it closes, holds its panel all round and never pinches it: "
        f"{percent(plan.chance.closes)}.",
    ]


def _left(parts: Sequence[PartCount]) -> list[str]:
    """Say what is cut and what is left, the setup to use at the end."""
    return [
        f"{part.part}: {part.cut} of {part.pieces} cut, {part.left} left, on {part.setup}"
        if part.setup is not None
        else f"{part.part}: {part.pieces} to cut; no setup is named, so none are counted"
        for part in parts
    ]


def _cut_list(plan: BoxPlan, copies: int, unit: str) -> list[str]:
    """Say the boards as sawn, the rip and the panel."""
    lines = []
    for one, other in (plan.boards[:2], plan.boards[2:]):
        size = " x ".join(figure(mm, unit) for mm in (one.length_mm, one.width_mm, one.thickness_mm))
        names = f"{one.label} {one.place} and {other.label} {other.place}"
        lines.append(
            f"{names}: {size} {unit}; starts with a {one.starts_with}; cutter "
            f"{length(one.finger_depth_mm, unit)} above the base"
        )
    if plan.rip is not None:
        lines.append(
            f"Rip to line {plan.rip.line} once the joint is cut: {length(plan.rip.rip_to_mm, unit)} from the "
            "reference edge."
        )
    panel = " x ".join(
        figure(mm, unit) for mm in (plan.panel_x.size_mm, plan.panel_y.size_mm, plan.panel_thickness_mm)
    )
    lines.append(f"Panel: {panel} {unit}, made at {plan.season.making:.1f} % moisture")
    if copies > 1:
        lines.append(f"All of that {copies} times.")
    return lines


def _groove(plan: BoxPlan, unit: str) -> list[str]:
    near, far = plan.groove_near_mm, plan.groove_near_mm + plan.groove_width_mm
    lines = [
        f"{figure(near, unit)} to {length(far, unit)} from the reference edge, "
        f"{length(plan.groove_depth_mm, unit)} deep; fence {length(plan.fence_mm, unit)} from the cutter's "
        "axis"
    ]
    lines += [_stop(on, unit) for on in (plan.groove_a, plan.groove_b)]
    if plan.lid is not None:
        lines.append(f"Lid: saw just above {length(plan.lid.line_mm, unit)} when the glue has set.")
    return lines


def _stop(on: GrooveOnBoard, unit: str) -> str:
    if on.stop is None:
        return f"{on.board} boards: it runs through."
    return f"{on.board} boards: stop the cutter's axis {length(on.stop.axis_mm, unit)} from both ends."

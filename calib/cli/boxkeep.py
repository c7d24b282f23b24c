"""Commands for boxes that are kept: `box list, show, count, close`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.complete import box_names
from calib.cli.kit import (
    DbOption,
    JsonOption,
    UnitsOption,
    columns,
    opened,
    remark,
    say,
    say_json,
    say_lines,
)
from calib.present.plain import as_plain

if TYPE_CHECKING:
    from calib.workflow.keptboxes import KeptBox

BoxName = Annotated[str, typer.Argument(metavar="BOX", autocompletion=box_names, help="Its name.")]


def register(app: typer.Typer) -> None:
    """Put the commands into the group."""
    app.command("list")(list_all)
    app.command("show")(show)
    app.command("count")(count)
    app.command("close")(close)


def list_all(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """List the boxes that are kept.

    \b
    calib box list
    calib box list --json
    """
    from calib.present.box_shop_text import list_lines
    from calib.present.figures import figure
    from calib.workflow import keptboxes

    with opened(db, read_only=True) as shop:
        found = keptboxes.all(shop)
    if json_form:
        return say_json([_brief(one) for one in found], "calib.boxes/1")
    unit = units or "mm"
    rows = []
    for one in found:
        outer = one.numbers.sizes
        sides = outer.outer_length_mm, outer.outer_width_mm, outer.height_mm
        size = f"{' x '.join(figure(side, unit) for side in sides)} {unit}"
        rows.append((one.name, size, one.question.copies, one.left, one.closes, one.closed))
    none = ["No box yet. Plan one: calib box plan chest --outside 250x180x102"]
    return say_lines(list_lines(rows, columns()) if rows else none)


def _brief(one: KeptBox) -> dict[str, object]:
    """Return what a list says of a box."""
    return {
        "name": one.name,
        "copies": one.question.copies,
        "closed": one.closed,
        "pieces_left": one.left,
        "closes": one.closes,
    }


def show(
    name: BoxName,
    short: Annotated[bool, typer.Option("--short", help="Only what is cut and left.")] = False,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Show a box: what is cut, what is left, and the plan as it was made.

    \b
    calib box show chest
    calib box show chest --short
    """
    from calib.present.box_shop_text import progress_lines
    from calib.present.box_text import Around, box_lines
    from calib.workflow import keptboxes

    with opened(db, read_only=True) as shop:
        box = keptboxes.get(shop, name)
    if json_form:
        parts = [{**part._asdict(), "left": part.left} for part in box.parts]
        return say_json({**as_plain(box), "parts": parts, "plan": box.plan}, "calib.keptbox/1")
    lines = progress_lines(box.name, box.closed, box.parts, box.question.copies, columns())
    if not short:
        around = Around(box.known, box.assumptions, (), box.cautions, box.question.copies)
        lines = [*lines, "", *box_lines(box.plan, around, columns(), units or "mm")]
    return say_lines(lines)


def count(
    name: BoxName,
    number: Annotated[int, typer.Argument(metavar="N", help="The number that work gave them.")],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Count good pieces for a box that were logged before it was planned.

    \b
    calib box count chest 5
    calib box count chest 5 --json
    """
    from calib.workflow import keptboxes

    del units
    with opened(db) as shop:
        found = keptboxes.count_cut(shop, name, number)
    if json_form:
        return say_json(found, "calib.boxcount/1")
    if found.remark is not None:
        remark(found.remark)
    return say(f"Counted for box {name}: {found.left} of these left to cut.", "Not so? calib undo")


def close(
    name: BoxName, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Put a box away; no more pieces are counted for it.

    \b
    calib box close chest
    calib box close chest --json
    """
    from calib.present.box_shop_text import progress_lines
    from calib.workflow import keptboxes

    del units
    with opened(db) as shop:
        box = keptboxes.close(shop, name)
    if json_form:
        return say_json(_brief(box), "calib.keptbox/1")
    lines = progress_lines(box.name, True, box.parts, box.question.copies, columns())
    return say_lines([*lines, "Not so? calib undo"])

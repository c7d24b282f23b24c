"""The command for a box that is still to be cut: `box plan`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.boxwords import humidity_range, mm, panel_kind, panel_sides, sizes
from calib.cli.complete import box_names, setup_names
from calib.cli.kit import (
    DbOption,
    JsonOption,
    Units,
    UnitsOption,
    columns,
    new_app,
    opened,
    read_length,
    say_json,
    say_lines,
)
from calib.errors import UsageError

if TYPE_CHECKING:
    from calib.workflow.boxes import BoxQuestion, PlannedBox

app = new_app(help="Boxes: layout, grooves, panel, and the chance to close.")
Size = Annotated[str | None, typer.Option(metavar="LxWxH", help="Length, width and height: 250x180x100.")]
SetupOption = Annotated[str | None, typer.Option(metavar="SETUP", autocompletion=setup_names)]


@app.command("plan")
def plan(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[BOX]",
            autocompletion=box_names,
            help="Keep it under this name; alone: plan that box again with what the log knows now.",
        ),
    ] = None,
    outside: Size = None,
    inside: Size = None,
    copies: Annotated[int, typer.Option("--copies", help="How many such boxes.")] = 1,
    thickness: Annotated[
        str, typer.Option("--thickness", metavar="LENGTH", help="Of front and back, and of the ends.")
    ] = "8 mm",
    ends: Annotated[
        str | None, typer.Option("--end-thickness", metavar="LENGTH", help="Of the ends, if another.")
    ] = None,
    sides: Annotated[
        str | None, typer.Option("--sides", metavar="SPECIES", help="Of the sides: black cherry.")
    ] = None,
    corners: SetupOption = None,
    corners_b: Annotated[
        str | None,
        typer.Option(
            metavar="SETUP", autocompletion=setup_names, help="Of the B boards, if they have their own."
        ),
    ] = None,
    groove: SetupOption = None,
    inlay: SetupOption = None,
    panel: Annotated[
        str, typer.Option("--panel", metavar="WOOD-THICKNESS", help="plywood-6, mdf-6, black cherry-6.")
    ] = "plywood-6",
    panel_measured: Annotated[
        bool, typer.Option("--panel-measured", help="The panel's thickness is measured, not nominal.")
    ] = False,
    panel_size: Annotated[
        str | None, typer.Option("--panel-size", metavar="LxW", help="Of a panel that is there already.")
    ] = None,
    coefficient: Annotated[
        float | None,
        typer.Option("--coefficient", metavar="C", min=0, max=0.02, help="Of another wood, per 1 %: 0.0025."),
    ] = None,
    cutter: Annotated[
        str | None, typer.Option("--cutter", metavar="LENGTH", help="Width of a slot, measured.")
    ] = None,
    groove_cutter: Annotated[
        str | None, typer.Option("--groove-cutter", metavar="LENGTH", help="Width of the groove, measured.")
    ] = None,
    setback: Annotated[
        str | None, typer.Option("--setback", metavar="LENGTH", help="Reference edge to the groove.")
    ] = None,
    depth: Annotated[str | None, typer.Option("--depth", metavar="LENGTH", help="Of the groove.")] = None,
    slack: Annotated[
        str, typer.Option("--slack", metavar="LENGTH", help="Play of the panel on the wettest day.")
    ] = "1 mm",
    humidity: Annotated[
        str, typer.Option("--humidity", metavar="LOW-HIGH", help="Of the air where the box will stand, %.")
    ] = "35-60",
    made_at: Annotated[float, typer.Option("--made-at", metavar="%", help="Air where it is made.")] = 45.0,
    temperature: Annotated[float, typer.Option("--temperature", metavar="°C", help="Of the air.")] = 20.0,
    lid: Annotated[
        str | None, typer.Option("--lid", metavar="LENGTH", help="Saw the box open: height of the lid.")
    ] = None,
    kerf: Annotated[str, typer.Option("--kerf", metavar="LENGTH", help="Of that saw.")] = "1 mm",
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Plan a box: boards, finger lines, groove and stops, panel, and the chance that it closes.

    \b
    calib box plan --outside 250x180x102 --thickness 8 --panel plywood-6
    calib box plan chest --inside 234x164x90 --corners corners --groove groove --panel "black cherry-5.7"
    """
    from calib.workflow import boxes

    if name is not None and outside is None and inside is None:
        return _again(name, db, json_form, units)
    wood, thick = panel_kind(panel, units)
    (length, width, height), inside_given = sizes(outside, inside, units)
    asked = boxes.BoxQuestion(
        length,
        width,
        height,
        mm(thickness, units, "thickness"),
        given="inside" if inside_given else "outside",
        end_thickness=read_length(ends, units, "end-thickness"),
        corners=corners,
        corners_b=corners_b,
        groove=groove,
        inlay=inlay,
        cutter=read_length(cutter, units, "cutter"),
        groove_cutter=read_length(groove_cutter, units, "groove-cutter"),
        panel=wood,
        panel_thickness=thick,
        panel_measured=panel_measured,
        panel_size=panel_sides(panel_size, units),
        coefficient=coefficient,
        sides=sides,
        setback=read_length(setback, units, "setback"),
        depth=read_length(depth, units, "depth"),
        slack=mm(slack, units, "slack"),
        temperature_c=temperature,
        humidity=humidity_range(humidity, made_at),
        lid_height=read_length(lid, units, "lid"),
        kerf=mm(kerf, units, "kerf"),
        copies=copies,
    )
    return _plan(asked, name, db, json_form, units)


def _plan(asked: BoxQuestion, name: str | None, db: DbOption, json_form: bool, units: Units | None) -> None:
    """Plan and print; the database is opened only to keep the box, or for setups that are named."""
    from calib.workflow import boxes, keptboxes

    if name is not None:
        with opened(db) as shop:
            found = keptboxes.keep(shop, name, asked)
    elif boxes.needs_shop(asked):
        with opened(db, read_only=True) as shop:
            found = boxes.plan(shop, asked)
    else:
        found = boxes.plan(None, asked)
    _answer(found, name, json_form, units)


def _again(name: str, db: DbOption, json_form: bool, units: Units | None) -> None:
    """Plan a kept box again; without one of that name the size is missing."""
    from calib.workflow import keptboxes

    with opened(db) as shop:
        if not keptboxes.is_kept(shop, name):
            raise UsageError(
                f"box plan: there is no box {name} yet. To plan it, give --outside 250x180x100 or --inside."
            )
        found = keptboxes.plan_again(shop, name)
    _answer(found, name, json_form, units)


def _answer(found: PlannedBox, name: str | None, json_form: bool, units: Units | None) -> None:
    """Print a plan, and how it is kept."""
    from calib.present.box_text import Around, box_lines

    if json_form:
        return say_json(found, "calib.box/1")
    around = Around(found.known, found.assumptions, found.scrap, found.cautions, found.question.copies)
    lines = box_lines(found.plan, around, columns(), units or "mm")
    kept = [] if name is None else [f"Kept as {name}: calib box show {name}. Not so? calib undo", ""]
    return say_lines([*kept, *lines])

"""Commands for boxes: `box plan, square`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from calib.cli.complete import setup_names
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
    from calib.workflow.boxes import BoxQuestion

app = new_app(help="Boxes: finger layout, grooves, stops, panel, and the chance that it all closes.")
Length = Annotated[str, typer.Argument(metavar="LENGTH", help="250, 250 mm, 10 in.")]
Size = Annotated[str | None, typer.Option(metavar="LxWxH", help="Length, width and height: 250x180x100.")]
Some = Annotated[str | None, typer.Option(metavar="LENGTH")]
SetupOption = Annotated[str | None, typer.Option(metavar="SETUP", autocompletion=setup_names)]


@app.command("plan")
def plan(
    outside: Size = None,
    inside: Size = None,
    thickness: Annotated[
        str, typer.Option("--thickness", metavar="LENGTH", help="Of the long sides, and of the ends.")
    ] = "8 mm",
    ends: Annotated[
        str | None, typer.Option("--end-thickness", metavar="LENGTH", help="Of the ends, if another.")
    ] = None,
    corners: SetupOption = None,
    groove: SetupOption = None,
    panel: Annotated[
        str, typer.Option("--panel", metavar="WOOD-THICKNESS", help="plywood-6, mdf-6, black cherry-6.")
    ] = "plywood-6",
    panel_measured: Annotated[
        bool, typer.Option("--panel-measured", help="The panel's thickness is measured, not nominal.")
    ] = False,
    cutter: Annotated[
        str | None, typer.Option("--cutter", metavar="LENGTH", help="Width of the slot, if measured.")
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
    calib box plan --inside 234x164x90 --corners corners --groove groove --panel "black cherry-5.7"
    """
    from calib.workflow import boxes

    wood, thick = _panel(panel, units)
    (length, width, height), inside_given = _sizes(outside, inside, units)
    asked = boxes.BoxQuestion(
        length,
        width,
        height,
        _mm(thickness, units, "thickness"),
        given="inside" if inside_given else "outside",
        end_thickness=read_length(ends, units, "end-thickness"),
        corners=corners,
        groove=groove,
        cutter=read_length(cutter, units, "cutter"),
        panel=wood,
        panel_thickness=thick,
        panel_measured=panel_measured,
        setback=read_length(setback, units, "setback"),
        depth=read_length(depth, units, "depth"),
        slack=_mm(slack, units, "slack"),
        temperature_c=temperature,
        humidity=_humidity(humidity, made_at),
        lid_height=read_length(lid, units, "lid"),
        kerf=_mm(kerf, units, "kerf"),
    )
    _answer(asked, db, json_form, units)


def _answer(asked: BoxQuestion, db: DbOption, json_form: bool, units: Units | None) -> None:
    """Plan and print; the database is opened only for setups that are named."""
    from calib.present.box_text import box_lines
    from calib.workflow import boxes

    if boxes.needs_shop(asked):
        with opened(db, read_only=True) as shop:
            found = boxes.plan(shop, asked)
    else:
        found = boxes.plan(None, asked)
    if json_form:
        return say_json(found, "calib.box/1")
    return say_lines(box_lines(found.plan, found.known, found.assumptions, columns(), units or "mm"))


@app.command("square")
def square(
    length: Length,
    width: Length,
    first: Annotated[str, typer.Argument(metavar="DIAGONAL1", help="One diagonal.")],
    second: Annotated[str, typer.Argument(metavar="DIAGONAL2", help="The other one.")],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Say how far a box is out of square, and which diagonal to squeeze. Needs no database.

    \b
    calib box square 250 180 308.3 307.8
    calib box square "10 in" "7 in" "12 13/64 in" "12 7/32 in"
    """
    from calib.box.square import out_of_square
    from calib.present.box_text import square_lines

    del db
    found = out_of_square(
        _mm(length, units, "length"),
        _mm(width, units, "width"),
        _mm(first, units, "first diagonal"),
        _mm(second, units, "second diagonal"),
    )
    if json_form:
        return say_json(found, "calib.square/1")
    return say_lines(square_lines(found, columns(), units or "mm"))


def _mm(text: str, units: Units | None, what: str) -> float:
    found = read_length(text, units, what)
    assert found is not None
    return found


def _sizes(
    outside: str | None, inside: str | None, units: Units | None
) -> tuple[tuple[float, float, float], bool]:
    """Read the one size that was given, and say whether it is the inside."""
    text = outside or inside
    if text is None or (outside and inside):
        raise UsageError("box plan: give --outside or --inside, one of them, as 250x180x100.")
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 3:
        raise UsageError(f'box plan: "{text}" is not length x width x height. Write it as 250x180x100.')
    named = zip(parts, ("length", "width", "height"), strict=True)
    length, width, height = (_mm(part.strip(), units, what) for part, what in named)
    return (length, width, height), outside is None


def _panel(text: str, units: Units | None) -> tuple[str, float]:
    """Read plywood-6 or black cherry-6."""
    wood, dash, thick = text.rpartition("-")
    if not dash or not wood.strip():
        raise UsageError(f'box plan: panel "{text}" has no thickness. Write it as plywood-6, black cherry-6.')
    name = wood.strip()
    return name.lower() if name.lower() in ("plywood", "mdf") else name, _mm(thick, units, "panel")


def _humidity(text: str, made_at: float) -> tuple[float, float, float]:
    """Read 35-60."""
    try:
        low, high = (float(part) for part in text.replace("%", "").split("-"))
    except ValueError:
        raise UsageError(f'box plan: humidity "{text}" is no range. Write it as 35-60.') from None
    return low, made_at, high

"""Commands for parts of a box that are planned by themselves: `box inlay, square`."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.boxwords import mm, two_sides
from calib.cli.complete import setup_names
from calib.cli.kit import (
    DbOption,
    JsonOption,
    UnitsOption,
    columns,
    opened,
    read_length,
    say_json,
    say_lines,
)
from calib.errors import UsageError

Length = Annotated[str, typer.Argument(metavar="LENGTH", help="250, 250 mm, 10 in.")]
_RECUTS = ("both", "pocket", "insert")


def register(app: typer.Typer) -> None:
    """Put the commands into the group."""
    app.command("inlay")(inlay)
    app.command("square")(square)


def inlay(
    size: Annotated[str, typer.Argument(metavar="LxW", help="Of the pocket, as drawn: 60x20.")],
    setup: Annotated[
        str | None,
        typer.Option("--setup", metavar="SETUP", autocompletion=setup_names, help="Whose log knows the gap."),
    ] = None,
    cutter: Annotated[
        str | None, typer.Option("--cutter", metavar="LENGTH", help="Nominal diameter, without a setup.")
    ] = None,
    depth: Annotated[str, typer.Option("--depth", metavar="LENGTH", help="Of the pocket.")] = "3 mm",
    corner: Annotated[
        str | None,
        typer.Option("--corner", metavar="LENGTH", help="Radius of the insert's corners; else sharp."),
    ] = None,
    gap: Annotated[
        str | None,
        typer.Option("--gap", metavar="LENGTH", help="Glue gap wanted, both sides together."),
    ] = None,
    allowance: Annotated[
        str, typer.Option("--allowance", metavar="LENGTH", help="How far it stands out, to be levelled.")
    ] = "0.5 mm",
    recut: Annotated[
        str | None, typer.Option("--recut", metavar="PART", help="both, pocket or insert: what is cut now.")
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Plan an inlay: what to type in for pocket and insert, corners, glue gap, levelling.

    \b
    calib box inlay 60x20 --setup lid-inlay --corner 1
    calib box inlay 60x20 --cutter "1/8 in" --gap 0.16
    """
    from calib.present.box_shop_text import inlay_lines
    from calib.workflow import inlays

    if recut is not None and recut not in _RECUTS:
        raise UsageError(f'box inlay: recut "{recut}" is none of {", ".join(_RECUTS)}.')
    length, width = two_sides(size, units, "inlay")
    asked = inlays.InlayQuestion(
        length,
        width,
        mm(depth, units, "depth"),
        setup=setup,
        cutter=read_length(cutter, units, "cutter"),
        corner=read_length(corner, units, "corner") or 0.0,
        gap=read_length(gap, units, "gap"),
        allowance=mm(allowance, units, "allowance"),
        recut=recut,  # type: ignore[arg-type]
    )
    if setup is None:
        found = inlays.plan(None, asked)
    else:
        with opened(db, read_only=True) as shop:
            found = inlays.plan(shop, asked)
    if json_form:
        return say_json(found, "calib.inlay/1")
    lines = inlay_lines(found.plan, found.known, found.assumptions, found.cautions, columns(), units or "mm")
    return say_lines(lines)


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
    from calib.present.box_shop_text import square_lines

    del db
    found = out_of_square(
        mm(length, units, "length"),
        mm(width, units, "width"),
        mm(first, units, "first diagonal"),
        mm(second, units, "second diagonal"),
    )
    if json_form:
        return say_json(found, "calib.square/1")
    return say_lines(square_lines(found, columns(), units or "mm"))

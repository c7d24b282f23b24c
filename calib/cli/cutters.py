"""Commands for cutters: `cutter add, list, show, change, sharpen`."""

from __future__ import annotations

from typing import Annotated, cast, get_args

import typer

from calib.cli.complete import cutter_names
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
from calib.cli.words import metres as read_metres
from calib.errors import UsageError
from calib.present.noun_text import cutter_lines
from calib.workflow import cutters

app = new_app(help="Cutters: the tools, their widths and metres.")
CutterName = Annotated[str, typer.Argument(metavar="CUTTER", autocompletion=cutter_names, help="Its name.")]
Width = Annotated[
    str | None, typer.Option("--width", metavar="LENGTH", help="Nominal width: 6, 6 mm, 1/4 in.")
]
Note = Annotated[str | None, typer.Option("--note", help="Anything worth keeping.")]
Metres = Annotated[str, typer.Option("--metres", metavar="M", help="Cut since it was sharp, before now.")]
_KINDS: tuple[str, ...] = get_args(cutters.SharpeningKind)


@app.command("add")
def add(
    cutter: CutterName,
    width: Width = None,
    metres: Metres = "0",
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Add a cutter.

    \b
    calib cutter add spiral-6 --width 6
    calib cutter add quarter --width "1/4 in" --metres 12
    """
    nominal = read_length(width, units, "width")
    with opened(db) as shop:
        record = cutters.add(shop, cutter, nominal, nominal_text=width, metres=read_metres(metres), note=note)
    _answer("Added.", record, json_form, units)


@app.command("list")
def list_all(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """List the cutters.

    \b
    calib cutter list
    calib cutter list --units in
    """
    with opened(db) as shop:
        found = cutters.all(shop)
    if json_form:
        return say_json(found, "calib.cutters/1")
    none = ["No cutter yet. Add one: calib cutter add spiral-6 --width 6"]
    return say_lines(cutter_lines(found, columns(), units or "mm") if found else none)


@app.command("show")
def show(
    cutter: CutterName, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Show a cutter.

    \b
    calib cutter show spiral-6
    calib cutter show spiral-6 --json
    """
    with opened(db) as shop:
        record = cutters.get(shop, cutter)
    _answer("", record, json_form, units)


@app.command("change")
def change(
    cutter: CutterName,
    width: Width = None,
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Change what is known of a cutter.

    \b
    calib cutter change spiral-6 --width 6.35
    calib cutter change spiral-6 --note "two flutes, upcut"
    """
    if width is None and note is None:
        raise UsageError("cutter change: nothing to change. Give --width or --note.")
    with opened(db) as shop:
        record = cutters.change(
            shop, cutter, nominal_mm=read_length(width, units, "width"), nominal_text=width, note=note
        )
    _answer("Changed. Not so? calib undo", record, json_form, units)


@app.command("sharpen")
def sharpen(
    cutter: CutterName,
    kind: Annotated[
        str, typer.Option("--kind", metavar="KIND", help="reground, replaced or fitted.")
    ] = "reground",
    measured: Annotated[
        str | None, typer.Option("--measured", metavar="LENGTH", help="Width measured after it.")
    ] = None,
    metres: Metres = "0",
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Start a new sharpening; the metres start again.

    \b
    calib cutter sharpen spiral-6
    calib cutter sharpen spiral-6 --kind replaced --measured 5.96
    """
    if kind not in _KINDS:
        raise UsageError(f'--kind "{kind}" is not known. Choose one of: {", ".join(_KINDS)}.')
    with opened(db) as shop:
        record = cutters.sharpen(
            shop,
            cutter,
            cast(cutters.SharpeningKind, kind),
            read_length(measured, units, "measured"),
            metres=read_metres(metres),
            note=note,
        )
    _answer("Sharp again. Not so? calib undo", record, json_form, units)


def _answer(first: str, record: cutters.CutterRecord, json_form: bool, units: Units | None) -> None:
    """Print one cutter."""
    if json_form:
        return say_json(record, "calib.cutter/1")
    return say_lines([*([first] if first else []), *cutter_lines([record], columns(), units or "mm")])

"""Commands for stocks: `stock add, list, show, change, movement`."""

from __future__ import annotations

from typing import Annotated, Any, cast

import typer

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
from calib.errors import CalibError, UsageError
from calib.present.noun_text import movement_lines, stock_details, stock_lines
from calib.workflow import stocks
from calib.workflow.movement import Sawn

app = new_app(help="Stocks: species, thickness, moisture, movement, batch.")
StockName = Annotated[str, typer.Argument(metavar="STOCK", help="Its name.")]
Species = Annotated[str | None, typer.Option("--species", help="Such as cherry, black.")]
Thickness = Annotated[str | None, typer.Option("--thickness", metavar="LENGTH", help="8, 8 mm, 5/16 in.")]
Moisture = Annotated[
    float | None, typer.Option("--moisture", metavar="%", min=0, max=200, help="Per cent of the dry weight.")
]
Temperature = Annotated[
    float | None, typer.Option("--temperature", metavar="°C", help="Of the room; with --humidity.")
]
Humidity = Annotated[
    float | None, typer.Option("--humidity", metavar="%", help="Relative; with --temperature.")
]
Flat = Annotated[
    float | None,
    typer.Option("--flat", metavar="PER-1-%", help="Your own movement, flat-sawn face, such as 0.0025."),
]
Quarter = Annotated[
    float | None, typer.Option("--quarter", metavar="PER-1-%", help="The same, quarter-sawn.")
]
Abrasiveness = Annotated[
    float | None,
    typer.Option("--abrasiveness", metavar="X", help="How fast it wears an edge; cherry is 1, MDF about 3."),
]
Note = Annotated[str | None, typer.Option("--note", help="Batch, supplier, anything worth keeping.")]


@app.command("add")
def add(
    stock: StockName,
    species: Species = None,
    thickness: Thickness = None,
    moisture: Moisture = None,
    temperature: Temperature = None,
    humidity: Humidity = None,
    flat: Flat = None,
    quarter: Quarter = None,
    abrasiveness: Abrasiveness = None,
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Add a stock.

    \b
    calib stock add cherry --species "cherry, black" --thickness 8
    calib stock add ash --temperature 20 --humidity 45
    calib stock add board --species MDF --abrasiveness 4
    """
    mm, room = read_length(thickness, units, "thickness"), _room(moisture, temperature, humidity)
    with opened(db) as shop:
        record = stocks.add(
            shop, stock, species, mm, moisture, note, room=room, radial=quarter, tangential=flat,
            abrasiveness=abrasiveness,
        )
    _answer("Added.", record, json_form, units)


@app.command("list")
def list_all(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """List the stocks.

    \b
    calib stock list
    calib stock list --json
    """
    with opened(db) as shop:
        found = stocks.all(shop)
    if json_form:
        return say_json(found, "calib.stocks/1")
    none = ["No stock yet. Add one: calib stock add cherry --thickness 8"]
    return say_lines(stock_lines(found, columns(), units or "mm") if found else none)


@app.command("show")
def show(
    stock: StockName, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Show a stock.

    \b
    calib stock show cherry
    calib stock show cherry --json
    """
    with opened(db) as shop:
        record = stocks.get(shop, stock)
    _answer("", record, json_form, units)


@app.command("change")
def change(
    stock: StockName,
    species: Species = None,
    thickness: Thickness = None,
    moisture: Moisture = None,
    temperature: Temperature = None,
    humidity: Humidity = None,
    flat: Flat = None,
    quarter: Quarter = None,
    abrasiveness: Abrasiveness = None,
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Change what is known of a stock.

    \b
    calib stock change cherry --moisture 8.5
    calib stock change cherry --thickness "5/16 in"
    """
    new: dict[str, Any] = {
        "species": species,
        "thickness_mm": read_length(thickness, units, "thickness"),
        "moisture_percent": moisture,
        "note": note,
        "radial": quarter,
        "tangential": flat,
        "abrasiveness": abrasiveness,
    }
    room = _room(moisture, temperature, humidity)
    if room is None and all(value is None for value in new.values()):
        raise UsageError(
            "stock change: nothing to change. Give --species, --thickness, --moisture, --temperature with "
            "--humidity, --flat, --quarter, --abrasiveness or --note."
        )
    with opened(db) as shop:
        record = stocks.change(shop, stock, room=room, **new)
    _answer("Changed. Not so? calib undo", record, json_form, units)


@app.command("movement")
def movement(
    stock: StockName,
    size: Annotated[str, typer.Option("--size", metavar="LENGTH", help="Across the grain, as it is now.")],
    to: Annotated[float | None, typer.Option("--to", metavar="%", help="Moisture that it comes to.")] = None,
    temperature: Temperature = None,
    humidity: Humidity = None,
    sawn: Annotated[str, typer.Option("--sawn", metavar="FACE", help="flat or quarter.")] = "flat",
    shrinkage: Annotated[
        float | None, typer.Option("--shrinkage", metavar="%", help="Green to oven-dry, instead.")
    ] = None,
    beside: Annotated[
        str | None, typer.Option("--beside", metavar="STOCK", help="The board that it is joined to.")
    ] = None,
    beside_sawn: Annotated[
        str, typer.Option("--beside-sawn", metavar="FACE", help="flat or quarter.")
    ] = "flat",
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Say how far the boards of a joint move when the air changes.

    \b
    calib stock movement cherry --size 120 --to 12
    calib stock movement cherry --size 120 --temperature 21 --humidity 65 --beside ash --beside-sawn quarter
    """
    from calib.workflow.movement import move

    mm, room = read_length(size, units, "size"), _room(to, temperature, humidity, "--to")
    if mm is None:
        raise CalibError("stock movement: no size. Give it as --size 120.")
    faces = [_face(name, face) for name, face in (("--sawn", sawn), ("--beside-sawn", beside_sawn))]
    with opened(db) as shop:
        found = move(
            shop, stock, mm, to_percent=to, room=room, sawn=faces[0], shrinkage_percent=shrinkage,
            beside=beside, beside_sawn=faces[1],
        )  # fmt: skip
    if json_form:
        return say_json(found, "calib.movement/1")
    return say_lines(movement_lines(found, columns(), units or "mm"))


def _face(option: str, text: str) -> Sawn:
    if text not in ("flat", "quarter"):
        raise UsageError(f'{option} "{text}" is not known. Write flat or quarter.')
    return cast(Sawn, text)


def _room(
    moisture: float | None, temperature: float | None, humidity: float | None, option: str = "--moisture"
) -> tuple[float, float] | None:
    """Return temperature and humidity; both or neither, and not beside a moisture."""
    if temperature is None and humidity is None:
        return None
    if temperature is None or humidity is None:
        missing = "--temperature" if temperature is None else "--humidity"
        raise UsageError(f"{missing} is missing. Moisture is reckoned from --temperature with --humidity.")
    if moisture is not None:
        raise UsageError(f"{option} and a room are given. Give one: {option}, or temperature and humidity.")
    return temperature, humidity


def _answer(first: str, record: stocks.StockRecord, json_form: bool, units: Units | None) -> None:
    """Print one stock."""
    if json_form:
        return say_json(record, "calib.stock/1")
    unit = units or "mm"
    more = stock_details(record, stocks.table_of(record), columns())
    return say_lines([*([first] if first else []), *stock_lines([record], columns(), unit), *more])

"""Commands for stocks: `stock add, list, show, change`."""

from __future__ import annotations

from typing import Annotated, Any

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
from calib.errors import UsageError
from calib.present.noun_text import stock_lines
from calib.workflow import stocks

app = new_app(help="Stocks: species, thickness, moisture, batch.")
StockName = Annotated[str, typer.Argument(metavar="STOCK", help="Its name.")]
Species = Annotated[str | None, typer.Option("--species", help="Such as cherry, black.")]
Thickness = Annotated[str | None, typer.Option("--thickness", metavar="LENGTH", help="8, 8 mm, 5/16 in.")]
Moisture = Annotated[
    float | None, typer.Option("--moisture", metavar="%", min=0, max=200, help="Per cent of the dry weight.")
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
    abrasiveness: Abrasiveness = None,
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Add a stock.

    \b
    calib stock add cherry --species "cherry, black" --thickness 8
    calib stock add ash --moisture 9.5
    calib stock add board --species MDF --abrasiveness 4
    """
    mm = read_length(thickness, units, "thickness")
    with opened(db) as shop:
        record = stocks.add(shop, stock, species, mm, moisture, note, abrasiveness=abrasiveness)
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
        "abrasiveness": abrasiveness,
    }
    if all(value is None for value in new.values()):
        raise UsageError(
            "stock change: nothing to change. Give --species, --thickness, --moisture, --abrasiveness "
            "or --note."
        )
    with opened(db) as shop:
        record = stocks.change(shop, stock, **new)
    _answer("Changed. Not so? calib undo", record, json_form, units)


def _answer(first: str, record: stocks.StockRecord, json_form: bool, units: Units | None) -> None:
    """Print one stock."""
    if json_form:
        return say_json(record, "calib.stock/1")
    return say_lines([*([first] if first else []), *stock_lines([record], columns(), units or "mm")])

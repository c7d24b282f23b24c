"""Commands that draw: `plot`, `card`."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from calib.cli.complete import SetupName
from calib.cli.kit import DbOption, JsonOption, UnitsOption, opened, say, say_json

Sheet = Literal["a5", "half-letter"]
What = Literal["dial-in", "band"]


def register(app: typer.Typer) -> None:
    """Put the commands into the program."""
    app.command("plot")(plot)
    app.command("card")(card)


def plot(
    setup: SetupName = None,
    what: Annotated[
        What, typer.Option("--what", metavar="dial-in|band", help="The picture to draw.")
    ] = "dial-in",
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE", help="An .svg, .pdf or .png (default: SETUP-WHAT.svg)."),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Draw a setup: its dial-in cut by cut, or the chance along each scale (why this move).

    \b
    calib plot corners --what dial-in -o corners.svg
    calib plot corners --what band -o why.png
    """
    from calib.present.pictures import sheet
    from calib.workflow import setups

    with opened(db, read_only=True) as shop:
        name = setups.resolve(shop, setup)
        path = (out or Path(f"{name}-{what}.svg")).expanduser()
        sheet.ending_of(path)
        figure, drawn = _drawn(shop, name, what, units)
    sheet.save(figure, path)
    if json_form:
        return say_json({"setup": name, "what": what, "file": path, "drawn": drawn}, "calib.picture/1")
    return say(f"Drew the {'dial-in' if what == 'dial-in' else 'chances'} of {name} into {path}.")


def card(
    setup: SetupName = None,
    paper: Annotated[
        Sheet, typer.Option("--paper", metavar="a5|half-letter", help="Size of the sheet.")
    ] = "a5",
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="A .pdf (default: SETUP-card.pdf).")
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Write the card of a setup: settings, bands, what to cut first next time; print it at 100 %.

    \b
    calib card corners -o corners.pdf
    calib card corners --paper half-letter --units in
    """
    from calib.present.pictures import sheet
    from calib.present.pictures.card import draw_card
    from calib.workflow import pictures, setups

    with opened(db, read_only=True) as shop:
        name = setups.resolve(shop, setup)
        path = (out or Path(f"{name}-card.pdf")).expanduser()
        sheet.ending_of(path, sheet.PRINTED)
        found = pictures.card(shop, name, units)
    sheet.save(draw_card(found, paper), path, sheet.PRINTED)
    if json_form:
        return say_json({"setup": name, "paper": paper, "file": path, "card": found}, "calib.card/1")
    return say(f"Wrote the card of {name} into {path}. Print it at 100 %; the line at its foot is 50 mm.")


def _drawn(shop: Any, name: str, what: What, units: str | None) -> tuple[Any, Any]:
    """Return a figure and the plain data that is in it."""
    from calib.workflow import pictures

    if what == "band":
        from calib.present.pictures.band import draw_band

        setup, along = pictures.band(shop, name)
        return draw_band(setup, along, units), along
    from calib.present.pictures.dialin import draw_dial_in

    data = pictures.dial_in(shop, name)
    return draw_dial_in(data, units), {"cuts": data.cuts, "forecasts": data.forecasts}

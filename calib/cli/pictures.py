"""Commands that draw: `plot`, `card`."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

import typer

from calib.cli.complete import SetupName, box_names
from calib.cli.kit import DbOption, JsonOption, Units, UnitsOption, opened, say, say_json
from calib.errors import UsageError
from calib.workflow.shopfloor import Shop

Sheet = Literal["a5", "half-letter"]
What = Literal["dial-in", "band", "wear", "honesty", "box"]

BoxOption = Annotated[
    str | None,
    typer.Option("--box", metavar="BOX", autocompletion=box_names, help="A box by its name, no setup."),
]


class _Picture(NamedTuple):
    """What was drawn: of what, in words, the figure and the plain data that is in it."""

    of: str
    words: str
    figure: Any
    drawn: Any


def register(app: typer.Typer) -> None:
    """Put the commands into the program."""
    app.command("plot")(plot)
    app.command("card")(card)


def plot(
    setup: SetupName = None,
    what: Annotated[
        What | None,
        typer.Option(
            "--what", metavar="dial-in|band|wear|honesty|box", help="The picture to draw (default: dial-in)."
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", "-o", metavar="FILE", help="An .svg, .pdf or .png (default: NAME-WHAT.svg)."),
    ] = None,
    box: BoxOption = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Draw a dial-in, its chances, wear, honesty or a box.

    \b
    dial-in: every cut and move, the band, and what was expected before each cut
    band:    the chance along each scale (why this move)
    wear:    how far the edge has worn, and the metres that each setup holds
    honesty: how often the chances came true; without SETUP of the whole shop
    box:     the boards to scale with fingers, groove and stops (name it: --box)
    \b
    calib plot corners --what band -o why.png
    calib plot corners --what wear -o wear.pdf
    calib plot --box chest
    """
    from calib.present.pictures import sheet

    what = what or ("box" if box is not None else "dial-in")
    if box is not None and (what != "box" or setup is not None):
        raise UsageError(f"--box {box} draws that box alone. Leave out SETUP and --what, or --box.")
    if out is not None:
        sheet.ending_of(out)
    if setup in _DRAWERS and what == "dial-in":
        raise UsageError(f"plot {setup}: a picture is named with --what: calib plot --what {setup}")
    with opened(db, read_only=True) as shop:
        found = _DRAWERS[what](shop, box or setup, units)
    path = sheet.save(found.figure, (out or Path(f"{found.of}-{what}.svg")).expanduser())
    if json_form:
        drawn = {"setup": found.of, "what": what, "file": path, "drawn": found.drawn}
        return say_json(drawn, "calib.picture/1")
    return say(f"Drew {found.words} into {path}.")


def card(
    setup: SetupName = None,
    paper: Annotated[
        Sheet, typer.Option("--paper", metavar="a5|half-letter", help="Size of the sheet.")
    ] = "a5",
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="A .pdf (default: NAME-card.pdf).")
    ] = None,
    box: BoxOption = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Write the card that hangs by the machine.

    It says what to set and cut first next time, and what changed since the last card.

    A gauge of kind sample that is called SETUP-sample is named on it as the kept sample joint.

    \b
    calib card corners -o corners.pdf
    calib card corners --paper half-letter --units in
    calib card --box chest
    """
    from calib.present.pictures import sheet
    from calib.workflow import cards

    if box is not None and setup is not None:
        raise UsageError(f"card: {setup} or --box {box}? One card at a time.")
    if out is not None:
        sheet.ending_of(out, sheet.PRINTED)
    with opened(db) as shop:
        found = (_setup_card if box is None else _box_card)(shop, box or setup, paper, units)
        path = sheet.save(found.figure, (out or Path(f"{found.of}-card.pdf")).expanduser(), sheet.PRINTED)
        (cards.printed if box is None else cards.box_printed)(shop, found.of)
    if json_form:
        kind = "setup" if box is None else "box"
        return say_json({kind: found.of, "paper": paper, "file": path, "card": found.drawn}, "calib.card/1")
    return say(
        f"Wrote {found.words} into {path}.", "Print it at 100 %; the line at its foot is then 50 mm long."
    )


def _setup_card(shop: Shop, name: str | None, paper: Sheet, units: Units | None) -> _Picture:
    from calib.present.pictures.card import draw_card
    from calib.workflow import cards, setups

    name = setups.resolve(shop, name)
    found = cards.card(shop, name, units)
    return _Picture(name, f"the card of {name}", draw_card(found, paper), found)


def _box_card(shop: Shop, name: str | None, paper: Sheet, units: Units | None) -> _Picture:
    from calib.present.pictures.boxcard import draw_box_card
    from calib.workflow import cards

    name = name or ""
    found = cards.box_card(shop, name, units)
    return _Picture(name, f"the card of box {name}", draw_box_card(found, paper), found)


def _dial_in(shop: Shop, name: str | None, units: Units | None) -> _Picture:
    from calib.present.pictures.dialin import draw_dial_in
    from calib.workflow import pictures, setups

    name = setups.resolve(shop, name)
    data = pictures.dial_in(shop, name)
    drawn = {"cuts": data.cuts, "forecasts": data.forecasts}
    return _Picture(name, f"the dial-in of {name}", draw_dial_in(data, units), drawn)


def _band(shop: Shop, name: str | None, units: Units | None) -> _Picture:
    from calib.present.pictures.band import draw_band
    from calib.workflow import pictures, setups

    name = setups.resolve(shop, name)
    setup, along = pictures.band(shop, name)
    return _Picture(name, f"the chances of {name}", draw_band(setup, along, units), along)


def _wear(shop: Shop, name: str | None, units: Units | None) -> _Picture:
    from calib.present.pictures.wear import draw_wear
    from calib.workflow import pictures, wear

    report = pictures.wear(shop, name)
    words = f"the wear of {report.sharpening}"
    return _Picture(report.cutter, words, draw_wear(report, units), wear.published(report))


def _honesty(shop: Shop, name: str | None, units: Units | None) -> _Picture:
    from calib.present.honesty_text import as_json
    from calib.present.pictures.honesty import draw_honesty
    from calib.workflow import pictures

    del units
    judged = pictures.honesty(shop, name)
    words = f"how often the chances of {name or 'the shop'} came true"
    return _Picture(name or "shop", words, draw_honesty(judged), as_json(judged))


def _box(shop: Shop, name: str | None, units: Units | None) -> _Picture:
    from calib.present.pictures.boxes import draw_box
    from calib.workflow import pictures

    name, boards = pictures.box(shop, name)
    return _Picture(name, f"box {name}", draw_box(name, boards, units), boards)


_DRAWERS: dict[What, Callable[[Shop, str | None, Units | None], _Picture]] = {
    "dial-in": _dial_in,
    "band": _band,
    "wear": _wear,
    "honesty": _honesty,
    "box": _box,
}

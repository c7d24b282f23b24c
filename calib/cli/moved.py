"""The command `moved`: a move that was made."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.complete import setup_names
from calib.cli.cutlines import same_unit
from calib.cli.kit import DbOption, JsonOption, Units, UnitsOption, opened, remark, say, say_json
from calib.cli.movewords import MoveWords, amount_mm, sort_words
from calib.cli.words import is_plain, read_words
from calib.errors import CalibError
from calib.present.history_text import move_line
from calib.shop import Setup
from calib.workflow import moves, setups
from calib.workflow.shopfloor import Shop


def moved(
    words: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="SETUP WORDS",
            autocompletion=setup_names,
            help="Nothing: as advised.",
        ),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Log a move: as advised, to a position, or by an amount.

    Directions: toward or away (from the cutter), up or down, more or less (on the scale); a sign does too.

    \b
    calib moved corners
    calib moved corners key by 0.14 toward
    """
    asked = sort_words(words or [])
    with opened(db) as shop:
        setup = setups.get(shop, setups.resolve(shop, asked.setup))
        made = _move(shop, setup, asked, units)
    if json_form:
        return say_json({"setup": setup.name, "moves": made}, "calib.moved/1")
    for question in moves.questions(setup, made):
        remark(f"{question} It is kept as typed.")
    unit = units or setup.units
    lines = [f"Moved {move_line(move.adjuster, move.from_mm, move.to_mm, unit)}." for move in made]
    return say(*lines, "Not so? calib undo")


def _move(shop: Shop, setup: Setup, asked: MoveWords, units: Units | None) -> list[moves.Moved]:
    """Log the move that the words say."""
    if asked.kind == "advised":
        return moves.moved_as_advised(shop, setup.name)
    if asked.kind == "by":
        adjuster = setup.adjuster(asked.adjuster or "")
        change = amount_mm(adjuster, asked.rest, units or setup.units)
        if not is_plain(asked.rest[0] if len(asked.rest) < 3 else "", same_unit(setup, units)):
            remark(f"{adjuster.name} by {' '.join(asked.rest)} = {change:+.3f} mm on the scale")
        return moves.moved_by(shop, setup.name, adjuster.name, change, text=" ".join(asked.rest))
    said = read_words(setup, asked.rest, units, ("adjusters",))
    if said.readings:
        raise CalibError(f"moved takes positions, not readings. Log the reading with: calib cut {setup.name}")
    for name, mm in said.settings_mm.items():
        if not is_plain(said.texts[name], same_unit(setup, units)):
            remark(f"{name} {said.texts[name]} = {mm:.3f} mm")
    return moves.moved_to(shop, setup.name, said.settings_mm, texts=said.texts)

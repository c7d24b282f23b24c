"""The command `learn`: what the shop taught."""

from __future__ import annotations

import typer

from calib.cli.complete import SetupName
from calib.cli.kit import (
    DbOption,
    JsonOption,
    UnitsOption,
    columns,
    opened,
    progress,
    say,
    say_json,
    say_lines,
)


def register(app: typer.Typer) -> None:
    """Put the command into the program."""
    app.command("learn")(learn)


def learn(
    setup: SetupName = None, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Show what the mountings of a setup taught.

    What it is, from how many, before and after; of every setup when none is named. It runs by itself when
    a mounting ends.

    \b
    calib learn corners
    calib learn --json
    """
    from calib.present.learned_text import learned_lines, learned_notes, plain_parts
    from calib.workflow import setups
    from calib.workflow.learning import learn as use_case

    with opened(db) as shop:
        names = [one.name for one in setups.all(shop)] if setup is None else [setups.resolve(shop, setup)]
        found = use_case(shop, names, progress("learning from setup", least=5))
    if json_form:
        return say_json(
            [{**one.counts(), "components": plain_parts(one.components)} for one in found], "calib.learned/1"
        )
    if not found:
        return say("Nothing has been measured yet, so nothing was learned. Log a cut: calib cut")
    lines: list[str] = []
    for one in found:
        unit, counts = units or one.units, (one.mountings, one.numbers, one.moves)
        lines += [*learned_lines(one.setup, *counts, one.components, columns(), unit), ""]
    return say_lines([*lines, *learned_notes(units or found[0].units, columns())])

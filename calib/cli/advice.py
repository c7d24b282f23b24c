"""Commands that answer: `next`, `history`, `mount`."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from calib.cli.complete import SetupName, cutter_names
from calib.cli.kit import (
    DbOption,
    JsonOption,
    Units,
    UnitsOption,
    columns,
    opened,
    plain_signs_only,
    say,
    say_json,
    say_lines,
)

StockOption = Annotated[str | None, typer.Option("--stock", help="Stock that is cut from now on.")]
CutterOption = Annotated[
    str | None, typer.Option("--cutter", autocompletion=cutter_names, help="Cutter that is used from now on.")
]


def register(app: typer.Typer) -> None:
    """Put the commands into the program."""
    app.command("mount")(mount)
    app.command("next")(next_step)
    app.command("history")(history)


def next_step(
    setup: SetupName = None,
    pieces_left: Annotated[
        int | None, typer.Option("--pieces-left", min=1, help="Good pieces to cut.")
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Say the next step, how sure it is and why.

    \b
    calib next corners
    calib next corners --pieces-left 4 --json
    """
    from calib.present.advice_text import render_advice
    from calib.workflow import next as use_case
    from calib.workflow import setups

    with opened(db) as shop:
        advice = use_case.next_step(shop, setups.resolve(shop, setup), pieces_left=pieces_left)
    if json_form:
        return typer.echo(json.dumps(advice.as_dict()))
    return say(render_advice(advice, width=columns(), units=units, ascii_only=plain_signs_only()))


def history(
    setup: SetupName = None,
    between: Annotated[
        tuple[int, int] | None,
        typer.Option("--between", metavar="M1 M2", help="Only the differences of two mountings."),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Show what was set, cut, moved and advised, oldest first.

    \b
    calib history corners
    calib history corners --between 1 3
    """
    if between is not None:
        return _differences(setup, between, db, json_form, units)
    from calib.cli.historylines import history_lines
    from calib.workflow import history as use_case
    from calib.workflow import setups

    with opened(db) as shop:
        found = use_case.history(shop, setups.resolve(shop, setup))
    if json_form:
        return say_json(
            {"setup": found.setup.name, "versions": found.versions, "mountings": found.mountings},
            "calib.history/1",
        )
    return say_lines(history_lines(found, columns(), units or found.setup.units))


def _differences(
    setup: str | None, numbers: tuple[int, int], db: Path | None, json_form: bool, units: Units | None
) -> None:
    """Print two mountings side by side."""
    from calib.present.between_text import between_lines
    from calib.workflow import setups
    from calib.workflow.compare import between

    with opened(db) as shop:
        found = between(shop, setups.resolve(shop, setup), *numbers)
    if json_form:
        apart = {"higher_mm": found.higher_mm, "u_mm": found.u_mm}
        both = {"setup": found.setup.name, "first": found.first, "second": found.second, **apart}
        return say_json(both, "calib.between/1")
    return say_lines(between_lines(found, columns(), units))


def mount(
    setup: SetupName = None,
    cutter: CutterOption = None,
    stock: StockOption = None,
    note: Annotated[str | None, typer.Option("--note", help="Anything worth keeping.")] = None,
    kept_joint: Annotated[
        str | None,
        typer.Option("--kept-joint", metavar="NAME", help="A dry joint that it was set back with."),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Put a setup on the machine.

    Says where to start, from what the setup's history knows.

    \b
    calib mount corners
    calib mount corners --stock cherry --cutter spiral-6 --kept-joint "chest 1"
    """
    from calib.cli.historylines import mounted_lines
    from calib.present.learned_text import plain_parts
    from calib.present.plain import as_plain
    from calib.workflow import mountings, setups

    with opened(db) as shop:
        name = setups.resolve(shop, setup)
        unit = units or setups.get(shop, name).units
        mounted = mountings.mount(shop, name, cutter=cutter, stock=stock, note=note, kept_joint=kept_joint)
    if json_form:
        plain = {**as_plain(replace(mounted, spread=())), "spread": plain_parts(mounted.spread)}
        return say_json(plain, "calib.mounting/1")
    return say_lines(mounted_lines(mounted, columns(), unit))

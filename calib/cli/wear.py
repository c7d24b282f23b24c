"""The command `wear`: how far an edge has worn, and how long the setups on it hold."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.complete import cutter_names
from calib.cli.kit import (
    DbOption,
    JsonOption,
    UnitsOption,
    columns,
    opened,
    plain_signs_only,
    say_json,
    say_lines,
)


def register(app: typer.Typer) -> None:
    """Put the command into the program."""
    app.command("wear")(wear)


def wear(
    cutter: Annotated[
        str | None,
        typer.Argument(
            metavar="CUTTER", autocompletion=cutter_names, help="Or a setup; default: of the setup used last."
        ),
    ] = None,
    confidence: Annotated[
        float, typer.Option("--confidence", metavar="P", help="Of every length that is told: 0.9 is 90 %.")
    ] = 0.9,
    regrind: Annotated[
        float | None,
        typer.Option("--regrind", metavar="MIN", help="Minutes of a regrind, new dial-in included."),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Say how far a cutter has worn and how long its setups hold.

    Also when it pays to move on, and when a regrind does.

    \b
    calib wear spiral-6
    calib wear spiral-6 --confidence 0.95 --regrind 45
    """
    from calib.present.wear_text import wear_lines
    from calib.workflow import wear as use_case

    with opened(db, read_only=True) as shop:
        name = use_case.cutter_meant(shop, cutter)
        report = use_case.wear(shop, name, confidence=confidence, regrind_min=regrind)
    if json_form:
        return say_json(use_case.published(report), "calib.wear/1")
    return say_lines(wear_lines(report, columns(), units, plain_signs_only()))

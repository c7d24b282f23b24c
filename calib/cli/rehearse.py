"""The command `rehearse`: before any cut."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.complete import SetupName
from calib.cli.kit import DbOption, JsonOption, UnitsOption, columns, opened, progress, say_json, say_lines


def register(app: typer.Typer) -> None:
    """Put the command into the program."""
    app.command("rehearse")(rehearse)


def rehearse(
    setup: SetupName = None,
    runs: Annotated[int, typer.Option("--runs", min=10, help="Simulated dial-ins.")] = 100,
    seed: Annotated[int, typer.Option("--seed", min=0, help="Another seed, another sample.")] = 1,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Say how many test cuts to expect, and what limits the shop.

    A simulation of the shop as it is believed to be, before any cut.

    \b
    calib rehearse corners
    calib rehearse corners --runs 400
    """
    from calib.present.rehearsal_text import rehearsal_lines
    from calib.workflow import rehearse as use_case
    from calib.workflow import setups

    with opened(db, read_only=True) as shop:
        name = setups.resolve(shop, setup)
        found = use_case.rehearse(shop, name, runs=runs, seed=seed, progress=progress("rehearsing"))
    if json_form:
        return say_json(found, "calib.rehearsal/1")
    return say_lines(
        rehearsal_lines(
            pieces=found.pieces,
            runs=found.runs,
            tests=found.tests,
            tests_most=found.tests_most,
            spent=found.minutes,
            spent_most=found.minutes_most,
            spoiled=found.spoiled,
            scrap_pieces=found.scrap_pieces,
            limits=found.limits,
            width=columns(),
        )
    )

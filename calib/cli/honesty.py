"""The command `honesty`."""

from __future__ import annotations

from typing import Annotated

import typer

from calib.cli.complete import setup_names
from calib.cli.kit import DbOption, JsonOption, UnitsOption, columns, opened, progress, say_json, say_lines


def register(app: typer.Typer) -> None:
    """Put the command into the program."""
    app.command("honesty")(honesty)


def honesty(
    setup: Annotated[
        str | None,
        typer.Argument(metavar="SETUP", autocompletion=setup_names, help="Default: the whole shop."),
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Say how often the chances that were given came true.

    \b
    calib honesty
    calib honesty corners --json
    """
    from calib.present.honesty_text import as_json, honesty_lines, setup_table
    from calib.workflow import honesty as use_case

    with opened(db) as shop:
        each: list[use_case.Judged] = []
        if setup:
            whole = use_case.judge(shop, setup)
        else:
            whole, each = use_case.judge_all(shop, progress("judging setup", least=50))
    if json_form:
        return say_json(as_json(whole, each), "calib.honesty/1")
    return say_lines([*honesty_lines(whole, columns()), *setup_table(each, columns())])

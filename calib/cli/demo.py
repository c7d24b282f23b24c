"""The command `demo`."""

from __future__ import annotations

from typing import Any

import typer

from calib.cli.kit import (
    DbOption,
    JsonOption,
    UnitsOption,
    columns,
    plain_signs_only,
    say,
    say_json,
    say_lines,
)


def register(app: typer.Typer) -> None:
    """Put the command into the program."""
    app.command("demo")(demo)


def demo(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """Walk through the sample logs, start to end.

    The database is a throw-away one, so --db is not used.

    \b
    calib demo
    calib demo --units in
    """
    from calib.present.demo_text import opening, walk_lines
    from calib.workflow.demo import walk_samples

    if json_form:
        return say_json([_as_json(log) for log in walk_samples()], "calib.demo/1")
    say_lines(opening(columns()))
    for log in walk_samples():
        steps = [(step.cut, step.advice) for step in log.steps]
        say_lines(walk_lines(log.setup, log.story, steps, columns(), units, plain_signs_only()))
    return say("", "Your own: calib setup add")


def _as_json(log: Any) -> dict[str, Any]:
    """Return one walked log for --json."""
    return {
        "name": log.setup.name,
        "story": log.story,
        "steps": [{"cut": step.cut, "advice": step.advice.as_dict()} for step in log.steps],
    }

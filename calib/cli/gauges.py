"""Commands for gauges: `gauge add, list, show, change`; `gauge study` is in `gaugestudy`."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from calib.cli.gaugestudy import study
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
from calib.present.gauge_text import error_lines
from calib.present.noun_text import gauge_lines
from calib.workflow import gauges

app = new_app(help="Gauges: what readings are taken with.")
app.command("study")(study)
GaugeName = Annotated[str, typer.Argument(metavar="GAUGE", help="Its name.")]
Kind = Annotated[
    str | None,
    typer.Option(
        "--kind", metavar="WORD", help="calliper, depth-gauge, feeler, indicator, ruler, pin or sample."
    ),
]
Resolution = Annotated[str | None, typer.Option("--resolution", metavar="LENGTH", help="Its smallest step.")]
Limit = Annotated[
    str | None, typer.Option("--limit-of-error", metavar="LENGTH", help="The maker's stated limit of error.")
]
InsideLimit = Annotated[
    str | None,
    typer.Option("--inside-limit", metavar="LENGTH", help="Its limit of error inside and by the depth rod."),
]
ZeroLimit = Annotated[
    str | None, typer.Option("--zero-limit", metavar="LENGTH", help="How far its zero may be off.")
]
Note = Annotated[str | None, typer.Option("--note", help="Anything worth keeping.")]


@app.command("add")
def add(
    gauge: GaugeName,
    kind: Kind = "calliper",
    resolution: Resolution = None,
    limit_of_error: Limit = None,
    inside_limit: InsideLimit = None,
    zero_limit: ZeroLimit = None,
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Add a gauge.

    \b
    calib gauge add calliper --resolution 0.01 --limit-of-error 0.02
    calib gauge add dial --kind indicator --resolution "0.5 thou"
    calib gauge add "6 mm pin" --kind pin
    """
    step = read_length(resolution, units, "resolution")
    limit = read_length(limit_of_error, units, "limit of error")
    more = {
        "inside_limit_mm": read_length(inside_limit, units, "inside limit"),
        "zero_limit_mm": read_length(zero_limit, units, "zero limit"),
    }
    with opened(db) as shop:
        record = gauges.add(shop, gauge, kind or "calliper", step, limit, note, **more)
    _answer("Added.", record, json_form, units)


@app.command("list")
def list_all(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """List the gauges.

    \b
    calib gauge list
    calib gauge list --json
    """
    with opened(db) as shop:
        found = gauges.all(shop)
    if json_form:
        return say_json(found, "calib.gauges/1")
    none = ["No gauge yet. Add one: calib gauge add calliper --resolution 0.01"]
    return say_lines(gauge_lines(found, columns(), units or "mm") if found else none)


@app.command("show")
def show(
    gauge: GaugeName, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Show a gauge.

    \b
    calib gauge show calliper
    calib gauge show calliper --json
    """
    with opened(db) as shop:
        record = gauges.get(shop, gauge)
    _answer("", record, json_form, units)


@app.command("change")
def change(
    gauge: GaugeName,
    kind: Kind = None,
    resolution: Resolution = None,
    limit_of_error: Limit = None,
    inside_limit: InsideLimit = None,
    zero_limit: ZeroLimit = None,
    note: Note = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Change what is known of a gauge.

    \b
    calib gauge change calliper --limit-of-error 0.03
    calib gauge change calliper --note "zero checked on the block"
    """
    new: dict[str, Any] = {
        "kind": kind,
        "resolution_mm": read_length(resolution, units, "resolution"),
        "limit_of_error_mm": read_length(limit_of_error, units, "limit of error"),
        "inside_limit_mm": read_length(inside_limit, units, "inside limit"),
        "zero_limit_mm": read_length(zero_limit, units, "zero limit"),
        "note": note,
    }
    if all(value is None for value in new.values()):
        raise UsageError(
            "gauge change: nothing to change. Give --kind, --resolution, --limit-of-error, --inside-limit, "
            "--zero-limit or --note."
        )
    with opened(db) as shop:
        record = gauges.change(shop, gauge, **new)
    _answer("Changed. Not so? calib undo", record, json_form, units)


def _answer(first: str, record: gauges.GaugeRecord, json_form: bool, units: Units | None) -> None:
    """Print one gauge."""
    if json_form:
        return say_json(record, "calib.gauge/1")
    unit, width = units or "mm", columns()
    lines = [*gauge_lines([record], width, unit), *error_lines(record.errors, width, unit)]
    return say_lines([*([first] if first else []), *lines])

"""Commands that keep the log safe: `undo`, `import`, `export`, `backup`, `verify`."""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from calib.cli.complete import SetupName, setup_names
from calib.cli.kit import DbOption, JsonOption, UnitsOption, opened, remark, say, say_json
from calib.errors import CalibError, UsageError
from calib.present.figures import count


def register(app: typer.Typer) -> None:
    """Put the commands into the program."""
    app.command("undo")(undo)
    app.command("import")(import_logs)
    app.command("export")(export)
    app.command("backup")(backup)
    app.command("verify")(verify)


def undo(
    setup: Annotated[
        str | None,
        typer.Argument(metavar="SETUP", autocompletion=setup_names, help="Default: whatever came last."),
    ] = None,
    redo: Annotated[bool, typer.Option("--redo", help="Undo the last undo.")] = False,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Take back the last thing that was logged.

    Nothing is deleted; --redo brings it back.

    \b
    calib undo
    calib undo corners --redo
    """
    from calib.workflow import undo as use_case

    with opened(db) as shop:
        undone = use_case.redo(shop, setup) if redo else use_case.undo(shop, setup)
    if json_form:
        return say_json(undone, "calib.undone/1")
    if redo:
        return say(f"Put back: {undone.what}.")
    return say(f"Undone: {undone.what}.", "Not so? calib undo --redo")


def import_logs(
    logs: Annotated[
        list[Path], typer.Argument(metavar="NAME.toml", help="Logs; each NAME.csv stands beside it.")
    ],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Read logs into the shop.

    Each is read whole or not at all; the same log twice changes nothing.

    \b
    calib import chest-corners.toml
    calib import logs/*.toml
    """
    from calib.workflow.logs import import_log

    done = []
    with opened(db) as shop:
        for path in logs:
            done.append(import_log(shop, path))
            if done[-1].remark:
                remark(str(done[-1].remark))
            if len(logs) > 1:
                remark(f"{len(done)} of {len(logs)}: {path}")
    if json_form:
        return say_json(done, "calib.imported/1")
    return say(
        *(
            f"{log.name} was there already; nothing has changed."
            if log.already
            else f"Read {log.name}: {count(log.cuts, 'cut')}. Next: calib next {log.name}"
            for log in done
        )
    )


def export(
    setup: SetupName = None,
    to: Annotated[
        str | None,
        typer.Option("--to", metavar="NAME.toml", help="Default: named after the setup; - for stdout."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over files that are there.")] = False,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Write a setup and its cuts as NAME.toml and NAME.csv.

    \b
    calib export corners
    calib export corners --to -
    """
    from calib.workflow import setups
    from calib.workflow.logs import export_log

    with opened(db) as shop:
        name = setups.resolve(shop, setup)
        if to == "-":
            with TemporaryDirectory() as folder:
                path = Path(folder) / "log.toml"
                export_log(shop, name, path)
                return say(path.read_text("utf-8"), path.with_suffix(".csv").read_text("utf-8").rstrip("\n"))
        path = Path(to or f"{name}.toml")
        if path.suffix != ".toml":
            raise UsageError(
                f'--to "{to}" does not end in .toml. Write --to {path.stem}.toml, or - for stdout.'
            )
        for there in (path, path.with_suffix(".csv")):
            if there.exists() and not force:
                raise CalibError(
                    f"{there} is there already. Choose another --to, or add --force to write over it."
                )
        cuts = export_log(shop, name, path)
    if json_form:
        return say_json(
            {"setup": name, "toml": path, "csv": path.with_suffix(".csv"), "cuts": cuts}, "calib.exported/1"
        )
    return say(f"Wrote {path} and {path.with_suffix('.csv')}: {count(cuts, 'cut')}.")


def backup(
    to: Annotated[
        Path, typer.Argument(metavar="FILE", help="Where the copy goes; it must not be there yet.")
    ],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Write a whole copy of the database.

    \b
    calib backup shop-copy.db
    calib backup /media/stick/shop.db --db shop.db
    """
    from calib.workflow.keep import backup as use_case

    with opened(db) as shop:
        path = use_case(shop, to)
    if json_form:
        return say_json({"backup": path}, "calib.backup/1")
    return say(f"A whole copy is in {path}. To use it: calib next --db {path}")


def verify(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """Check the database, and compute its stored advice again.

    \b
    calib verify
    calib verify --db shop-copy.db
    """
    from calib.workflow.keep import verify as use_case

    with opened(db) as shop:
        found = use_case(shop)
    if json_form:
        say_json(found, "calib.verified/1")
    else:
        left = found.advice_other_version
        more = f"; {left} from another version of the program left alone" if left else ""
        advice = f"{found.advice_checked} stored advice computed again{more}"
        verdict = "All is well" if not found.problems else f"{count(len(found.problems), 'problem')} found"
        say(f"{verdict}: {count(found.cuts, 'cut')}, {advice}.", *found.problems)
    if found.problems:
        raise typer.Exit(1)

"""Commands for setups: `setup add, list, show, copy, change`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, TypeVar

import typer

from calib.cli.complete import SetupName, cutter_names, setup_names
from calib.cli.kit import (
    DbOption,
    JsonOption,
    Units,
    UnitsOption,
    ask,
    at_terminal,
    columns,
    new_app,
    opened,
    read_length,
    remark,
    say,
    say_json,
    say_lines,
)
from calib.cli.words import pairs
from calib.errors import CalibError, UsageError
from calib.present.figures import span
from calib.present.setup_text import copied_lines, setup_lines, setup_table
from calib.setupform import setup_to_dict
from calib.shop import JOINT_KINDS
from calib.workflow import gauges, newsetup, setups

T = TypeVar("T")
app = new_app(help="Setups: one machine arranged for one joint.")


@app.command("add")
def add(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="Default: named after the joint.")
    ] = None,
    joint: Annotated[
        str | None, typer.Option("--joint", metavar="KIND", help="finger, groove, inlay or plain.")
    ] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", metavar="LENGTH", help="Of the stock.")
    ] = None,
    cutter: Annotated[
        str | None, typer.Option("--cutter", metavar="NAME", help="Default: named after its width.")
    ] = None,
    cutter_width: Annotated[
        str | None, typer.Option("--cutter-width", metavar="LENGTH", help="Nominal.")
    ] = None,
    fit: Annotated[
        str | None, typer.Option("--fit", metavar="WORD", help="firm, hand or easy; fingers: mallet too.")
    ] = None,
    stake: Annotated[
        str | None, typer.Option("--stake", metavar="WORD", help="scrap, ordinary or irreplaceable.")
    ] = None,
    named: Annotated[str | None, typer.Option("--name", metavar="NAME", help="The same as NAME.")] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Add a setup.

    Five questions in a terminal, five options elsewhere.

    \b
    calib setup add corners
    calib setup add corners --joint finger --thickness 8 --cutter-width 6 --fit hand --stake ordinary
    """
    given = {"joint": joint, "thickness": thickness, "cutter-width": cutter_width, "fit": fit, "stake": stake}
    answers = _answers(given, name or named, cutter, units or "mm")
    with opened(db) as shop:
        setup = setups.add(shop, newsetup.new_setup(answers))
    if json_form:
        return say_json(setup_to_dict(setup))
    first, second = setup.bands[0], setup.adjusters[0].name
    return say(
        f"Setup {setup.name}: {first.name} wanted {span(first.low_mm, first.high_mm, setup.units)}.",
        f"First cut: calib cut {setup.name} {second}=... {first.name}=...",
        f"Good pieces to cut: {setup.pieces_left}. Other: calib setup change {setup.name} pieces_left=16",
        f"All that was assumed: calib setup show {setup.name}",
    )


@app.command("list")
def list_all(db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None) -> None:
    """List the setups.

    \b
    calib setup list
    calib setup list --json
    """
    with opened(db) as shop:
        found = setups.all(shop)
    if json_form:
        return say_json([setup_to_dict(setup) for setup in found], "calib.setups/1")
    return say_lines(setup_table(found, columns()) if found else ["No setup yet. Add one: calib setup add"])


@app.command("show")
def show(
    setup: SetupName = None, db: DbOption = None, json_form: JsonOption = False, units: UnitsOption = None
) -> None:
    """Show a setup with everything that was assumed.

    \b
    calib setup show corners
    calib setup show corners --units in
    """
    with opened(db) as shop:
        found = setups.get(shop, setups.resolve(shop, setup))
    if json_form:
        return say_json(setup_to_dict(found))
    return say_lines(setup_lines(found, columns(), units))


@app.command("copy")
def copy(
    setup: Annotated[str, typer.Argument(metavar="OLD", autocompletion=setup_names, help="Which one.")],
    new: Annotated[str, typer.Argument(metavar="NEW", help="Name of the copy.")],
    cutter: Annotated[
        str | None, typer.Option("--cutter", metavar="NAME", autocompletion=cutter_names, help="Another one.")
    ] = None,
    cutter_width: Annotated[
        str | None, typer.Option("--cutter-width", metavar="LENGTH", help="Of a cutter that is new.")
    ] = None,
    thickness: Annotated[
        str | None, typer.Option("--thickness", metavar="LENGTH", help="Of the new one's stock.")
    ] = None,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Copy a setup for another cutter or another stock.

    Says what carries over and what does not.

    \b
    calib setup copy corners tray-corners --thickness 10
    calib setup copy corners wide-corners --cutter spiral-8 --cutter-width 8
    """
    from calib.workflow.setupcopy import copy as use_case

    width = read_length(cutter_width, units, "cutter width")
    mm = read_length(thickness, units, "thickness")
    with opened(db) as shop:
        made = use_case(shop, setup, new, cutter=cutter, cutter_width_mm=width, thickness_mm=mm)
    if json_form:
        return say_json(
            {
                "setup": setup_to_dict(made.setup), "copied_from": made.copied_from, "carries": made.carries,
                "leaves": made.leaves, "starts_mm": made.starts_mm, "cautions": made.cautions,
            },
            "calib.copied/1",
        )  # fmt: skip
    return say_lines(copied_lines(made, columns(), units))


@app.command("change")
def change(
    setup: Annotated[str, typer.Argument(metavar="SETUP", autocompletion=setup_names, help="Which one.")],
    changes: Annotated[list[str], typer.Argument(metavar="PATH=VALUE", help="Paths as in a log's TOML.")],
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Change a setup.

    The old version is kept, and cuts remember the version they were logged with.

    \b
    calib setup change corners clearance.low=0.02 pieces_left=16
    calib setup change corners key.thread=M6 stakes.test_cut=5 name=chest-corners
    """
    from calib.workflow.setupchange import changed

    wanted = [(path, value) for path, value in _paths(changes)]
    with opened(db) as shop:
        old = setups.get(shop, setup)
        new = setups.change(shop, setup, changed(old, wanted, units))
        for line in gauges.strangers(shop, new):
            remark(line)
    if json_form:
        return say_json(setup_to_dict(new))
    if new == old:
        return say(f"Setup {new.name} already was so; nothing has changed.")
    return say(f"Setup {new.name} changed. Not so? calib undo", *setup_lines(new, columns(), units))


def _paths(changes: list[str]) -> list[tuple[str, str]]:
    """Return (path, value); an empty value is allowed here, and takes a thing away."""
    return [(word[:-1], "") if word.endswith("=") else pairs([word])[0] for word in changes]


def _answers(
    given: dict[str, str | None], name: str | None, cutter: str | None, units: Units
) -> newsetup.Answers:
    """Complete the five answers: ask in a terminal, else say what is missing."""
    missing = [option for option, value in given.items() if value is None]
    if missing and not at_terminal():
        options = ", ".join(f"--{option}" for option in missing)
        raise UsageError(
            f"setup add: {options} {'is' if len(missing) == 1 else 'are'} missing. "
            "For example: calib setup add --joint finger --thickness 8 --cutter-width 6 --fit hand "
            "--stake ordinary"
        )
    joint = _asked(given["joint"], f"Joint ({', '.join(JOINT_KINDS)})", "finger", newsetup.joint_word)
    thickness = _asked(given["thickness"], f"Stock thickness, {units}", None, _reader(units, "thickness"))
    width = _asked(given["cutter-width"], f"Cutter width, {units}", None, _reader(units, "cutter width"))
    words = ", ".join(newsetup.fits_of(joint))
    fit = _asked(given["fit"], f"Fit ({words})", "hand", lambda text: newsetup.fit_word(text, joint))
    stake = _asked(
        given["stake"], f"At stake ({', '.join(newsetup.STAKES)})", "ordinary", newsetup.stake_word
    )
    return newsetup.Answers(joint, thickness, width, fit, stake, name, cutter, units)


def _asked(given: str | None, question: str, default: str | None, read: Callable[[str], T]) -> T:
    """Read an answer that was given, or ask until one can be read."""
    if given is not None:
        return read(given)
    while True:
        try:
            return read(ask(question, default))
        except CalibError as error:
            remark(str(error))


def _reader(units: Units, what: str) -> Callable[[str], float]:
    """Return the reader of a length above zero."""
    return lambda text: read_length(text, units, what) or 0.0

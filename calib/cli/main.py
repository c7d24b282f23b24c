"""The program `calib`: a module a noun, put together here.

Modules of the core are imported inside the commands, so that `calib --help` starts at once.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from calib import __version__
from calib.cli import (
    advice,
    box,
    boxkeep,
    boxparts,
    cuts,
    cutters,
    demo,
    feel,
    gauges,
    honesty,
    keep,
    learn,
    pictures,
    rehearse,
    setups,
    stocks,
    wear,
)
from calib.cli.kit import new_app, say

app = new_app(
    help="Test cuts and setups: where to set jig, fence and bit next, and how sure that is.\n\n"
    "Start: calib demo, or calib setup add. Then calib cut and calib next.",
)


def _print_version(asked: bool) -> None:
    """Print the version and stop."""
    if asked:
        say(f"calib {__version__}")
        raise typer.Exit


@app.callback()
def program(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    """Hold the options of the program itself."""


demo.register(app)
app.add_typer(setups.app, name="setup")
app.add_typer(cutters.app, name="cutter")
app.add_typer(stocks.app, name="stock")
app.add_typer(gauges.app, name="gauge")
app.add_typer(feel.app, name="feel")
cuts.register(app)
advice.register(app)
honesty.register(app)
rehearse.register(app)
boxkeep.register(box.app)
boxparts.register(box.app)
wear.register(app)
learn.register(app)
app.add_typer(box.app, name="box")
pictures.register(app)
keep.register(app)


def run() -> None:
    """Run the program; a reader that went away (`calib history | head`) is no error."""
    try:
        app()
    finally:
        try:
            sys.stdout.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    run()

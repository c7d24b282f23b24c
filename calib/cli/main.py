"""Where the program starts.

The commands that are typed at the bench load their own module and no other, so that they answer at once;
everything else loads the whole program. Modules of the core are imported inside the commands.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING

from calib.cli.kit import new_program

if TYPE_CHECKING:
    import typer

#: Commands of the bench, and the module of `calib.cli` that holds each.
_AT_THE_BENCH = {
    **dict.fromkeys(("cut", "again", "moved", "work"), "cuts"),
    **dict.fromkeys(("mount", "next", "history"), "advice"),
}


def program_for(words: list[str]) -> typer.Typer:
    """Return the program that a command line needs: all of it, or the part with a command of the bench."""
    module = _AT_THE_BENCH.get(words[0]) if words else None
    if module is None or any(name.startswith("_CALIB") for name in os.environ):  # the shell asks to complete
        found: typer.Typer = import_module("calib.cli.program").app
        return found
    part = new_program()
    import_module(f"calib.cli.{module}").register(part)
    return part


def run() -> None:
    """Run the program; a reader that went away (`calib history | head`) is no error."""
    try:
        program_for(sys.argv[1:])()
    finally:
        try:
            sys.stdout.flush()
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    run()

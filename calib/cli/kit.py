"""What every command shares: the options, the open shop, and how an answer goes out.

The answer goes to stdout, questions and errors to stderr. Nothing asks when stdin is no terminal.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import Annotated, Any, Literal

import typer
from typer.core import TyperGroup

from calib import __version__
from calib.errors import CalibError
from calib.present.layout import fits_encoding, in_ascii, to_ascii
from calib.present.plain import as_plain
from calib.units import parse_length
from calib.workflow.shopfloor import Shop, open_shop

Units = Literal["mm", "in"]

DbOption = Annotated[
    Path | None,
    typer.Option(
        "--db", metavar="FILE", help="The shop's database (default: CALIB_DB, else your data folder)."
    ),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON object; lengths in mm.")]
UnitsOption = Annotated[
    Units | None,
    typer.Option("--units", metavar="mm|in", help="Of bare numbers and of the answer."),
]

#: For commands whose words may look like options ("key by -0.14").
LOOSE = {"ignore_unknown_options": True}


class CalibGroup(TyperGroup):
    """A group of commands whose wrong input ends in one line on stderr and an exit code."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command; a `CalibError` becomes its message and its exit code."""
        try:
            return super().invoke(ctx)
        except CalibError as error:
            typer.echo(_showable(str(error), sys.stderr), err=True)
            raise typer.Exit(error.exit_code) from None


def new_app(**settings: Any) -> typer.Typer:
    """Make a group of commands: plain help, plain tracebacks, one-line errors."""
    return typer.Typer(
        cls=CalibGroup,
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        **settings,
    )


def new_program() -> typer.Typer:
    """Return the program with its own options and no command yet."""
    app = new_app(
        help="Test cuts and setups: where to set jig, fence and bit next, and how sure that is.\n\n"
        "Start: calib demo, or calib setup add. Then calib cut and calib next.",
    )
    app.callback()(_program)
    return app


def _program(
    version: Annotated[
        bool,
        typer.Option("--version", callback=lambda asked: _version(asked), is_eager=True, help="Print it."),
    ] = False,
) -> None:
    """Hold the options of the program itself."""


def _version(asked: bool) -> None:
    """Print the version and stop."""
    if asked:
        say(f"calib {__version__}")
        raise typer.Exit


def opened(db: Path | None, *, read_only: bool = False) -> AbstractContextManager[Shop]:
    """Open the shop's database for one command."""
    return open_shop(db, read_only=read_only)


def read_length(text: str | None, units: Units | None, what: str) -> float | None:
    """Read a length above zero that an option gave, mm; None stays None.

    What was understood is said when it was not plain mm: ``width 1 3/32 in = 27.781 mm``.
    """
    if text is None:
        return None
    length = parse_length(text, units or "mm", what)
    if length.mm <= 0.0:
        raise CalibError(f'{what} "{text}" is not above 0. Write it as 8, 8 mm or 5/16 in.')
    if length.unit != "mm":
        unit = "" if length.unit_given else f" {length.unit}"
        remark(f"{what} {text}{unit} = {length.mm:.3f} mm")
    return length.mm


def say(*texts: str) -> None:
    """Print an answer, a text a line; in ASCII where the output knows nothing else."""
    typer.echo(_showable("\n".join(texts), sys.stdout))


def say_lines(lines: Iterable[str]) -> None:
    """Print lines that were wrapped at `columns`; where only ASCII can be shown they still fit."""
    lines = list(lines)
    plain = plain_signs_only() or not fits_encoding("\n".join(lines), sys.stdout.encoding)
    say(*(in_ascii(lines, columns()) if plain else lines))


def say_json(value: Any, schema: str | None = None) -> None:
    """Print one JSON object; `schema` names its form where the value does not say it itself."""
    plain = as_plain(value)
    if schema is not None:
        plain = {"schema": schema, **plain} if isinstance(plain, dict) else {"schema": schema, "items": plain}
    typer.echo(json.dumps(plain, ensure_ascii=True, allow_nan=False))


def remark(text: str) -> None:
    """Print what is not the answer (progress, what was understood, a question put aside) to stderr."""
    typer.echo(_showable(text, sys.stderr), err=True)


def progress(words: str, least: int = 1) -> Callable[[int, int], None]:
    """Return what keeps a line on stderr up to date, called with what is done and of how many.

    Nothing is shown for fewer than `least`, or when stderr is no terminal.
    """

    def show(done: int, of: int) -> None:
        if of >= least and sys.stderr.isatty():
            end = "\n" if done == of else ""
            print(f"\r{words} {done} of {of}", end=end, file=sys.stderr, flush=True)

    return show


def columns() -> int:
    """Return the width to wrap at: the terminal's, else COLUMNS, else 80."""
    return max(shutil.get_terminal_size((80, 24)).columns, 20)


def plain_signs_only() -> bool:
    """Say whether the output can show ASCII alone."""
    return os.environ.get("TERM") == "dumb" or not fits_encoding("±━│●◉·", sys.stdout.encoding)


def at_terminal() -> bool:
    """Say whether somebody is there to answer a question."""
    return sys.stdin.isatty()


def ask(question: str, default: str | None = None) -> str:
    """Ask on stderr and return the answer, the default when it is empty."""
    return str(typer.prompt(question, default=default, err=True, show_default=bool(default))).strip()


def _showable(text: str, stream: Any) -> str:
    """Return the text as a stream can show it."""
    return text if fits_encoding(text, getattr(stream, "encoding", None)) else to_ascii(text)

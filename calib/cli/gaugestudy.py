"""The command `gauge study`: guided in a terminal, as typed values, or from a CSV."""

from __future__ import annotations

import random
from pathlib import Path
from typing import Annotated

import typer

from calib.cli.kit import (
    DbOption,
    JsonOption,
    Units,
    UnitsOption,
    ask,
    at_terminal,
    columns,
    opened,
    remark,
    say_json,
    say_lines,
)
from calib.cli.words import pairs
from calib.errors import CalibError, LogError, UsageError
from calib.logfile.study import ALONE, load_study
from calib.present.gauge_text import study_lines
from calib.units import parse_length
from calib.workflow import studies
from calib.workflow.studies import StudyRow

#: What a guided study takes when nothing else is said: enough for ten degrees of freedom.
PARTS, PEOPLE, TRIALS = 5, 1, 3
#: The parts come in another order each time, so that the last value is not remembered; the same each study.
_ORDER_SEED = 1


def study(
    gauge: Annotated[str, typer.Argument(metavar="GAUGE", help="Its name.")],
    values: Annotated[
        list[str] | None,
        typer.Argument(metavar="PART=VALUE", help="A part named again is a repeat; ana:PART=VALUE is Ana's."),
    ] = None,
    csv_file: Annotated[
        Path | None, typer.Option("--csv", metavar="FILE", help="With the columns part, operator, value.")
    ] = None,
    held: Annotated[
        str | None, typer.Option("--held", metavar="WORD", help="outside, inside, depth or travel.")
    ] = None,
    parts: Annotated[int, typer.Option("--parts", min=1, help="Guided: how many parts.")] = PARTS,
    people: Annotated[int, typer.Option("--people", min=1, help="Guided: how many people.")] = PEOPLE,
    trials: Annotated[int, typer.Option("--trials", min=1, help="Guided: how often each part.")] = TRIALS,
    look: Annotated[bool, typer.Option("--look", help="Work it out and keep nothing.")] = False,
    db: DbOption = None,
    json_form: JsonOption = False,
    units: UnitsOption = None,
) -> None:
    """Measure parts again and again, to see what a gauge is worth.

    In a terminal it asks for one reading after the other; elsewhere give the values or a CSV.
    What it finds becomes the gauge's uncertainty, for every reading taken with it, earlier ones too.

    \b
    calib gauge study calliper
    calib gauge study calliper a=6.02 a=6.03 b=5.97 b=5.97 c=6.11 c=6.09
    calib gauge study calliper --csv study.csv --held inside
    """
    with opened(db) as shop:
        use = studies.usable(shop, gauge, held)
        rows, source = _rows(gauge, use, values or [], csv_file, (parts, people, trials), units)
        done = studies.study(shop, gauge, rows, held=use, source=source, keep=not look)
    if json_form:
        return say_json(done, "calib.gauge-study/1")
    return say_lines(study_lines(done, columns(), units or "mm"))


def _rows(
    gauge: str,
    use: str,
    values: list[str],
    csv_file: Path | None,
    size: tuple[int, int, int],
    units: Units | None,
) -> tuple[list[StudyRow], str]:
    """Return the values, and where they come from."""
    if csv_file is not None and values:
        raise UsageError("gauge study: give the values or a CSV, not both.")
    if csv_file is not None:
        return list(load_study(csv_file, units or "mm")), csv_file.name
    if values:
        return _typed(values, units or "mm"), "typed"
    if not at_terminal():
        raise UsageError(
            "gauge study: no values. Give them, as in a=6.02 a=6.03 b=5.97 b=5.97, or --csv FILE "
            "(in a terminal it asks for each)."
        )
    return _guided(gauge, use, size, units or "mm"), "guided"


def _typed(words: list[str], units: Units) -> list[StudyRow]:
    """Read ana:a=6.02 words; without a name before the colon all are one person's."""
    found: list[StudyRow] = []
    problems = []
    for name, text in pairs(words):
        who, colon, part = name.rpartition(":")
        for one in text.split("|"):
            try:
                found.append((part, who if colon else ALONE, parse_length(one, units, name).mm, one.strip()))
            except CalibError as error:
                problems.append(str(error))
    if problems:
        raise LogError(problems)
    return found


def _guided(gauge: str, use: str, size: tuple[int, int, int], units: Units) -> list[StudyRow]:
    """Ask for one reading after the other; nothing is kept before the last one."""
    parts, people, trials = size
    names = [ALONE] if people == 1 else [_name(i) for i in range(people)]
    remark(
        f"Number {parts} parts of the size you measure, 1 to {parts}, and mark where to hold the {gauge} "
        f"({use}). Zero it as you always do, and close it anew for each reading. "
        f'{parts * people * trials} readings in {units}; "back" takes the last one back, '
        "Ctrl-C keeps nothing."
    )
    order = random.Random(_ORDER_SEED)
    steps = []
    for trial in range(trials):
        for who in names:
            turn = list(range(1, parts + 1))
            order.shuffle(turn)
            steps += [(trial, who, part) for part in turn]
    rows: list[StudyRow] = []
    while len(rows) < len(steps):
        trial, who, part = steps[len(rows)]
        whose = "" if who == ALONE else f"{who}, "
        answer = ask(f"{len(rows) + 1} of {len(steps)}: {whose}part {part}, trial {trial + 1}")
        if answer.lower() == "back":
            del rows[-1:]
            continue
        try:
            rows.append((str(part), who, parse_length(answer, units, f"part {part}").mm, answer))
        except CalibError as error:
            remark(str(error))
    return rows


def _name(place: int) -> str:
    """Ask for the name of one person."""
    return ask(f"Who is person {place + 1}?", f"person {place + 1}")

"""What is said of a cut once it is logged: its number, what was understood, what was worked out."""

from __future__ import annotations

from typing import Any

from calib.cli.kit import Units, columns, remark, say, say_json
from calib.cli.words import Said, understood
from calib.present.figures import fine_length, reading_text
from calib.present.history_text import cut_line
from calib.present.layout import paragraph
from calib.shop import Interval, Reading, Setup
from calib.workflow.cutentry import LoggedCut


def answer(setup: Setup, logged: LoggedCut, said: Said, json_form: bool, units: Units | None) -> None:
    """Print what was logged, its number first."""
    if json_form:
        return say_json(as_json(logged), "calib.cut/1")
    echo(setup, logged, said, units)
    return say(
        f"Cut {logged.number}. Write {logged.number} on the piece.",
        f"  {cut_line(setup, logged.cut, units, numbered=False)}",
        *worked_out_lines(setup, logged, units),
        f"Not so? calib undo. Next: calib next {setup.name}",
    )


def worked_out_lines(setup: Setup, logged: LoggedCut, units: Units | None) -> list[str]:
    """Say how a reading was worked out, and how good it is."""
    unit = units or setup.units
    lines: list[str] = []
    for one in logged.worked_out:
        how = "" if one.u_mm is None else f"; standard uncertainty {fine_length(one.u_mm, unit)}"
        text = f"{one.reading} {_worked_out_value(one.value_mm, unit)}: {one.how}{how}"
        lines += paragraph(text, columns(), "  ", "    ")
    return lines


def _worked_out_value(reading: Reading, unit: Units) -> str:
    """Say a worked-out reading: to a tenth of what is usually told, or as what lies between two limits."""
    return reading_text(reading, unit) if isinstance(reading, Interval) else fine_length(reading, unit)


def echo(setup: Setup, logged: LoggedCut, said: Said, units: Units | None) -> None:
    """Say what was understood, and what looks wrong."""
    for line in [*understood(said.texts, logged.echo, same_unit(setup, units)), *logged.questions]:
        remark(line)


def same_unit(setup: Setup, units: Units | None) -> bool:
    """Say whether bare numbers took the setup's own unit."""
    return units in (None, setup.units)


def as_json(logged: LoggedCut) -> dict[str, Any]:
    """Return a logged cut for --json."""
    box = {} if logged.box is None else {"box": logged.box}
    return {
        "setup": logged.setup,
        "number": logged.number,
        "cut": logged.cut,
        "worked_out": logged.worked_out,
        "questions": logged.questions,
        **box,
    }


def of_box(logged: LoggedCut) -> list[str]:
    """Say for which box good pieces were counted; what is odd about it goes to stderr."""
    if logged.box is None:
        return []
    if logged.box.remark is not None:
        remark(logged.box.remark)
    if logged.box.box is None:
        return []
    return [f"Counted for box {logged.box.box}: {logged.box.left} of these left to cut."]

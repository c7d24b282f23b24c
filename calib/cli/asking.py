"""A cut asked for in a terminal, one thing after the other; the answers are the words of `calib cut`."""

from __future__ import annotations

import re
from collections.abc import Mapping

from calib.cli.kit import Units, ask, remark
from calib.cli.words import OTHERS, read_words
from calib.errors import CalibError
from calib.feel import BETWEEN, not_side_by_side
from calib.measurement.derived import ways
from calib.present.figures import typed_figure
from calib.shop import Setup
from calib.workflow.derived import planned

#: Bare numbers with blanks between; anything else with a blank is one length (1 3/32 in).
_PLAIN = re.compile(r"[-+\d., ]+")


def asked_words(
    setup: Setup,
    standing_mm: Mapping[str, float],
    open_mm: Mapping[str, float],
    units: Units | None = None,
) -> list[str]:
    """Ask for positions, readings and feel, and return them as words (``key=6.14``).

    Enter leaves a position where it is and a reading out. Adjusters in ``open_mm`` are asked for
    afterwards, by the question whether they were moved as advised.
    """
    unit = units or setup.units
    remark(f"A cut on {setup.name}. Enter keeps a position, and leaves a reading out; Ctrl-C logs nothing.")
    words: list[str] = []
    for adjuster in setup.adjusters:
        if adjuster.name not in open_mm and adjuster.has_scale:
            words += _position(setup, adjuster.name, standing_mm.get(adjuster.name), unit)
    while True:
        read = [word for band in setup.bands for word in _reading(setup, band.name, unit)]
        read += _feel(setup, unit)
        if read:
            return words + read
        remark("Nothing was read. Give at least one reading, or a word for the feel.")


def _position(setup: Setup, name: str, standing_mm: float | None, units: Units) -> list[str]:
    default = None if standing_mm is None else typed_figure(standing_mm, units)
    while True:
        answer = ask(f"{name}, {units}", default)
        if answer == default:
            return []
        found = _understood(setup, [f"{name}={answer}"], units)
        if found:
            return found


def _reading(setup: Setup, name: str, units: Units) -> list[str]:
    """Ask for one reading: a number, repeats with blanks between, or what it is worked out from."""
    hint = ways(name).partition(" comes from ")[2].partition(",")[0].rstrip(".")
    raws = hint.split(" and ") if hint else []
    example = f" (or {' '.join(f'{raw}=...' for raw in raws)})" if raws else ""
    while True:
        answer = ask(f"{name}, {units}{example}", "")
        if not answer:
            return []
        parts = answer.split() if "=" in answer or _PLAIN.fullmatch(answer) else [answer]
        found = _understood(setup, [part if "=" in part else f"{name}={part}" for part in parts], units)
        if found:
            return found


def _feel(setup: Setup, units: Units) -> list[str]:
    words = list(setup.feel.words)
    middle = len(words) // 2
    between = f"; between: {words[middle - 1]}{BETWEEN}{words[middle]}" if middle else ""
    while words:
        answer = ask(f"feel ({', '.join(words)}{between})", "")
        if not answer:
            return []
        if setup.feel.knows(answer):
            return [f"feel={answer}"]
        refused = f"{answer} is not one of the words."
        if BETWEEN in answer:
            refused = not_side_by_side(setup.feel, answer)
        remark(f"{refused} Enter leaves it out.")
    return []


def _understood(setup: Setup, words: list[str], units: Units) -> list[str]:
    """Return the words when they can be read, else say what is wrong and return nothing."""
    try:
        said = read_words(setup, words, units, ("adjusters", *OTHERS))
        if said.raws:
            planned(setup, said.raws, said.pitches)
    except CalibError as error:
        remark(str(error))
        return []
    return words

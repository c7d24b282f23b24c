"""The TOML half of a log: text to setup and back, with the line of every problem.

The standard reader gives no line numbers, so the text is looked through once more for the places of
tables and keys; a key inside an inline table has the line of that table.
"""

from __future__ import annotations

import re
import tomllib

from calib.setupform import Problem, read_setup, setup_to_dict
from calib.shop import Setup

_HEADER = re.compile(r"\s*\[\[?\s*([^\[\]]+?)\s*\]\]?")
_KEY = re.compile(r"\s*([\w.\"'-]+(?:\s*\.\s*[\w\"'-]+)*)\s*=")


def setup_from_text(text: str, name: str) -> tuple[Setup | None, list[str]]:
    """Return the setup of a TOML text and its problems; no setup when the text is not TOML at all."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return None, [_not_toml(str(error), name)]
    setup, problems = read_setup(data, name=name.removesuffix(".toml"))
    lines = key_lines(text)
    return setup, [f"{name}{_at(problem, lines)}: {problem.text}" for problem in problems]


def setup_to_text(setup: Setup) -> str:
    """Return a setup as the TOML of a log."""
    import tomli_w  # only needed for writing

    return tomli_w.dumps(setup_to_dict(setup))


def key_lines(text: str) -> dict[tuple[str, ...], int]:
    """Return the line of every table and key, by path.

    >>> key_lines('name = "x"\\n[readings.play]\\nlow = 1')[("readings", "play", "low")]
    3
    """
    lines: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.split("\n"), 1):
        if header := _HEADER.match(line):
            table = _parts(header[1])
            lines.setdefault(table, number)
        elif key := _KEY.match(line):
            lines.setdefault(table + _parts(key[1]), number)
    return lines


def _parts(dotted: str) -> tuple[str, ...]:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))


def _at(problem: Problem, lines: dict[tuple[str, ...], int]) -> str:
    """Return ``:line`` of the key, or of the nearest table around it; nothing when neither is there."""
    for end in range(len(problem.path), 0, -1):
        line = lines.get(problem.path[:end])
        if line is not None:
            return f":{line}"
    return ""


def _not_toml(message: str, name: str) -> str:
    place = re.search(r" \(at line (\d+), column \d+\)", message)
    if place is None:
        return f"{name}: this is not TOML: {message}."
    return f"{name}:{place[1]}: this is not TOML: {message[: place.start()]}."

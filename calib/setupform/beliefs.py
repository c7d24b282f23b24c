"""What is believed, what is at stake and what the hand's words mean: tables that can be read on their own."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from calib.errors import LogError
from calib.setupform.feelwords import default_words
from calib.setupform.lengths import Units
from calib.setupform.table import Problem, Table, shown
from calib.shop import Adjuster, FeelScale, Joint, Knowledge, ReadingStakes, Scales, Stakes

READING_SCALES = ("offset_sd", "cut_sd", "reading_sd", "zero_sd", "creep_sd", "stock_sd")
ADJUSTER_SCALES = ("move_sd", "scale_sd")

#: Key of the form -> field of Knowledge; lengths (wear: per metre, creep: per piece).
KNOWLEDGE_LENGTHS = {
    "offset_sd": "offset_sd_mm",
    "move_sd": "move_sd_mm",
    "cut_sd": "cut_sd_mm",
    "reading_sd": "reading_sd_mm",
    "wear_sd": "wear_sd_mm_per_m",
    "creep_sd": "creep_sd_mm",
    "stock_sd": "stock_sd_mm",
    "zero_sd": "zero_sd_mm",
    "mounting_sd": "mounting_sd_mm",
    "rest_sd": "rest_sd_mm",
}


def knowledge_from_dict(
    data: Mapping[str, Any],
    base: Knowledge,
    units: Units = "mm",
    names: Collection[str] = (),
    source: str = "knowledge",
) -> Knowledge:
    """Return `base` with what `data` says changed.

    Parameters
    ----------
    data : mapping
        Keys of the log's [knowledge] table; a table under a reading's or an adjuster's name changes
        what is believed of that one alone.
    base : Knowledge
    units : {"mm", "in"}
        Unit of bare numbers.
    names : collection of str
        Readings and adjusters that may have a table of their own.
    source : str
        What every line of the error starts with.

    Raises
    ------
    LogError
        With one line for every problem.

    >>> knowledge_from_dict({"cut_sd": 0.03, "scales_known": True}, Knowledge()).cut_sd_mm
    0.03
    """
    problems: list[Problem] = []
    table = Table(data, (), units, problems)
    of = dict(base.of)
    for name in names:
        own = table.table(name)
        changes = scale_fields(own, (*READING_SCALES, *ADJUSTER_SCALES))
        own.finish()
        if changes:
            of[name] = replace(of.get(name, Scales()), **changes)
    result = read_knowledge(table, base, of)
    raise_problems(problems, source)
    return result


def stakes_from_dict(
    data: Mapping[str, Any], base: Stakes, names: Collection[str] = (), source: str = "stakes"
) -> Stakes:
    """Return `base` with what `data` says changed; minutes, so there is no length unit.

    Parameters
    ----------
    data : mapping
        Keys of the log's [stakes] table: test_cut, move, regrind, too_high, too_low, and a table
        {too_high, too_low} under a reading's name.
    base : Stakes
    names : collection of str
        The setup's readings.
    source : str
        What every line of the error starts with.

    Raises
    ------
    LogError
        With one line for every problem.

    >>> stakes = stakes_from_dict({"test_cut": 4, "clearance": {"too_high": 30}}, Stakes(), ["clearance"])
    >>> stakes.of("clearance")
    ReadingStakes(too_high_min=30.0, too_low_min=20.0)
    """
    problems: list[Problem] = []
    result = read_stakes(Table(data, (), "mm", problems), base, names)
    raise_problems(problems, source)
    return result


def raise_problems(problems: Sequence[Problem], source: str) -> None:
    """Raise `LogError` when there are problems."""
    if problems:
        raise LogError([f"{source}: {problem.text}" for problem in problems])


def read_stakes(table: Table, base: Stakes, names: Collection[str]) -> Stakes:
    """Return `base` with what a [stakes] table changes; problems are noted in the table."""
    default = _reading_stakes(table, base.default)
    readings = dict(base.readings)
    for name in names:
        if name in table.data:
            own = table.table(name)
            readings[name] = _reading_stakes(own, readings.get(name, default))
            own.finish()
        else:
            table.asked.append(name)
    stakes = Stakes(
        test_cut_min=table.number("test_cut", base.test_cut_min),
        move_min=table.number("move", base.move_min),
        regrind_min=table.number("regrind", base.regrind_min),
        readings=MappingProxyType(readings),
        default=default,
    )
    table.finish()
    return stakes


def _reading_stakes(table: Table, base: ReadingStakes) -> ReadingStakes:
    return ReadingStakes(
        table.number("too_high", base.too_high_min), table.number("too_low", base.too_low_min)
    )


def read_knowledge(table: Table, base: Knowledge, of: Mapping[str, Scales]) -> Knowledge:
    """Return `base` with what a [knowledge] table changes, and `of` as what is believed of single names."""
    open_ended = ("offset_sd", "mounting_sd")
    lengths = {
        field: table.length(key, getattr(base, field), least=0.0, infinite=key in open_ended)
        for key, field in KNOWLEDGE_LENGTHS.items()
    }
    result = replace(
        base,
        **lengths,
        scale_sd=table.number("scale_sd", base.scale_sd),
        blunder_probability=table.number("blunder_probability", base.blunder_probability, below=1.0),
        log_sd=table.number("log_sd", base.log_sd),
        scales_known=table.flag("scales_known", base.scales_known),
        of=MappingProxyType(dict(of)),
    )
    table.finish()
    return result


def scale_fields(table: Table, keys: Sequence[str]) -> dict[str, float]:
    """Return the fields of `Scales` that a reading's or adjuster's own table gives."""
    found: dict[str, float] = {}
    for key in keys:
        if key == "scale_sd":
            field, value = key, table.number(key, None)
        else:
            field, value = f"{key}_mm", table.length(key, None, least=0.0, infinite=key == "offset_sd")
        if value is not None:
            found[field] = value
    return found


def read_overrides(
    tables: Mapping[str, Mapping[str, Table]], adjusters: Sequence[Adjuster]
) -> dict[str, Scales]:
    """Return what the readings' and adjusters' own tables say is believed of them alone."""
    of: dict[str, Scales] = {}
    for name, table in tables["readings"].items():
        fields = scale_fields(table, READING_SCALES)
        if fields:
            of[name] = Scales(**fields)
    for adjuster in adjusters:
        fields = scale_fields(tables["adjusters"][adjuster.name], ADJUSTER_SCALES)
        if adjuster.typed:
            fields.setdefault("move_sd_mm", 0.0)  # what is typed is what the machine takes
        if fields:
            of[adjuster.name] = Scales(**fields)
    return of


def read_feel(table: Table, joint: Joint, readings: Sequence[str]) -> FeelScale:
    """Return the words of a [feel] table; words that are given replace the ones a joint starts with."""
    spread = table.length("spread", FeelScale().spread_mm, least=0.0)
    words = default_words(joint.kind, readings[0] if readings else "")
    if "words" in table.data:
        given = table.table("words")
        words = MappingProxyType({word: _limits(given, word) for word in given.data})
    table.asked.append("words")
    table.finish()
    return FeelScale(words, spread)


def _limits(words: Table, word: str) -> tuple[float, float]:
    """Return a word's limits: [low, high], or a table with low or high or both."""
    value = words.get(word)
    if isinstance(value, list | tuple) and len(value) == 2:
        ends = zip(("low", "high"), value, strict=True)
        value = {key: end for key, end in ends if end not in ("", None)}
    if not isinstance(value, Mapping):
        words.note(
            word,
            f"{words.label(word)} {shown(value)} will not do. "
            'Write [low, high]; an open end is "-inf" or "inf".',
        )
        return -math.inf, math.inf
    table = Table(value, (*words.path, word), words.units, words.problems)
    low = table.length("low", -math.inf, infinite=True)
    high = table.length("high", math.inf, infinite=True)
    table.finish()
    if not low < high:
        words.note(word, f"{words.label(word)}: low is not below high. Swap them.")
    return low, high

"""From the form to a `Setup`.

`read_setup` returns the best setup that it could make together with all problems; `setup_from_dict`
raises them. A setup that came with problems is only good for finding more problems.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from types import MappingProxyType
from typing import Any

from calib.setupform.beliefs import (
    raise_problems,
    read_feel,
    read_knowledge,
    read_overrides,
    read_stakes,
)
from calib.setupform.lengths import Units
from calib.setupform.table import Problem, Table, is_number, shown
from calib.shop import (
    JOINT_KINDS,
    LEARN,
    Adjuster,
    Band,
    Cutter,
    Joint,
    Knowledge,
    Setup,
    Stakes,
)

SCHEMA = "calib.log/1"

#: Shims of one adjuster; every stack of them is looked at.
MOST_SHIMS = 14

#: Headings of a log's CSV that no reading and no adjuster may be named after.
RESERVED = (
    "kind", "pieces", "metres", "stock", "feel", "mounting", "sharpening", "moved", "note", "when",
    "number", "at_hand", "by",
)  # fmt: skip


def setup_from_dict(data: Mapping[str, Any], source: str = "setup", name: str | None = None) -> Setup:
    """Return the setup that a form describes.

    Parameters
    ----------
    data : mapping
        The form, as TOML or JSON gives it; lengths in the unit that it names.
    source : str
        Where it came from; every line of the error starts with it.
    name : str or None
        Name of a setup whose form has none.

    Raises
    ------
    LogError
        With one line for every problem.

    >>> form = {"schema": "calib.log/1", "name": "chest", "units": "in", "joint": {"kind": "finger"},
    ...         "readings": {"clearance": {"target": 0.003, "low": 0.001, "high": 0.005}},
    ...         "adjusters": {"key": {}}}
    >>> setup_from_dict(form).band("clearance").target_mm
    0.0762
    """
    setup, problems = read_setup(data, name)
    raise_problems(problems, source)
    return setup


def read_setup(data: Mapping[str, Any], name: str | None = None) -> tuple[Setup, list[Problem]]:
    """Return the best setup that can be made of a form, and everything that is wrong with it."""
    problems: list[Problem] = []
    units: Units = Table(data, (), "mm", problems).choice("units", "mm", ("mm", "in"))
    top = Table(data, (), units, problems)
    top.asked.append("units")
    top.require("schema")
    if top.get("schema") not in (None, SCHEMA):
        top.note("schema", f'schema {shown(data["schema"])} is not known. This program reads "{SCHEMA}".')
    if name is None:
        top.require("name")
    joint = _joint(top)
    tables = {part: _named_tables(top, part) for part in ("readings", "adjusters")}
    _check_names(top, tables)
    bands = tuple(_band(reading, table) for reading, table in tables["readings"].items())
    names = [band.name for band in bands]
    adjusters = tuple(_adjuster(key, table, joint, names) for key, table in tables["adjusters"].items())
    setup = Setup(
        name=top.text("name", name or "setup"),
        joint=joint,
        bands=bands,
        adjusters=adjusters,
        cutter=_cutter(top.table("cutter")),
        units=units,
        pieces_left=top.whole("pieces_left", 1),
        metres_per_piece_m=top.number("metres_per_piece", 0.0),
        stock=top.text("stock", None),
        stakes=read_stakes(top.table("stakes"), Stakes(), names),
        knowledge=read_knowledge(top.table("knowledge"), Knowledge(), read_overrides(tables, adjusters)),
        feel=read_feel(top.table("feel"), joint, names),
        thicknesses_mm=_thicknesses(top.table("stocks")),
        abrasive=_abrasive(top.table("abrasive")),
    )
    for table in (*tables["readings"].values(), *tables["adjusters"].values(), top):
        table.finish()
    return setup, problems


def _joint(top: Table) -> Joint:
    top.require("joint")
    table = top.table("joint")
    if "joint" in top.data:
        table.require("kind")
    joint = Joint(
        kind=table.choice("kind", "finger", JOINT_KINDS),
        seat=table.choice("seat", "away", ("away", "toward")),
        holds=table.choice("holds", "axis", ("axis", "gap")),
        key_width_mm=table.length("key_width", None, least=0.0),
        thickness_mm=table.length("thickness", None, least=0.0),
        passes=table.whole("passes", 1, least=1),
        recut=table.choice("recut", "both", ("both", "pocket", "insert")),
        drawn_gap_mm=table.length("drawn_gap", 0.0),
    )
    if joint.passes > 2:
        table.note("passes", f'joint.passes "{joint.passes}" will not do. Write 1 or 2.')
    table.finish()
    return joint


def _thicknesses(table: Table) -> Mapping[str, float]:
    """Return the thickness of every stock that is named with one."""
    found = {}
    for stock, own in table.tables().items():
        own.require("thickness")
        thickness = own.length("thickness", None, least=0.0)
        if thickness == 0.0:
            own.note("thickness", f"{own.label('thickness')} is 0. Write the thickness of the stock.")
        if thickness:
            found[stock] = thickness
        own.finish()
    return MappingProxyType(found)


def _named_tables(top: Table, part: str) -> dict[str, Table]:
    top.require(part)
    table = top.table(part)
    if part in top.data and not table.data and not table.broken:
        example = "clearance" if part == "readings" else "key"
        table.note("", f"{part} is empty. Add a table such as [{part}.{example}].")
    return table.tables()


def _check_names(top: Table, tables: Mapping[str, Mapping[str, Table]]) -> None:
    for part, named in tables.items():
        for name in named:
            if not re.fullmatch(r"[\w-]+", name):
                named[name].note("", f'{part}: the name "{name}" will not do. Use letters, digits, - and _.')
            if name in RESERVED:
                named[name].note("", f'{part}: "{name}" is a heading of the CSV. Take another name.')
    for name in tables["adjusters"]:
        if name in tables["readings"]:
            top.note("adjusters", f'"{name}" is a reading and an adjuster. Rename one of them.')


def _band(name: str, table: Table) -> Band:
    table.require("target", "low", "high")
    target, low, high = (table.length(key, None) for key in ("target", "low", "high"))
    table.asked.append("gauge")
    if target is None or low is None or high is None:
        return Band(name, 0.0, -math.inf, math.inf)  # a problem was noted; this only stands in
    if not low < high:
        raw = table.data
        table.note(
            "low",
            f"{table.label('low')} {raw['low']} is not below high {raw['high']} ({table.units}). "
            "Swap them or widen the band.",
        )
    elif not low <= target <= high:
        raw = table.data
        table.note(
            "target",
            f"{table.label('target')} {raw['target']} is outside the band {raw['low']} to {raw['high']} "
            f"({table.units}). Move the target or the band.",
        )
    return Band(name, target, low, high, table.text("gauge", None))


def _adjuster(name: str, table: Table, joint: Joint, readings: Sequence[str]) -> Adjuster:
    typed = table.flag("typed", joint.kind == "inlay" and name == "diameter")
    adjuster = Adjuster(
        name=name,
        least_step_mm=table.length("least_step", 0.0, least=0.0),
        backlash_mm=table.length("backlash", 0.0, least=0.0),
        landing=table.choice("landing", "renews" if typed else "adds", ("adds", "renews")),
        low_mm=table.length("low", -math.inf, infinite=True),
        high_mm=table.length("high", math.inf, infinite=True),
        thread=table.text("thread", None),
        has_scale=table.flag("scale", True),
        counts_other_way=table.choice("counts", "as expected", ("as expected", "other way")) == "other way",
        typed=typed,
        moves=_slopes(table, joint, readings),
        approach=table.choice("approach", None, ("rising", "falling")),
        shims_mm=_shims(table),
        lever=_lever(table),
        mark_mm=table.length("mark", 0.0, least=0.0),
    )
    if not adjuster.low_mm < adjuster.high_mm:
        table.note("low", f"{table.label('low')} is not below high. Swap them or widen the range.")
    return adjuster


def _shims(table: Table) -> tuple[float, ...]:
    """Return what the shims in the drawer measure, mm."""
    found = table.lengths("shims")
    if any(mm <= 0.0 for mm in found):
        table.note("shims", f"{table.label('shims')}: a shim of 0 or less will not do. Leave it out.")
    if len(found) > MOST_SHIMS:
        label = table.label("shims")
        table.note("shims", f"{label}: {len(found)} shims are too many. Name {MOST_SHIMS} or fewer.")
        return ()
    return found


def _lever(table: Table) -> float | str | None:
    """Return a lever: a number, "learn", or two arms as "250/400" (pivot to cutter, pivot to shim)."""
    value = table.get("lever")
    if value is None or value == LEARN:
        return LEARN if value == LEARN else None
    arms = str(value).split("/") if isinstance(value, str) else [value]
    try:
        numbers = [float(arm) for arm in arms if not isinstance(arm, bool)]
        ratio = numbers[0] / numbers[1] if len(numbers) == 2 else numbers[0]
    except (ValueError, ZeroDivisionError, IndexError, TypeError):
        ratio = math.nan
    if not 0.0 < ratio < math.inf or len(arms) > 2:
        table.note(
            "lever",
            f'{table.label("lever")} {shown(value)} will not do. Write the two arms as "250/400" '
            f'(pivot to cutter, pivot to shim), their ratio 0.625, or "{LEARN}".',
        )
        return None
    return ratio


def _slopes(table: Table, joint: Joint, readings: Sequence[str]) -> Mapping[str, float | str]:
    moves = table.table("moves")
    slopes: dict[str, float | str] = {}
    for reading in readings:
        value = moves.get(reading)
        if value is None:
            continue
        if value == LEARN and joint.kind == "plain":
            slopes[reading] = LEARN
        elif is_number(value) and math.isfinite(value):
            slopes[reading] = float(value)
        else:
            hint = f', or "{LEARN}"' if joint.kind == "plain" else ""
            moves.note(
                reading,
                f"{moves.label(reading)} {shown(value)} is not a slope. "
                f"Write how far the reading goes when the adjuster moves by 1, such as -1.0{hint}.",
            )
    moves.finish()
    if joint.kind == "plain" and not moves.data:
        name = readings[0] if readings else "width"
        table.note(
            "moves",
            f"{table.label('moves')} is missing; a plain joint needs it. Write moves = {{ {name} = 1.0 }}.",
        )
    return MappingProxyType(slopes)


def _abrasive(table: Table) -> Mapping[str, float]:
    """Return how fast each stock wears an edge, against a hardwood like cherry."""
    found = {stock: table.number(stock, 1.0) for stock in table.data}
    for stock, factor in found.items():
        if factor <= 0.0:
            table.note(stock, f"{table.label(stock)} is not above 0. Write 1 for a hardwood like cherry.")
    table.finish()
    return MappingProxyType(found)


def _cutter(table: Table) -> Cutter:
    cutter = Cutter(
        name=table.text("name", "cutter"),
        nominal_mm=table.length("nominal", None, least=0.0),
        metres_since_sharp_m=table.number("metres_since_sharp", 0.0),
        measured_mm=table.length("measured", None, least=0.0),
    )
    if cutter.nominal_mm == 0.0:
        table.note("nominal", "cutter.nominal is 0. Write the cutter's width.")
    table.finish()
    return cutter

"""A setup as JSON text, and back.

The text has the fields of `calib.shop` by name. Infinities are the strings "inf" and "-inf". A
field that is missing has its default, so that older text stays readable when a field is added.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from types import MappingProxyType
from typing import Any

from calib.shop import (
    Adjuster,
    Band,
    Cutter,
    FeelScale,
    Joint,
    Knowledge,
    ReadingStakes,
    Scales,
    Setup,
    Stakes,
)


def to_json(setup: Setup) -> str:
    """Return a setup as JSON text; equal setups give equal text."""
    return json.dumps(_plain(setup), sort_keys=True, allow_nan=False, ensure_ascii=False)


def from_json(text: str) -> Setup:
    """Return the setup that a JSON text holds.

    >>> setup = Setup("corners", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),), (Adjuster("key"),))
    >>> from_json(to_json(setup)) == setup
    True
    """
    data = json.loads(text, parse_float=float)
    return Setup(
        **_known(Setup, data)
        | {
            "joint": Joint(**_known(Joint, data["joint"])),
            "bands": tuple(Band(**_known(Band, band)) for band in data["bands"]),
            "adjusters": tuple(_adjuster(adjuster) for adjuster in data["adjusters"]),
            "cutter": Cutter(**_known(Cutter, data.get("cutter", {}))),
            "stakes": _stakes(data.get("stakes", {})),
            "knowledge": _knowledge(data.get("knowledge", {})),
            "feel": _feel(data.get("feel", {})),
            "thicknesses_mm": MappingProxyType(dict(data.get("thicknesses_mm", {}))),
            "abrasive": MappingProxyType(dict(data.get("abrasive", {}))),
        }
    )


def _plain(value: Any) -> Any:
    """Return a value as JSON takes it; what is found anew (gauges, pairs: not compared) is left out."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value) if f.compare}
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if isinstance(value, str | bool | int) or value is None:
        return value
    number = float(value)  # also what numpy calls a float
    return number if math.isfinite(number) else str(number)


def _known(kind: Any, data: Mapping[str, Any]) -> dict[str, Any]:
    """Keep the fields that the type has, with infinities as numbers."""
    return {field.name: _number(data[field.name]) for field in fields(kind) if field.name in data}


def _number(value: Any) -> Any:
    return float(value) if value in ("inf", "-inf") else value


def _adjuster(data: Mapping[str, Any]) -> Adjuster:
    moves = MappingProxyType({name: _number(slope) for name, slope in data.get("moves", {}).items()})
    shims = tuple(float(mm) for mm in data.get("shims_mm", ()))
    return Adjuster(**_known(Adjuster, data) | {"moves": moves, "shims_mm": shims})


def _stakes(data: Mapping[str, Any]) -> Stakes:
    parts: dict[str, Any] = _known(Stakes, data)
    readings = {
        name: ReadingStakes(**_known(ReadingStakes, own)) for name, own in data.get("readings", {}).items()
    }
    parts["readings"] = MappingProxyType(readings)
    if "default" in data:
        parts["default"] = ReadingStakes(**_known(ReadingStakes, data["default"]))
    return Stakes(**parts)


def _knowledge(data: Mapping[str, Any]) -> Knowledge:
    own = {name: Scales(**_known(Scales, scales)) for name, scales in data.get("of", {}).items()}
    return Knowledge(**_known(Knowledge, data) | {"of": MappingProxyType(own)})


def _feel(data: Mapping[str, Any]) -> FeelScale:
    words = {word: (float(low), float(high)) for word, (low, high) in data.get("words", {}).items()}
    from_tight = dict(sorted(words.items(), key=lambda item: item[1]))
    return FeelScale(**_known(FeelScale, data) | {"words": MappingProxyType(from_tight)})

"""What a box is planned from as JSON text, and back, at full precision.

Fields go by name; one that is missing has its default, so that older text stays readable.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any

from calib.box.boards import Sizes
from calib.box.closing import Uncertain
from calib.box.numbers import BoxNumbers, CornerNumbers, GivenPanel
from calib.box.panel import Season


def to_json(record: Any) -> str:
    """Return a record (dataclasses, named tuples, plain values) as JSON text; equal ones give equal text."""
    return json.dumps(_plain(record), sort_keys=True, allow_nan=False, ensure_ascii=False)


def numbers_from_json(text: str) -> BoxNumbers:
    """Return the numbers that a JSON text holds; `to_json` of them is the text again."""
    data = json.loads(text)
    return _build(
        BoxNumbers,
        data
        | {
            "sizes": Sizes(**data["sizes"]),
            "season": Season(**data["season"]),
            "corner": _corner(data["corner"]),
            "second": None if data.get("second") is None else _corner(data["second"]),
            "given_panel": None if data.get("given_panel") is None else GivenPanel(**data["given_panel"]),
            **{name: Uncertain(**data[name]) for name in ("depth", "setback", "groove", "panel_thickness")},
        },
    )


def _corner(data: Mapping[str, Any]) -> CornerNumbers:
    some = {name: Uncertain(**data[name]) for name in ("slot", "clearance", "proud")}
    pitch = None if data.get("pitch") is None else Uncertain(**data["pitch"])
    return _build(CornerNumbers, {**data, **some, "pitch": pitch})


def _build(kind: Any, data: Mapping[str, Any]) -> Any:
    """Make a record of the fields that its type has."""
    return kind(**{field.name: data[field.name] for field in fields(kind) if field.name in data})


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return {name: _plain(item) for name, item in value._asdict().items()}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, dict):
        return {str(name): _plain(item) for name, item in value.items()}
    return float(value)  # also what numpy calls a float

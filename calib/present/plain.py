"""Any record as plain numbers, text and lists: what ``--json`` prints where there is no fixed form.

Infinite and unknown numbers become null; lengths keep the unit in their name (``_mm``).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from typing import Any

#: Below a millionth of a micrometre is binary dust.
_DECIMALS = 9


def as_plain(value: Any) -> Any:
    """Return a value made of dict, list, str, int, float, bool and None alone.

    >>> from calib.shop import Interval
    >>> as_plain({"feel": (Interval(float("-inf"), 0.1),)})
    {'feel': [{'low_mm': None, 'high_mm': 0.1}]}
    """
    if value is None or isinstance(value, bool | int | str):
        return value
    if isinstance(value, float):
        return round(value, _DECIMALS) + 0.0 if math.isfinite(value) else None
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: as_plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        return as_plain(value._asdict())
    if isinstance(value, Mapping):
        return {str(key): as_plain(item) for key, item in value.items()}
    if isinstance(value, frozenset | set):
        return sorted(as_plain(item) for item in value)
    if isinstance(value, list | tuple):
        return [as_plain(item) for item in value]
    if isinstance(value, Path):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no plain form")

"""One table of a form, read key by key.

Every method takes what it can and notes what it cannot: a wrong value becomes a `Problem` and the
default is returned, so one pass finds all mistakes. `finish` notes the keys that nobody asked for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from calib.errors import CalibError, near_name
from calib.setupform.lengths import INFINITE, Units, length_from_text, number_mm

D = TypeVar("D")


@dataclass(frozen=True)
class Problem:
    """What is wrong at one key; `path` says where, so that a file can look up the line."""

    path: tuple[str, ...]
    text: str


class Table:
    """A dict of a form with its place, its unit and the list where problems are noted."""

    def __init__(self, data: Any, path: tuple[str, ...], units: Units, problems: list[Problem]) -> None:
        self.path, self.units, self.problems = path, units, problems
        self.asked: list[str] = []
        self.data: Mapping[str, Any] = {}
        self.broken = data is not None and not isinstance(data, Mapping)
        if isinstance(data, Mapping):
            self.data = data
        elif self.broken:
            self.note("", f"{self.label('')} is {shown(data)}; a table is needed here.")

    def label(self, key: str) -> str:
        """Return the key with its place, as the user would look for it."""
        return ".".join((*self.path, key) if key else self.path)

    def note(self, key: str, text: str) -> None:
        """Keep a problem of one key (of the table itself when `key` is empty)."""
        self.problems.append(Problem((*self.path, key) if key else self.path, text))

    def get(self, key: str) -> Any:
        """Return the raw value or None, and remember that the key is known."""
        self.asked.append(key)
        return self.data.get(key)

    def length(self, key: str, default: D, *, least: float = -math.inf, infinite: bool = False) -> float | D:
        """Return a length in mm; it may be infinite only where that is said."""
        value = self.get(key)
        if value is None:
            return default
        mm = self._length_mm(key, value)
        if mm is None:
            return default
        if math.isinf(mm) and not infinite:
            self.note(key, f"{self.label(key)} is infinite. Write a length in {self.units}.")
            return default
        if mm < least:
            self.note(key, f"{self.label(key)} {shown(value)} is below {least:g}. Write {least:g} or more.")
            return default
        return mm

    def _length_mm(self, key: str, value: Any) -> float | None:
        if isinstance(value, str) and value.strip().lower() in INFINITE:
            return INFINITE[value.strip().lower()]
        if is_number(value) and not math.isnan(value):
            return number_mm(value, self.units)
        if not isinstance(value, str):
            self.note(
                key,
                f"{self.label(key)} {shown(value)} is not a length. "
                f'Write a number in {self.units}, or text such as "1/4 in".',
            )
            return None
        try:
            return length_from_text(value, self.units, self.label(key))
        except CalibError as error:
            self.note(key, str(error))
            return None

    def lengths(self, key: str) -> tuple[float, ...]:
        """Return a list of lengths in mm; empty when there is none."""
        value = self.get(key)
        if value is None:
            return ()
        if not isinstance(value, list | tuple):
            self.note(key, f"{self.label(key)} {shown(value)} is not a list. Write it as [0.05, 0.10].")
            return ()
        found = [self._length_mm(key, one) for one in value]
        return tuple(mm for mm in found if mm is not None and math.isfinite(mm))

    def number(self, key: str, default: D, *, least: float = 0.0, below: float = math.inf) -> float | D:
        """Return a number without a length unit (minutes, metres, a probability, a relative sd)."""
        value = self.get(key)
        if value is None:
            return default
        if not is_number(value) or not math.isfinite(value):
            self.note(
                key, f"{self.label(key)} {shown(value)} is not a number. Write it without quotes or unit."
            )
            return default
        if not least <= value < below:
            limit = f"from {least:g} to below {below:g}" if math.isfinite(below) else f"{least:g} or more"
            self.note(key, f"{self.label(key)} {shown(value)} is out of range. Write a number {limit}.")
            return default
        return float(value)

    def whole(self, key: str, default: int, *, least: int = 0) -> int:
        """Return a whole number."""
        value = self.get(key)
        if value is None:
            return default
        if not is_number(value) or not math.isfinite(value) or value != int(value) or value < least:
            self.note(
                key, f"{self.label(key)} {shown(value)} will not do. Write a whole number, {least} or more."
            )
            return default
        return int(value)

    def text(self, key: str, default: D) -> str | D:
        """Return a text that is not empty."""
        value = self.get(key)
        if value is None:
            return default
        if not isinstance(value, str) or not value.strip():
            self.note(key, f'{self.label(key)} {shown(value)} will not do. Write a text in "quotes".')
            return default
        return value

    def choice(self, key: str, default: str | None, known: Sequence[str]) -> Any:
        """Return one of the known words."""
        value = self.get(key)
        if value is None:
            return default
        if value not in known:
            near = near_name(value, known) if isinstance(value, str) else None
            advice = f'Did you mean "{near}"?' if near else f"Write {' or '.join(known)}."
            self.note(key, f"{self.label(key)} {shown(value)} is not known. {advice}")
            return default
        return value

    def flag(self, key: str, default: bool) -> bool:
        """Return true or false."""
        value = self.get(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.note(
                key, f"{self.label(key)} {shown(value)} will not do. Write true or false, without quotes."
            )
            return default
        return value

    def table(self, key: str) -> Table:
        """Return the table under a key; an empty one when there is none."""
        return Table(self.get(key), (*self.path, key), self.units, self.problems)

    def tables(self) -> dict[str, Table]:
        """Return every value of this table as a table, by name."""
        return {name: self.table(name) for name in self.data}

    def require(self, *keys: str) -> bool:
        """Note each key that is missing; return whether all are there."""
        missing = [] if self.broken else [key for key in keys if key not in self.data]
        for key in missing:
            self.note(key, f"{self.label(key)} is missing.")
        return not missing

    def finish(self) -> None:
        """Note the keys that are not known: a mistyped key must not be silently ignored."""
        for key in self.data:
            if key not in self.asked:
                near = near_name(str(key), self.asked)
                known = ", ".join(sorted(set(self.asked)))
                advice = f'Did you mean "{near}"?' if near else f"Known here: {known}."
                self.note(str(key), f"{self.label(str(key))} is not a known key. {advice}")


def is_number(value: Any) -> bool:
    """Return whether a form's value is a number; true and false are not, nor what a float hardly holds."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < 10**300 or value in (math.inf, -math.inf)


def shown(value: Any) -> str:
    """Return a value as the user wrote it, in quotes and on one line."""
    text = str(value).lower() if isinstance(value, bool) else " ".join(str(value).split())
    return f'"{text}"'

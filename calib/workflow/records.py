"""Plain records that several use cases hand out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

MoveKind = Literal["advised", "to", "by", "cut", "mounting"]


@dataclass(frozen=True)
class Moved:
    """One move of one adjuster; ``from_mm`` is None when its position was not known.

    ``kind``: made as advised, to a position, by an amount, told with a cut, or to where a new
    mounting was to start.
    """

    setup: str
    adjuster: str
    from_mm: float | None
    to_mm: float
    kind: MoveKind

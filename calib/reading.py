"""What was read on a cut: a number or an interval, and how good it is."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class Interval:
    """A reading that is only known to lie between two limits (go/no-go, a feeler blade, a word).

    Parameters
    ----------
    low_mm, high_mm : float, mm
        Either may be infinite.
    """

    low_mm: float
    high_mm: float


Reading = float | Interval


@dataclass(frozen=True)
class Worth:
    """How good one reading is, its random part apart from errors that it shares with others.

    Parameters
    ----------
    repeat_sd_mm : float, mm
        Its own: a repeat brings another draw.
    shared : mapping of error name to (slope, sd)
        Errors that other readings share (a gauge's zero, the limit of its jaws): how many mm of this
        reading one mm of the error makes, and the sd of the error, mm. No repeat makes them smaller.
    """

    repeat_sd_mm: float
    shared: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))

    @property
    def shared_sd_mm(self) -> float:
        """The sd of all shared errors together, mm."""
        return math.hypot(0.0, *(slope * sd for slope, sd in self.shared.values()))

    @property
    def u_mm(self) -> float:
        """Standard uncertainty of the reading, mm."""
        return math.hypot(self.repeat_sd_mm, self.shared_sd_mm)

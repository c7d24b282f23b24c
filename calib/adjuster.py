"""What the maker can move: its scale, its screw or shims, and how its moves land. Lengths are mm."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

Landing = Literal["adds", "renews"]

#: The slope is not known and is to be learned from the cuts.
LEARN = "learn"
#: A lever that is to be learned: what it is taken for, and the sd of its relative error. A shim is mostly
#: farther from the pivot than the cutter is (common practice, no source).
LEVER_GUESS, LEVER_SCALE_SD = 0.6, 0.5


@dataclass(frozen=True)
class Adjuster:
    """What the maker can move.

    Parameters
    ----------
    name : str
        key, fence, height, diameter (a typed-in cutter diameter), or the user's own.
    least_step_mm : float, mm
        Smallest move worth the name; 0 = continuous.
    backlash_mm : float, mm
        Lost motion when the direction turns round.
    landing : {"adds", "renews"}
        How the error of a move behaves, see design: it adds to earlier ones (taps, turns,
        shims) or it is drawn anew (stop, block, typed value).
    low_mm, high_mm : float, mm
        Ends of the range that can be reached on the scale.
    thread : str or None
        "M6", "1/4-20"; None when it is not a screw.
    has_scale : bool
        False for a jig without a scale: positions are then counted from the first one.
    counts_other_way : bool
        True when the user said that the scale's numbers fall where geometry expects them to rise.
    typed : bool
        True for a value that is typed in; such a move has no error of its own.
    moves : mapping of reading name to slope (mm per mm) or LEARN
        Overrides geometry; required for plain joints.
    approach : {"rising", "falling"} or None
        The way every move is finished, so that lost motion is always taken up on one side; None: as it came.
    shims_mm : tuple of float, mm
        What the shims in the drawer measure. The setting is then the thickness that is in place, and nothing
        but their sums can be reached.
    lever : float, LEARN or None
        Of a pivoted fence or base: how far the cutter's distance goes when the shim or screw goes by 1.
        LEARN: the cuts are to tell. None: the adjuster moves what it moves.
    mark_mm : float, mm
        One mark of a scale in a unit of its own; 0: the scale is in mm or inches.
    """

    name: str
    least_step_mm: float = 0.0
    backlash_mm: float = 0.0
    landing: Landing = "adds"
    low_mm: float = -math.inf
    high_mm: float = math.inf
    thread: str | None = None
    has_scale: bool = True
    counts_other_way: bool = False
    typed: bool = False
    moves: Mapping[str, float | str] = field(default_factory=lambda: MappingProxyType({}))
    approach: Literal["rising", "falling"] | None = None
    shims_mm: tuple[float, ...] = ()
    lever: float | str | None = None
    mark_mm: float = 0.0

    @property
    def ratio(self) -> float:
        """Return the lever as it is taken before any cut, mm per mm; 1 without one."""
        if self.lever is None:
            return 1.0
        return LEVER_GUESS if isinstance(self.lever, str) else self.lever

    @property
    def tells_distance(self) -> bool:
        """Say whether the scale stands for a distance of the joint (no shims, no lever, no marks)."""
        return self.has_scale and not self.shims_mm and self.lever is None and self.mark_mm == 0.0

    def reaches(self, setting_mm: float) -> bool:
        """Say whether a setting lies inside the range."""
        return self.low_mm <= setting_mm <= self.high_mm

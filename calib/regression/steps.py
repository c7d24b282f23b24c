"""A step: from some cut on the readings stand away from where they stood, by an amount to be learned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

#: sd of a step, in sds of one reading: of the size of the scatter or a few times that.
STEP_SDS = 3.0


@dataclass(frozen=True)
class Step:
    """One way in which the readings may have shifted: the first cut that shows it, and along what.

    Parameters
    ----------
    cut, position : int
        Number of that cut, and its index in the log.
    along : str
        "" where the block has one reading; else the reading, or the adjuster, that shifted.
    effects : mapping of reading to float
        mm of the reading per mm of step.
    reading_sd_mm : float, mm
        Median sd of a reading, in the unit of the step.
    """

    cut: int
    position: int
    along: str
    effects: Mapping[str, float]
    reading_sd_mm: float

    @property
    def name(self) -> str:
        """What the model calls it."""
        return f"step:{self.along}:{self.position}"

    @property
    def prior_sd_mm(self) -> float:
        """Median of the sd of its size before anything is read; the scatter's factor multiplies it."""
        return STEP_SDS * self.reading_sd_mm

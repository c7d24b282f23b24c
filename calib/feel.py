"""Words for a fit: the scale of a hand, and the cuts that teach what it means. Lengths are mm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType


@dataclass(frozen=True)
class FeelPair:
    """A cut that was both felt and measured.

    Parameters
    ----------
    word : str
    value_mm, u_mm : float, mm
        The first reading, and its standard uncertainty.
    by : str or None
        Whose hand; None when only one person logs.
    """

    word: str
    value_mm: float
    u_mm: float
    by: str | None = None


@dataclass(frozen=True)
class FeelScale:
    """Words that stand for an interval of the first reading.

    Parameters
    ----------
    words : mapping of word to (low, high), mm
        Either end may be infinite.
    spread_mm : float, mm
        sd with which hand and day shift the limits of a word.
    pairs : tuple of FeelPair
        Of other setups with the same words; no part of what the setup is.
    people : mapping of person to FeelScale
        Re-fitted scales, by whose hand it is; no part of what the setup is either.
    """

    words: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))
    spread_mm: float = 0.04
    pairs: tuple[FeelPair, ...] = field(default=(), compare=False)
    people: Mapping[str | None, FeelScale] = field(
        default_factory=lambda: MappingProxyType({}), compare=False
    )

    def of(self, person: str | None) -> FeelScale:
        """Return the scale of one person's hand: the re-fitted one where there is one."""
        return self.people.get(person, self)

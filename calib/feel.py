"""Words for a fit: the scale of a hand, and the cuts that teach what it means. Lengths are mm.

A hand may also say that a fit lies between two words that are side by side, as in palm/hand. What lies
between reaches from their common limit some way into each word, and each word is narrower by that:

    way into a word of width g = r w g / (g + 2 r w)

with w the spread of the hand and r = `BETWEEN_SHARE`: r w into a wide word, never half of a narrow one. For
a hand that never says so the words meet at their limits.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

BETWEEN = "/"
#: How far what lies between two words reaches, in spreads of the hand (common practice, no source).
BETWEEN_SHARE = 0.5


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
    finer : bool
        The hand says, where it is so, that a fit lies between two words; nor is this.
    """

    words: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))
    spread_mm: float = 0.04
    pairs: tuple[FeelPair, ...] = field(default=(), compare=False)
    people: Mapping[str | None, FeelScale] = field(
        default_factory=lambda: MappingProxyType({}), compare=False
    )
    finer: bool = field(default=False, compare=False)

    def of(self, person: str | None) -> FeelScale:
        """Return the scale of one person's hand: the re-fitted one where there is one."""
        return self.people.get(person, self)

    def knows(self, said: str) -> bool:
        """Say whether this is one of the words, or lies between two that are side by side.

        >>> scale = FeelScale({"tight": (-math.inf, 0.0), "snug": (0.0, 0.1), "loose": (0.1, math.inf)})
        >>> scale.knows("snug"), scale.knows("snug/tight"), scale.knows("tight/loose")
        (True, True, False)
        """
        return said in self.words or self._sides(said) is not None

    def limits_of(self, said: str) -> tuple[float, float]:
        """Return the interval (low, high) that a word, or what lies between two, stands for, mm.

        Raises
        ------
        KeyError
            When it is neither.

        >>> scale = FeelScale({"tight": (-math.inf, 0.0), "loose": (0.0, math.inf)}, 0.04, finer=True)
        >>> scale.limits_of("tight/loose"), scale.limits_of("loose")
        ((-0.02, 0.02), (0.02, inf))
        """
        if said in self.words:
            low, high = self.words[said]
            way = self._way_into(said) if self.finer else 0.0
            return low + way * self._met(low, 1), high - way * self._met(high, 0)
        sides = self._sides(said)
        if sides is None:
            raise KeyError(said)
        below, above = sides
        return self.words[below][1] - self._way_into(below), self.words[above][0] + self._way_into(above)

    def all_said(self) -> tuple[str, ...]:
        """Return all that the hand may say: the words and, if it is a finer one, what lies between."""
        order = sorted(self.words, key=lambda word: self.words[word])
        between = [f"{a}{BETWEEN}{b}" for a, b in itertools.pairwise(order)] if self.finer else []
        return (*order, *(said for said in between if self._sides(said) is not None))

    def _sides(self, said: str) -> tuple[str, str] | None:
        """Return the two words, tighter first, that something said lies between."""
        for at in (i for i, sign in enumerate(said) if sign == BETWEEN):
            one, other = said[:at].strip(), said[at + 1 :].strip()
            if one in self.words and other in self.words:
                below, above = sorted((one, other), key=lambda word: self.words[word])
                if math.isclose(self.words[below][1], self.words[above][0], abs_tol=1e-9):
                    return below, above
        return None

    def _way_into(self, word: str) -> float:
        """How far what lies between reaches into a word, mm."""
        low, high = self.words[word]
        return float(way_into(high - low, BETWEEN_SHARE * self.spread_mm))

    def _met(self, limit: float, end: int) -> float:
        """1 where another word begins (end 0) or ends (end 1) at a limit, else 0."""
        return float(any(abs(ends[end] - limit) < 1e-9 for ends in self.words.values()))


def way_into(width_mm: Any, reach_mm: Any) -> Any:
    """Return how far what lies between reaches into a word of a width (may be infinite), mm; or arrays.

    >>> way_into(math.inf, 0.02), way_into(0.04, 0.02)
    (0.02, 0.01)
    """
    return reach_mm / (1.0 + 2.0 * reach_mm / width_mm)


def not_side_by_side(scale: FeelScale, said: str) -> str:
    """Say why what was said to lie between two words does not."""
    order = sorted(scale.words, key=lambda word: scale.words[word])
    near = ", ".join(f"{a}{BETWEEN}{b}" for a, b in itertools.pairwise(order))
    return f'feel "{said}" does not lie between two words that are side by side: {near or "there are none"}.'

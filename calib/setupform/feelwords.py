"""Words for a fit that a setup starts with; each can be changed in the log's [feel] table.

Common practice in the trade, no source: a word is worth about 0.04 mm either way and makers differ,
so a word is an interval and never a point. A setup whose first reading is not the fit itself
(proud, setback, depth) starts without words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from calib.errors import CalibError

Words = Mapping[str, tuple[float, float]]

#: Dry finger joint in hardwood, 5 to 8 fingers of 6 to 10 mm: clearance of a finger, mm.
FINGER_WORDS: Words = MappingProxyType(
    {
        "nostart": (-math.inf, -0.10),
        "mallet": (-0.10, -0.03),
        "palm": (-0.03, 0.03),
        "hand": (0.03, 0.10),
        "slides": (0.10, 0.20),
        "rattles": (0.20, math.inf),
    }
)

#: Insert in its pocket: gap over both sides, mm.
INLAY_WORDS: Words = MappingProxyType(
    {
        "wontgo": (-math.inf, -0.05),
        "presses": (-0.05, 0.05),
        "drops": (0.05, 0.25),
        "loose": (0.25, math.inf),
    }
)

_NONE: Words = MappingProxyType({})


def default_words(kind: str, first_reading: str) -> Words:
    """Return the words that a setup of this kind starts with, and their limits in mm.

    >>> default_words("finger", "clearance")["mallet"]
    (-0.1, -0.03)
    >>> dict(default_words("groove", "setback"))
    {}
    """
    if kind == "finger" and first_reading in ("clearance", "play"):
        return FINGER_WORDS
    if kind == "inlay" and first_reading == "gap":
        return INLAY_WORDS
    return _NONE


def with_word(words: Words, word: str, low_mm: float, high_mm: float) -> Words:
    """Return the words with one added, or with the limits of one moved; its neighbours give way.

    Parameters
    ----------
    word : str
    low_mm, high_mm : float, mm
        Where it begins and ends; infinite for the tightest and the loosest word.

    Raises
    ------
    CalibError
        When nothing would be left of another word, or another word would fall in two.

    Examples
    --------
    >>> with_word({"tight": (-math.inf, 0.0), "loose": (0.0, math.inf)}, "snug", 0.0, 0.05)["loose"]
    (0.05, inf)
    """
    if not low_mm < high_mm:
        raise CalibError(f"{word}: {low_mm:g} to {high_mm:g} mm is no interval. Write the lower end first.")
    others = {name: limits for name, limits in words.items() if name != word}
    if word in words:  # what it leaves goes to its neighbours
        low, high = words[word]
        others = {
            name: (high_mm if a == high else a, low_mm if b == low else b) for name, (a, b) in others.items()
        }
    kept = {}
    for name, limits in others.items():
        found = _beside(limits, low_mm, high_mm)
        low, high = words[name]
        if found is None:
            raise CalibError(
                f'{word}: nothing would be left of "{name}" ({low:g} to {high:g} mm), or two parts. '
                "Begin or end where it does."
            )
        kept[name] = found
    return MappingProxyType(dict(sorted({**kept, word: (low_mm, high_mm)}.items(), key=lambda item: item[1])))


def _beside(limits: tuple[float, float], low_mm: float, high_mm: float) -> tuple[float, float] | None:
    """Return what is left of another word beside a new one; None when nothing is, or two parts."""
    low, high = limits
    if not low < high or (low >= low_mm and high <= high_mm) or (low < low_mm and high > high_mm):
        return None
    if high <= low_mm or low >= high_mm:
        return limits
    return (low, low_mm) if low < low_mm else (high_mm, high)

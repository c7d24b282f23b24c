"""Words for a fit that a setup starts with; each can be changed in the log's [feel] table.

Common practice in the trade, no source: a word is worth about 0.04 mm either way and makers differ,
so a word is an interval and never a point. A setup whose first reading is not the fit itself
(proud, setback, depth) starts without words.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

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

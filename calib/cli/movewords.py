"""The words of `calib moved`: as advised, to a position, or by an amount in a direction.

calib moved corners                      as advised
calib moved corners key=6.00             to a position
calib moved corners key by 0.14 toward   by an amount; a sign (+0.14, -0.14) does too
calib moved corners key by 1/8 turn away on an adjuster whose thread is known
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from calib.cli.words import setting_mm, split_setup
from calib.errors import CalibError, UsageError
from calib.geometry import pitch_mm
from calib.present.directions import direction_sign, is_direction
from calib.shop import Adjuster

_FILLERS = ("the", "cutter", "from", "to", "it")
_TURNS = re.compile(r"(?P<sign>[+-]?)(?P<number>\d+\s+\d+/\d+|\d+/\d+|\d*\.?\d+)\s*(?P<of>turns?|degrees?|°)")


@dataclass(frozen=True)
class MoveWords:
    """What the words of a move are about, before any number is read.

    Parameters
    ----------
    kind : {"advised", "to", "by"}
    setup : str or None
    rest : tuple of str
        "to": the name=value words; "by": the amount and the direction.
    adjuster : str or None
        "by" only.
    """

    kind: Literal["advised", "to", "by"]
    setup: str | None
    rest: tuple[str, ...] = ()
    adjuster: str | None = None


def sort_words(words: Sequence[str]) -> MoveWords:
    """Tell the three forms apart.

    >>> sort_words(["corners", "key", "by", "0.14", "toward"]).adjuster
    'key'
    """
    lowered = [word.lower() for word in words]
    if "by" in lowered and not any("=" in word for word in words):
        at = lowered.index("by")
        before, after = words[:at], words[at + 1 :]
        if not 1 <= len(before) <= 2 or not after:
            raise UsageError("a move by an amount is written: calib moved SETUP key by 0.14 toward")
        return MoveWords("by", before[0] if len(before) == 2 else None, tuple(after), before[-1])
    setup, rest = split_setup(words)
    odd = next((word for word in rest if "=" not in word), None)
    if odd is not None:
        raise UsageError(
            f'moved: "{odd}" is not understood. Write: calib moved SETUP key=6.00, '
            "or: calib moved SETUP key by 0.14 toward"
        )
    return MoveWords("to" if rest else "advised", setup, tuple(rest))


def amount_mm(adjuster: Adjuster, words: Sequence[str], units: Literal["mm", "in"]) -> float:
    """Read an amount and its direction, as a change of the adjuster's scale in mm.

    Raises `UsageError` when the direction is missing or is said twice.

    >>> amount_mm(Adjuster("key"), ["0.14", "toward", "the", "cutter"], "mm")
    -0.14
    """
    kept = [word for word in words if word.lower() not in _FILLERS]
    direction = kept.pop() if len(kept) > 1 and is_direction(kept[-1]) else None
    text = " ".join(kept)
    size = _turned_mm(adjuster, text)
    if size is None:
        size = setting_mm(adjuster, text, units, f"{adjuster.name} by")
    signed = text[:1] in "+-−" and text != ""
    if size == 0.0:
        raise UsageError(f"{adjuster.name} by 0 is no move. Leave it out, or say how far.")
    if direction is None and not signed:
        raise UsageError(
            f"{adjuster.name} by {text}: which way? Say toward, away, up or down, or give a sign (+ or -)."
        )
    if direction is not None and signed:
        raise UsageError(f"{adjuster.name} by {text} {direction}: give a sign or a direction, not both.")
    return size if direction is None else direction_sign(adjuster, direction) * size


def _turned_mm(adjuster: Adjuster, text: str) -> float | None:
    """Read "1/8 turn" or "45 degrees" of the adjuster's own screw, mm; None when it is not said so."""
    match = _TURNS.fullmatch(text.strip().lower())
    if match is None:
        return None
    if adjuster.thread is None:
        raise CalibError(
            f"{adjuster.name} has no thread in this setup, so a turn has no length. "
            f"Say how far, or first: calib setup change SETUP {adjuster.name}.thread=M6"
        )
    number = sum(Fraction(part) for part in match["number"].split())
    turns = float(number) if match["of"].startswith("turn") else float(number) / 360.0
    return (-1.0 if match["sign"] == "-" else 1.0) * turns * pitch_mm(adjuster.thread)

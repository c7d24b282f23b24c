"""Words for the direction of a move, as they are typed.

The signs, which adjuster goes which way and the words of the advice are those of
`calib.decision.hand`. A scale whose numbers run the other way turns the sign round.
"""

from __future__ import annotations

from calib.decision.hand import DIRECTIONS
from calib.errors import UsageError, near_name
from calib.shop import Adjuster

_WORDS = ("toward", "away", "down", "up", "less", "more")
_SAME_WORD = {
    "towards": "toward",
    "lower": "down",
    "higher": "up",
    "raise": "up",
    "closer": "toward",
    "farther": "away",
    "further": "away",
}
#: Words for the number on a scale (falling, rising), for an adjuster that has none of its own.
_ON_SCALE = ("less", "more")


def _words(adjuster: str) -> tuple[str, str]:
    """Return the words that are typed for a falling and a rising setting."""
    falling, rising = DIRECTIONS.get(adjuster, _ON_SCALE)
    return falling.split()[0], rising.split()[0]


def is_direction(word: str) -> bool:
    """Say whether a word names a direction."""
    lowered = word.lower()
    return _SAME_WORD.get(lowered, lowered) in _WORDS


def direction_sign(adjuster: Adjuster, word: str) -> int:
    """Return the sign that a direction word gives to a change of an adjuster's scale.

    Raises `UsageError` when the word does not say which way this adjuster goes.

    >>> direction_sign(Adjuster("key"), "toward"), direction_sign(Adjuster("height"), "up")
    (-1, 1)
    """
    meant = _SAME_WORD.get(word.lower(), word.lower())
    if meant in _ON_SCALE:
        return 1 if meant == "more" else -1
    words = _words(adjuster.name)
    if words == _ON_SCALE and meant in ("down", "up"):
        return 1 if meant == "up" else -1  # "up the scale", as the advice says it
    if meant not in words:
        choice = words if words == _ON_SCALE else (*words, *_ON_SCALE)
        near = near_name(word, choice)
        raise UsageError(
            f'{adjuster.name}: "{word}" does not say which way. '
            + (f"Did you mean {near}?" if near else f"Say one of: {', '.join(choice)}.")
        )
    sign = 1 if meant == words[1] else -1
    return -sign if adjuster.counts_other_way else sign

"""A move in the terms of the hand that makes it.

Signs: a positive change is one of rising setting. Key and fence settings are distances from the cutter,
a height is that of the cutter above the base.
"""

from __future__ import annotations

from calib.geometry.thread import pitch_mm
from calib.shop import Adjuster, Setup
from calib.units import format_length

#: adjuster name -> (falling setting, rising setting)
_WORDS = {
    "key": ("toward the cutter", "away from the cutter"),
    "fence": ("toward the cutter", "away from the cutter"),
    "height": ("down", "up"),
    "depth": ("down", "up"),
}
_EIGHTHS = {
    1: "an eighth",
    2: "a quarter",
    3: "three eighths",
    4: "half",
    5: "five eighths",
    6: "three quarters",
    7: "seven eighths",
}


def direction_word(setup: Setup, adjuster: str, change_mm: float) -> str:
    """Return which way a change of setting moves an adjuster, in trade words."""
    found = setup.adjuster(adjuster)
    words = _WORDS.get(adjuster)
    if words is None:
        return "up the scale" if change_mm > 0 else "down the scale"
    return words[int((change_mm > 0) != found.counts_other_way)]


def how_to_move(
    setup: Setup, adjuster: str, from_mm: float, to_mm: float, last_change_mm: float | None = None
) -> str:
    """Return how to make a move: direction, amount, where it lands, turns, and lost motion.

    Parameters
    ----------
    from_mm, to_mm : float, mm
        Settings before and after.
    last_change_mm : float, mm, or None
        The move before; its direction is the one to finish in. None: toward larger settings.

    Examples
    --------
    >>> from calib.shop import Band, Joint
    >>> key = Adjuster("key", thread="M6")
    >>> setup = Setup("corners", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),), (key,))
    >>> how_to_move(setup, "key", 6.14, 6.00)
    'toward the cutter by 0.14 mm, to 6.00 mm on its scale: an eighth of a turn (50°) of its M6 screw'
    """
    found = setup.adjuster(adjuster)
    change = to_mm - from_mm
    if found.typed:
        return f"type {format_length(to_mm, setup.units)} as the cutter's diameter"
    text = f"{direction_word(setup, adjuster, change)} by {format_length(abs(change), setup.units)}"
    if found.has_scale:
        text += f", to {format_length(to_mm, setup.units)} on its scale"
    if found.thread is not None:
        text += f": {turns(abs(change), found.thread)} of its {found.thread} screw"
    if found.landing == "renews":
        text += "; set it against its stop or block"
    return text + _lost_motion(setup, found, change, last_change_mm)


def turns(distance_mm: float, thread: str) -> str:
    """Return a distance as turns of a thread, in eighths where one is near, and in degrees.

    >>> turns(0.14, "M6")
    'an eighth of a turn (50°)'
    """
    turn = distance_mm / pitch_mm(thread)
    degrees = f"{360.0 * turn:.0f}°"
    whole, eighth = divmod(round(8.0 * turn), 8)
    if abs(8.0 * turn - round(8.0 * turn)) > 0.25 or (whole, eighth) == (0, 0):
        return f"{turn:.2f} of a turn ({degrees})"
    if whole == 0:
        return f"{_EIGHTHS[eighth]} of a turn ({degrees})"
    turns_word = "1 turn" if whole == 1 and not eighth else f"{whole} turns"
    part = f" and {_EIGHTHS[eighth]}" if eighth else ""
    return f"{turns_word}{part} ({degrees})"


def _lost_motion(setup: Setup, adjuster: Adjuster, change_mm: float, last_change_mm: float | None) -> str:
    """Tell how to take out the backlash: every move ends in the direction of the last approach."""
    if adjuster.backlash_mm <= 0.0:
        return ""
    onward = 1.0 if last_change_mm is None or last_change_mm > 0 else -1.0
    if change_mm * onward > 0:
        return ""
    past = format_length(adjuster.backlash_mm + abs(change_mm), setup.units)
    return (
        f"; against its lost motion go back by more than {past} on the dial, then come up again to the mark, "
        "and lock it"
    )

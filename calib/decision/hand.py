"""A move in the terms of the hand that makes it.

The text carries on after "Move the key ...": which way and how far, where that is on its scale, how much of
a turn, and how to take up lost motion. A typed value is a sentence of its own: "type 3.05 mm as ...".

Signs: a positive change is one of rising setting. Key and fence settings are distances from the cutter,
a height is that of the cutter above the base; a scale that counts the other way turns these words round.
An adjuster of any other name goes up or down its scale, which no way of counting changes.

Not handled: two screws that have to be turned together.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from calib.decision.shims import change_of_stack
from calib.geometry.thread import turns
from calib.shop import Adjuster, Setup
from calib.units import format_length

#: adjuster name -> where a falling and a rising setting take it, on a scale that counts as expected
DIRECTIONS: dict[str, tuple[str, str]] = {
    "key": ("toward the cutter", "away from the cutter"),
    "fence": ("toward the cutter", "away from the cutter"),
    "height": ("down", "up"),
    "depth": ("down", "up"),
}
_EIGHTHS = ("", "an eighth", "a quarter", "three eighths", "half", "five eighths", "three quarters",
            "seven eighths")  # fmt: skip
#: How far from an eighth a turn may be and still be called one, in eighths; a screwdriver is no finer.
_NEAR_EIGHTH = 0.25
_SAME_MM = 1e-9


def direction_word(setup: Setup, adjuster: str, change_mm: float) -> str:
    """Return which way a change of setting moves an adjuster, in trade words.

    Parameters
    ----------
    change_mm : float, mm
        Of the scale; positive = the number rises.

    Raises
    ------
    CalibError
        When the setup has no such adjuster.

    Examples
    --------
    >>> from calib.shop import Band, Joint
    >>> setup = Setup("corners", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),), (Adjuster("key"),))
    >>> direction_word(setup, "key", -0.14)
    'toward the cutter'
    """
    return way_of(adjuster, change_mm, setup.adjuster(adjuster).counts_other_way)


def way_of(adjuster: str, change_mm: float, counts_other_way: bool = False) -> str:
    """Return the same for a bare name, as `direction_word` does for an adjuster of a setup.

    >>> way_of("height", 0.1), way_of("lever", 0.5)
    ('up', 'up the scale')
    """
    words = DIRECTIONS.get(adjuster)
    if words is None:
        return "up the scale" if change_mm > 0 else "down the scale"
    return words[int((change_mm > 0) != counts_other_way)]


def how_to_move(
    setup: Setup,
    adjuster: str,
    from_mm: float,
    to_mm: float,
    last_change_mm: float | None = None,
    *,
    usual_error_mm: float = 0.0,
    lever: float | None = None,
) -> str:
    """Return how to make a move: direction, amount, where it lands, turns or shims, its error, lost motion.

    Parameters
    ----------
    from_mm, to_mm : float, mm
        Settings before and after.
    last_change_mm : float, mm, or None
        Only its sign counts: the way the adjuster last came to its place, which after lost motion was taken
        up is not the sign of the whole move. Every move finishes that way. None: toward larger settings.
    usual_error_mm : float, mm
        Nine such moves in ten land within it; 0: not said.
    lever : float or None, mm per mm
        What the cuts say of a lever; None: what the setup says.

    Returns
    -------
    str
        In the setup's units, without a full stop at the end. A position is named only where there is a scale.

    Raises
    ------
    CalibError
        When the setup has no such adjuster, or its thread is not known.

    Notes
    -----
    With lost motion L and a move of size d against the last approach, the slack is on the right side again
    only after going back by more than d + L and coming forward (common practice, no source).

    Examples
    --------
    >>> from calib.shop import Band, Joint
    >>> key = Adjuster("key", thread="M6")
    >>> setup = Setup("corners", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),), (key,))
    >>> how_to_move(setup, "key", 6.14, 6.00)
    'toward the cutter by 0.14 mm, to 6.00 mm on its scale: an eighth of a turn (50°) of its M6 screw'
    """
    found, change = setup.adjuster(adjuster), to_mm - from_mm
    if found.typed:
        what = "cutter's diameter" if adjuster == "diameter" or setup.joint.kind == "inlay" else adjuster
        return f"type {_length(to_mm, setup)} as the {what}"
    if abs(change) < _SAME_MM:
        text = "to the same place again"
        text += f", {_length(to_mm, setup)} on its scale" if found.has_scale else ""
    else:
        text = _way(setup, found, from_mm, to_mm, lever)
    if found.landing == "renews":
        text += "; set it against its stop or block"
    if usual_error_mm > 0.0:
        text += f"; nine such moves in ten land within {_length(_upward(usual_error_mm), setup)}"
    return text + _lost_motion(setup, found, change, to_mm, last_change_mm)


def turn_words(distance_mm: float, thread: str) -> str:
    """Return a distance as turns of a thread: in eighths where one is near, and in degrees.

    Parameters
    ----------
    distance_mm : float, mm
        Not below 0.

    Examples
    --------
    >>> turn_words(0.14, "M6"), turn_words(0.02, "M6"), turn_words(1.63, "M6")
    ('an eighth of a turn (50°)', '7°', '1 turn and five eighths (587°)')
    """
    turned = turns(distance_mm, thread)
    degrees = f"{360.0 * turned:.0f}°"
    eighths = round(8.0 * turned)
    if eighths == 0:
        return degrees
    if abs(8.0 * turned - eighths) > _NEAR_EIGHTH:
        return f"{turned:.2f} {'of a turn' if turned < 1.0 else 'turns'} ({degrees})"
    whole, rest = divmod(eighths, 8)
    if whole == 0:
        return f"{'half a turn' if rest == 4 else f'{_EIGHTHS[rest]} of a turn'} ({degrees})"
    part = f" and {'a half' if rest == 4 else _EIGHTHS[rest]}" if rest else ""
    return f"{whole} {'turn' if whole == 1 else 'turns'}{part} ({degrees})"


def _way(setup: Setup, adjuster: Adjuster, from_mm: float, to_mm: float, lever: float | None) -> str:
    """Say which way, how far, where to, and which shims or how much of a turn."""
    change_mm = to_mm - from_mm
    text = f"{direction_word(setup, adjuster.name, change_mm)} by {_length(abs(change_mm), setup)}"
    if adjuster.lever is not None:
        ratio = adjuster.ratio if lever is None else lever
        text += f" of shim or screw, about {_length(_rounded(abs(ratio * change_mm)), setup)} at the cutter"
    if adjuster.shims_mm:
        return text + _shims(setup, adjuster, from_mm, to_mm)
    if adjuster.mark_mm > 0.0:
        text += f", to {_marks(to_mm, adjuster)} on its scale"
    elif adjuster.has_scale:
        text += f", to {_length(to_mm, setup)} on its scale"
    if adjuster.thread is not None:
        text += f": {turn_words(abs(change_mm), adjuster.thread)} of its {adjuster.thread} screw"
    return text


def _shims(setup: Setup, adjuster: Adjuster, from_mm: float, to_mm: float) -> str:
    """Say which shims to put in and take out, and what is in then."""
    stack, put_in, take_out = change_of_stack(adjuster.shims_mm, from_mm, to_mm)
    if not stack and to_mm > _SAME_MM:
        return f", to {_length(to_mm, setup)} of shims"
    parts = [
        f"{verb} {_listed(shims, setup)}"
        for verb, shims in (("take out", take_out), ("put in", put_in))
        if shims
    ]
    then = f"{_listed(stack, setup)}, " if len(stack) > 1 else ""
    whole = f"{then}{_length(to_mm, setup)} in all" if stack else "none is in"
    return f": {' and '.join(parts)}, so that {whole}" if parts else f": so that {whole}"


def _listed(shims: Sequence[float], setup: Setup) -> str:
    """Name shims by what they measure, thickest first."""
    named = [_length(shim, setup) for shim in shims]
    return " and ".join([*([", ".join(named[:-1])] if len(named) > 1 else []), named[-1]])


def _marks(setting_mm: float, adjuster: Adjuster) -> str:
    """Write a setting as marks of a scale in a unit of its own."""
    marks = f"{setting_mm / adjuster.mark_mm:.2f}".rstrip("0").rstrip(".")
    return f"mark {marks}"


def _rounded(mm: float) -> float:
    """Round a length that is only known roughly: two decimals, three below a tenth of a tenth."""
    return round(mm, 2) if mm >= 0.1 else round(mm, 3)


def _upward(mm: float) -> float:
    """Round an error up: hundredths of a mm, thousandths below two of them."""
    step = 0.01 if mm > 0.02 else 0.001
    return step * math.ceil(mm / step - 1e-6)


def _lost_motion(
    setup: Setup, adjuster: Adjuster, change_mm: float, to_mm: float, last_change_mm: float | None
) -> str:
    """Say how to take up the backlash, when the move goes against the last approach."""
    forward = -1.0 if last_change_mm is not None and last_change_mm < 0 else 1.0
    loose = adjuster.backlash_mm > 0.0 and not adjuster.shims_mm
    if not loose or change_mm * forward > 0 or abs(change_mm) < _SAME_MM:
        return ""
    past_mm = adjuster.backlash_mm + abs(change_mm)
    turned = f" ({360.0 * turns(past_mm, adjuster.thread):.0f}°)" if adjuster.thread is not None else ""
    back = direction_word(setup, adjuster.name, change_mm)
    at = _marks(to_mm, adjuster) if adjuster.mark_mm > 0.0 else _length(to_mm, setup)
    end = (
        f"forward to {at}"
        if adjuster.has_scale
        else f"forward until it stands {_length(abs(change_mm), setup)} short of where it started"
    )
    return (
        f". Against lost motion make it in two goes: wind back, {back}, by more than "
        f"{_length(past_mm, setup)} on the dial{turned}, then {end}; lock it"
    )


def _length(mm: float, setup: Setup) -> str:
    """Write a length as it is logged: a third decimal of mm where it says something."""
    if setup.units == "in":
        return format_length(mm, "in")
    return format_length(mm, "mm", decimals=2 if f"{mm:.3f}".endswith("0") else 3)

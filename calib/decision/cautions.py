"""The cautions that stand beside every advised move or cut: short, and always deferring.

Common practice, no source. No speeds, feeds or limits are given: those that apply stand in the machine's
manual, on the cutter and in the rules of the place.
"""

from __future__ import annotations

from collections.abc import Iterable

from calib.shop import JointKind, Setup

_ALWAYS_FIRST = (
    "Switch off and unplug before touching cutter, key, fence or height; take the wrench off before power "
    "goes back on. Measure with the machine isolated.",
)
_ROUTER_TABLE = (
    "Feed against the cutter's rotation, never between fence and cutter; no climb cuts by hand. Push blocks, "
    "hands well clear, no small offcuts.",
    "A test cut is a cut: same guards, same rules.",
)
_BY_KIND: dict[JointKind, tuple[str, ...]] = {
    "finger": (
        *_ROUTER_TABLE,
        "The cutter comes out through the back of the jig: guard the exit, hands never behind it. "
        "Tall boards need a backer and a clamp.",
        "Never raise the cutter past the mark for least insertion of its shank.",
    ),
    "groove": (
        *_ROUTER_TABLE,
        "Never raise the cutter past the mark for least insertion of its shank.",
    ),
    "inlay": (
        "A piece cut free needs a tab, tape or a screw before the last pass. Know the stop button; hands out "
        "while the spindle turns.",
        "A test cut is a cut: same guards, same rules.",
    ),
    "plain": _ROUTER_TABLE,
}
_ALWAYS_LAST = (
    "Eye and ear protection and dust extraction, always: hardwood dust and noise have legal limits; check "
    "those that apply where you are.",
    "This program knows only your measurements. The machine's manual, the cutter's marked maximum speed and "
    "local rules come first; it never tells you that a setting is safe.",
)


def cautions_for(setup: Setup) -> tuple[str, ...]:
    """Return the cautions for a setup's kind of joint; the last line defers to manual and local rules."""
    return cautions_for_kinds((setup.joint.kind,))


def cautions_for_kinds(kinds: Iterable[JointKind]) -> tuple[str, ...]:
    """Return the cautions for a piece that takes several kinds of joint, each line once."""
    own = [line for kind in kinds for line in _BY_KIND[kind]]
    return tuple(dict.fromkeys((*_ALWAYS_FIRST, *own, *_ALWAYS_LAST)))

"""Every step of the whole setup, weighed: its blocks' choices side by side, cheapest first.

Readings that no adjuster links are planned each on their own and share the test cuts: each pays its
share of it (`shares`); the minutes add up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from calib.decision.advice import Step
from calib.decision.choice import Choice, Weighed
from calib.decision.sensing import AGAIN_SHARE
from calib.decision.shares import shares_of
from calib.decision.weigh import BlockScale
from calib.regression.prospect import Prospect
from calib.shop import Setup

#: Share of its minutes by which cutting good stock must win over a test: it cannot be taken back.
_SPOILS_FOR_GOOD = 0.01

#: Minutes that putting a move off must save.
_NOT_WORTH_WAITING_MIN = 0.15


@dataclass(frozen=True)
class Option:
    """One step of the whole setup: a choice for every block.

    Parameters
    ----------
    minutes, tests : float
        Expected from now on, this step included.
    because : tuple of str
        Reasons of its own.
    times : int
        How often its test cut is worth measuring.
    """

    step: Step
    minutes: float
    tests: float
    choices: tuple[Choice, ...]
    because: tuple[str, ...] = ()
    times: int = 1


def options_of(
    setup: Setup,
    futures: Sequence[Prospect],
    here: Sequence[Prospect] | None,
    repeats: Mapping[str, int],
) -> tuple[list[Option], float]:
    """Return every step of the whole setup, cheapest first, and the minutes of cutting without moving.

    `here` is what another test would tell without a move, where that differs: where it is only felt.
    """
    measures = here is None
    scales = [BlockScale(setup, future, repeats, setup.pieces_left, measures) for future in futures]
    shares = shares_of(setup.stakes.test_cut_min, scales)
    weighed = [
        scale.weigh(share * setup.stakes.test_cut_min) for scale, share in zip(scales, shares, strict=True)
    ]
    if here is not None:
        blunt = (BlockScale(setup, future, repeats, setup.pieces_left, measures) for future in here)
        tests = [b.weigh(s * setup.stakes.test_cut_min).test for b, s in zip(blunt, shares, strict=True)]
        weighed = [replace(w, test=test) for w, test in zip(weighed, tests, strict=True)]
    times = max(scale.times for scale in scales)
    along = _hands_on(weighed)
    waits = [_left_for_now(s, w, choice) for s, w, choice in zip(scales, weighed, along, strict=True)]
    options = [
        _option("cut_good", [w.cut_now for w in weighed], shares),
        _option("move_and_cut_good", [w.best_cut() for w in weighed], shares),
        _option("test_again", [w.test for w in weighed], shares, times),
        replace(_option("move_and_test", along, shares, times), because=tuple(filter(None, waits))),
    ]
    if repeats:
        again = _option("measure_again", [w.again for w in weighed], shares)
        options.append(replace(again, minutes=again.minutes + AGAIN_SHARE * setup.stakes.test_cut_min))
    kept = [o for o in options if o.step not in ("move_and_cut_good", "move_and_test") or _has_moves(o)]
    cut_now = kept[0].minutes
    return sorted(kept, key=lambda o: o.minutes + _must_win_by(o)), cut_now


def _hands_on(weighed: Sequence[Weighed]) -> list[Choice]:
    """Return what each block does before a test: with hands on one adjuster, little is put off at another.

    A move that must come before the good stock anyway is made along, where waiting for one more reading
    would save next to nothing: the next cut then shows the whole joint.
    """
    found = [w.best_test() for w in weighed]
    if not any(choice.moved.any() for choice in found):
        return found
    return [
        w.move_and_test
        if w.move_and_test is not None
        and not choice.moved.any()
        and w.best_cut().moved.any()
        and w.move_and_test.minutes < choice.minutes + _NOT_WORTH_WAITING_MIN
        else choice
        for w, choice in zip(weighed, found, strict=True)
    ]


def _left_for_now(scale: BlockScale, weighed: Weighed, choice: Choice) -> str:
    """Say which adjuster must move before the good stock, and does not yet; "" when none."""
    later = weighed.best_cut()
    if choice.moved.any() or not later.moved.any():
        return ""
    names = [a for a, moved in zip(scale.future.adjusters, later.moved, strict=True) if moved]
    return f"The {' and the '.join(names)} must move too, but not yet: the next reading says better how far."


def _must_win_by(option: Option) -> float:
    """Minutes by which a step must win.

    To be sent back to a cut that was measured is a nuisance; and what is as cheap as cutting good stock,
    but spoils none of it, comes first.
    """
    if option.step == "measure_again":
        return max(0.5, 0.05 * option.minutes)
    return _SPOILS_FOR_GOOD * option.minutes if cuts_good(option) else 0.0


def _option(step: Step, choices: Sequence[Choice], shares: Sequence[float], times: int = 1) -> Option:
    tests = sum(share * c.tests for share, c in zip(shares, choices, strict=True))
    return Option(step, sum(c.minutes for c in choices), tests, tuple(choices), times=times)


def _has_moves(option: Option) -> bool:
    return any(bool(c.moved.any()) for c in option.choices)


def cuts_good(option: Option) -> bool:
    """Say whether a step cuts the good stock."""
    return option.step in ("cut_good", "move_and_cut_good")

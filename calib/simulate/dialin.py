"""One dial-in: a maker with a rule, from the first cut in scrap to the last good piece."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from numpy.random import Generator

from calib.decision.sensing import AGAIN_SHARE
from calib.regression.infer import standing
from calib.shop import Cut, Setup
from calib.simulate.hand import Hand
from calib.simulate.rules import Action, Rule
from calib.simulate.shop import SimulatedShop
from calib.simulate.truth import Truth


@dataclass(frozen=True)
class Outcome:
    """What one dial-in cost.

    Parameters
    ----------
    minutes : float
        Test cuts, moves, measuring again and spoiled pieces, at the setup's stakes.
    tests, moves, measured_again : int
    spoiled : float
        Good pieces outside a band, on average over their scatter.
    cuts : tuple of Cut
        The log that was made.
    good : Cut or None
        The row of the good pieces, the last one measured; None when there were none to cut.
    """

    minutes: float
    tests: int
    moves: int
    measured_again: int
    spoiled: float
    cuts: tuple[Cut, ...]
    good: Cut | None = None


def dial_in(
    setup: Setup,
    truth: Truth,
    rng: Generator,
    rule: Rule,
    most_tests: int = 30,
    *,
    hand: Hand | None = None,
    measures: bool = True,
    start_mm: Mapping[str, float] | None = None,
) -> Outcome:
    """Let a maker with a rule dial a setup in and cut its good pieces.

    Parameters
    ----------
    most_tests : int
        Then the maker's patience ends and the good stock is cut where the machine stands.
    hand : Hand or None
        Who feels every test cut.
    measures : bool
        False: every test cut is only felt.
    start_mm : mapping of adjuster to mm, optional
        Where the scales were set at mounting.

    Notes
    -----
    minutes = tests * test_cut + moves * move + spoiled pieces by their stakes
    (+ half a test cut for each time a cut is measured again).
    """
    shop = SimulatedShop(setup, truth, rng, hand=hand, measures=measures, start_mm=start_mm)
    first = replace(standing(setup), settings_mm=shop.start)
    again = repeats = 0
    while True:
        action = rule(setup, [first, *shop.cuts])
        if action.step in ("cut_good", "move_and_cut_good", "resharpen"):
            break
        if len(shop.cuts) >= most_tests or again >= most_tests:
            action = Action("cut_good", _standing(shop, first))
            break
        if action.step == "measure_again":
            shop.again()
            again += 1
        else:
            shop.cut(action.settings_mm, action.times)
            repeats += action.times - 1 if measures else 0
    shop.move_to(action.settings_mm)
    return _outcome(shop, again + repeats)


def _standing(shop: SimulatedShop, first: Cut) -> dict[str, float]:
    cuts: Sequence[Cut] = shop.cuts or [first]
    return dict(cuts[-1].settings_mm)


def _outcome(shop: SimulatedShop, again: int) -> Outcome:
    setup = shop.setup
    stakes = setup.stakes
    minutes = stakes.test_cut_min * (len(shop.cuts) + AGAIN_SHARE * again) + stakes.move_min * shop.moves
    spoiled = 0.0
    for reading, (above, below) in shop.spoiled(setup.pieces_left).items():
        own = stakes.of(reading)
        minutes += above * own.too_high_min + below * own.too_low_min
        spoiled += above + below
    good = shop.run(setup.pieces_left) if setup.pieces_left else None
    return Outcome(minutes, len(shop.cuts), shop.moves, again, spoiled, tuple(shop.cuts), good)

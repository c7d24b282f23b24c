"""Cuts that were both felt and measured, and the scale of each hand that follows from them.

A scale is re-fitted to the pairs of the setup's own cuts and of those that came with its scale. The word on
a cut that was measured is used twice, for the scale and for the cut itself; beside the measurement it says
little of the cut, so that this hardly counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from types import MappingProxyType

from calib.regression.feelscale import FeelFit, refit
from calib.shop import Cut, FeelPair, FeelScale, Interval, Setup


def pairs_of(setup: Setup, cuts: Sequence[Cut]) -> tuple[FeelPair, ...]:
    """Return the pairs of feel and measurement of a setup's cuts, first reading, mm.

    The mean of repeats is one measurement: their errors average out, the gauge's zero error does not.
    """
    reading = setup.bands[0].name
    known = setup.knowledge
    one, zero = known.scale(reading, "reading_sd_mm"), known.scale(reading, "zero_sd_mm")
    found = []
    for cut in cuts:
        numbers = [float(v) for v in cut.readings.get(reading, ()) if not isinstance(v, Interval)]
        if cut.feel is not None and numbers:
            u = math.hypot(one / math.sqrt(len(numbers)), zero)
            found.append(FeelPair(cut.feel, sum(numbers) / len(numbers), u, cut.by))
    return tuple(found)


def fits_of(setup: Setup, cuts: Sequence[Cut]) -> dict[str | None, FeelFit]:
    """Return the re-fitted scale of every person with pairs (None: who gave no name)."""
    pairs = (*setup.feel.pairs, *pairs_of(setup, cuts))
    fits = {}
    for person in sorted({pair.by for pair in pairs}, key=lambda name: name or ""):
        found = refit(setup.feel, [pair for pair in pairs if pair.by == person])
        if found is not None:
            fits[person] = found
    return fits


def with_own_words(setup: Setup, cuts: Sequence[Cut]) -> Setup:
    """Return a setup whose words mean what the pairs of each hand say; as stated where scales are known."""
    if not any(cut.feel for cut in cuts):
        return setup
    fits = {} if setup.knowledge.scales_known else fits_of(setup, cuts)
    people: dict[str | None, FeelScale] = {who: fit.scale for who, fit in fits.items()}
    for who in _finer_hands(setup, cuts):
        people[who] = replace(people.get(who, setup.feel), finer=True)
    if not people:
        return setup
    return replace(setup, feel=replace(setup.feel, people=MappingProxyType(people)))


def _finer_hands(setup: Setup, cuts: Sequence[Cut]) -> set[str | None]:
    """Return whose hands say, where it is so, that a fit lies between two words: who ever did."""
    said = [(cut.by, cut.feel) for cut in cuts] + [(pair.by, pair.word) for pair in setup.feel.pairs]
    return {who for who, word in said if word and word not in setup.feel.words and setup.feel.knows(word)}

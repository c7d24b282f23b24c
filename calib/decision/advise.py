"""From a setup and its cuts to the next step: the whole way, pure.

belief (regression) -> every action in minutes (weigh) -> the cheapest -> an `Advice` with its reasons
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from calib.decision import batch, reasons
from calib.decision.advice import ActionValue, Advice, Step
from calib.decision.cautions import cautions_for
from calib.decision.choice import Choice
from calib.decision.explore import alone, as_if_known, unknown_effect
from calib.decision.foretold import expectations, moves_of
from calib.decision.hints import test_hints
from calib.decision.options import Option, cuts_good, options_of
from calib.decision.resharpen import regrind_first
from calib.decision.sensing import as_sensed, last_sensed
from calib.decision.standins import lean
from calib.errors import CalibError
from calib.regression.infer import Posterior, standing, watched
from calib.regression.prospect import Prospect, prospect
from calib.regression.recession import EdgeBelief
from calib.regression.shift import Shift
from calib.regression.track import several_mountings
from calib.setupform import knowledge_from_dict, stakes_from_dict
from calib.shop import Cut, Setup

if TYPE_CHECKING:
    from calib.regression.learn.state import Carried

#: Changes whenever the same log may give another answer.
MODEL_VERSION = "4"

#: A last reading that is a slip with more than this probability is measured again before anything moves.
WILD = 0.4


class Past(NamedTuple):
    """What earlier mountings taught, how the present one was put back, and what is known of the edge."""

    carried: Carried | None
    kept_joint: bool = False
    wear: EdgeBelief | None = None


class _Decision(NamedTuple):
    """What was believed, every step that was weighed, and the one that was taken."""

    belief: Posterior
    shifts: tuple[Shift, ...]
    futures: list[Prospect]
    options: list[Option]
    best: Option
    cut_now_min: float
    wild: Cut | None


def advise(
    setup: Setup,
    cuts: Sequence[Cut],
    knowledge: Mapping[str, Any] | None = None,
    stakes: Mapping[str, Any] | None = None,
    pieces_left: int | None = None,
    wear: EdgeBelief | None = None,
    *,
    carried: Carried | None = None,
    kept_joint: bool = False,
) -> Advice:
    """Return the suggested next step of a setup after its cuts.

    Parameters
    ----------
    setup : Setup
    cuts : sequence of Cut
        In the order they were made; a last row with no pieces says where the machine stands now. Of
        several mountings all but the last are carried, and the last one is worked on.
    knowledge, stakes : mapping with the keys of a log's TOML, optional
        Override the setup's own. A reading_sd or zero_sd also takes the place of what gauges are worth.
    pieces_left : int, optional
        Good pieces still to cut; the setup's own when it is not given.
    wear : EdgeBelief, optional
        What is known of the edge's wear without these cuts; the prior of the knowledge when it is left out.
    carried : Carried, optional
        What mountings before these cuts taught, as `calib.regression.learn.carry` gives it.
    kept_joint : bool
        The present mounting was put back with a kept joint as the gauge.

    Raises
    ------
    CalibError
        When the cuts do not fit the setup, an override is not understood, or the state was carried with
        another belief than the setup's.

    Examples
    --------
    >>> from calib.logfile import load_log
    >>> advise(*load_log("sample_logs/lid-inlay.toml")).pieces_left > 0
    True
    """
    setup = with_overrides(setup, knowledge, stakes, pieces_left)
    if knowledge and _speaks_of_readings(knowledge):
        setup, cuts = replace(setup, worth={}), [replace(row, worths={}) for row in cuts]
    past, rows = _past(setup, cuts, carried, kept_joint, wear)
    return _advice(setup, rows, past, *_decide(setup, rows, past))


def _past(
    setup: Setup,
    cuts: Sequence[Cut],
    carried: Carried | None,
    kept_joint: bool = False,
    wear: EdgeBelief | None = None,
) -> tuple[Past, Sequence[Cut]]:
    """Carry through all mountings but the last; return what is carried and the rows of the last one.

    A log that is told of the wear of its edge is not carried: how far the readings have gone from mounting to
    mounting is then what the wear is seen by.
    """
    rows = list(cuts) or [standing(setup)]
    if wear is not None:
        return Past(None, kept_joint, wear), rows
    if carried is None and not several_mountings(rows):
        return Past(None, kept_joint), rows
    from calib.regression.learn import through  # only a history needs it

    carried, rows = through(setup, rows, carried)
    return Past(carried, kept_joint), rows


def _decide(setup: Setup, rows: Sequence[Cut], past: Past) -> _Decision:
    """Weigh every step and take one: the cheapest, unless a reading or an effect must be learned first."""
    belief, shifts = watched(setup, rows, past.wear, carried=past.carried, kept_joint=past.kept_joint)
    futures = [prospect(block) for block in belief.blocks]
    options, cut_now = options_of(setup, *as_sensed(belief.setup, rows, futures), _repeats(rows))
    wild = _wild_reading(belief, rows)
    best = _measure_again(options) if wild is not None else _exploring(setup, rows, past, futures, options)
    if wild is None and best is options[0]:
        regrind = regrind_first(setup, futures, best.minutes, lambda fresh: expected_minutes(fresh, ()))
        if regrind is not None:
            still = next(o for o in options if o.step == "cut_good")
            best = Option("resharpen", regrind.minutes, 0.0, still.choices, (regrind.reason,))
            options = [best, *options]
    return _Decision(belief, shifts, futures, options, best, cut_now, wild)


def _exploring(
    setup: Setup, rows: Sequence[Cut], past: Past, futures: Sequence[Prospect], options: Sequence[Option]
) -> Option:
    """Return the cheapest option, or a first move of an adjuster whose effect is still unknown."""
    unknown = unknown_effect(setup, rows, futures)
    if unknown is None:
        return options[0]
    still = next(o for o in options if o.step == "test_again")
    guess = as_if_known(setup, unknown.adjuster, unknown.reading)
    step: Step = "move_and_test" if unknown.change_mm else "test_again"
    carried = None if past.carried is None else past.carried.believed_by(guess)
    price = setup.stakes.test_cut_min + expected_minutes(guess, rows, carried)
    price += setup.stakes.move_min if unknown.change_mm else 0.0
    if options[0].minutes <= price:
        return options[0]
    choices = list(still.choices)
    if unknown.change_mm:
        change, moved = alone(futures[unknown.block], unknown.adjuster, unknown.change_mm)
        choices[unknown.block] = Choice(price, change, moved, still.tests)
    return Option(step, price, max(still.tests, 1.0), tuple(choices), times=still.times)


def expected_minutes(setup: Setup, cuts: Sequence[Cut], carried: Carried | None = None) -> float:
    """Return the minutes that the plan expects from now on, spoiled pieces included."""
    past, rows = _past(setup, cuts, carried)
    belief, _ = watched(setup, rows, carried=past.carried)
    futures = [prospect(block) for block in belief.blocks]
    options, _ = options_of(setup, *as_sensed(belief.setup, rows, futures), _repeats(rows))
    return options[0].minutes


class NextStep(NamedTuple):
    """A bare step: where every scale stands for it, mm, and how often its cut is measured."""

    step: Step
    settings_mm: dict[str, float]
    times: int = 1


def next_step(setup: Setup, cuts: Sequence[Cut], carried: Carried | None = None) -> NextStep:
    """Return the bare step that `advise` would give."""
    past, rows = _past(setup, cuts, carried)
    found = _decide(setup, rows, past)
    settings = {a.name: float(rows[-1].settings_mm[a.name]) for a in setup.adjusters}
    for future, choice in zip(found.futures, found.best.choices, strict=True):
        for a in np.flatnonzero(choice.moved):
            settings[future.adjusters[a]] += float(choice.change_mm[a])
    return NextStep(found.best.step, settings, found.best.times)


def with_overrides(
    setup: Setup,
    knowledge: Mapping[str, Any] | None,
    stakes: Mapping[str, Any] | None,
    pieces_left: int | None,
) -> Setup:
    """Return a setup with what one call asked for; `CalibError` when that is not understood."""
    readings = tuple(b.name for b in setup.bands)
    if knowledge:
        names = readings + tuple(a.name for a in setup.adjusters)
        setup = replace(
            setup, knowledge=knowledge_from_dict(knowledge, setup.knowledge, setup.units, names=names)
        )
    if stakes:
        setup = replace(setup, stakes=stakes_from_dict(stakes, setup.stakes, names=readings))
    if pieces_left is not None:
        if pieces_left < 0:
            raise CalibError(f"pieces left: {pieces_left} is below 0. Give the good pieces still to cut.")
        setup = replace(setup, pieces_left=pieces_left)
    return setup


def _speaks_of_readings(knowledge: Mapping[str, Any]) -> bool:
    """Say whether the knowledge tells how good readings are, of all or of one alone."""
    tables = [knowledge, *(own for own in knowledge.values() if isinstance(own, Mapping))]
    return any(key in table for table in tables for key in ("reading_sd", "zero_sd"))


def _measure_again(options: Sequence[Option]) -> Option:
    """The last reading cannot be believed: whatever it costs, nothing moves before it is measured again."""
    found = next((o for o in options if o.step == "measure_again"), None)
    if found is not None:
        return found
    return replace(next(o for o in options if o.step == "test_again"), step="measure_again")


def _wild_reading(belief: Posterior, rows: Sequence[Cut]) -> Cut | None:
    """Return the last cut when its reading cannot be believed, was taken only once."""
    last = _last_measured(rows)
    if last is None:
        return None
    for block in belief.blocks:
        for row, chance in block.bad:
            once = len(last.readings.get(block.block.readings[row.reading], ())) == 1
            if row.cut == last.number and chance > WILD and once:
                return last
    return None


def _last_measured(rows: Sequence[Cut]) -> Cut | None:
    """Return the last cut that was measured, when the machine still stands so and the piece is at hand."""
    last = last_sensed(rows)
    if last is None or not last.at_hand or not last.readings:
        return None
    return last


def _repeats(rows: Sequence[Cut]) -> dict[str, int]:
    """Return how often each reading of the last cut was measured; empty when it cannot be measured again."""
    last = _last_measured(rows)
    if last is None or rows[-1] is not last:
        return {}
    return {reading: len(values) for reading, values in last.readings.items()}


def _advice(
    setup: Setup,
    rows: Sequence[Cut],
    past: Past,
    belief: Posterior,
    shifts: Sequence[Shift],
    futures: Sequence[Prospect],
    options: Sequence[Option],
    best: Option,
    cut_now: float,
    wild: Cut | None,
) -> Advice:
    moves = moves_of(setup, rows, futures, best.choices)
    batch_futures = [lean(future, setup.pieces_left) for future in futures]
    expected, chance = expectations(setup, batch_futures, best.choices)
    used = sum(1 for cut in rows if cut.readings or cut.feel)
    last = _last_measured(rows)
    return Advice(
        setup=setup.name,
        cuts_used=used,
        step=best.step,
        moves=moves,
        readings=expected,
        pieces_left=setup.pieces_left,
        probability_next=chance.next_piece,
        probability_all=chance.all_pieces,
        cut_now_min=cut_now,
        best_min=best.minutes,
        tests_expected=0.0 if cuts_good(best) else best.tests,
        check_after_pieces=batch.check_after(setup, batch_futures, best.choices) if cuts_good(best) else None,
        holds_for_pieces=batch.holds_for_pieces(setup, futures, best.choices),
        doubts=reasons.doubts(setup, rows, belief, shifts, wild),
        warnings=(
            *reasons.warnings(setup, rows, shifts, past.carried, futures, best.choices),
            *(reasons.spoils(setup, expected, chance.next_piece) if cuts_good(best) else ()),
        ),
        cautions=cautions_for(setup),
        reasons=(
            *best.because,
            *reasons.why(setup, [_value(o) for o in options], _value(best), cut_now),
            *reasons.levers(setup, belief),
            *reasons.rests_on(past.carried, used),
        ),
        hints=_hints(setup, rows, best) if best.step in ("test_again", "move_and_test") else (),
        measure_again_cut=last.number if last is not None and best.step == "measure_again" else None,
        units=setup.units,
        actions=tuple(
            ActionValue(o.step, o.minutes, o.tests, moves_of(setup, rows, futures, o.choices))
            for o in options
        ),
    )


def _hints(setup: Setup, rows: Sequence[Cut], best: Option) -> tuple[str, ...]:
    last = last_sensed(rows)
    by_feel = last is not None and last.feel is not None and setup.bands[0].name not in last.readings
    return test_hints(setup, best.times, by_feel)


def _value(option: Option) -> ActionValue:
    return ActionValue(option.step, option.minutes, option.tests)

"""When no move helps any more: sharpen or change the cutter first.

Two reasons, both from wear alone:

* the key of a finger jig no longer enters the slot before the pieces are cut (the slot gets narrower by
  twice the recession, and no move changes that),
* going on costs more than a regrind and starting over: the range of an adjuster ends, the band cannot be
  held, or holding it takes more moves than a regrind is worth.

A dial-in after the regrind is priced by the plan of a new edge without a cut, so what is only not known yet
is never a reason: it would cost as much after the regrind.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.decision.upkeep import Schedule, key_enters, schedule
from calib.regression.prospect import Prospect
from calib.shop import Setup
from calib.units import format_length

#: Wear matters when it moves a reading by more than this part of its band, so far or along the batch.
_MATTERS = 0.1
#: The key is taken to stop entering when it more likely does than not.
_KEY_STOPS = 0.5


@dataclass(frozen=True)
class Regrind:
    """Why the edge has to go, and the minutes that are then expected from now on, the regrind included."""

    minutes: float
    reason: str


def regrind_first(
    setup: Setup,
    futures: Sequence[Prospect],
    going_on_min: float,
    start_over_min: Callable[[Setup], float],
) -> Regrind | None:
    """Return why the cutter has to be sharpened before the next good piece, or None.

    Parameters
    ----------
    going_on_min : float
        Minutes expected from now on by the best step on this edge, without moves along the batch.
    start_over_min : callable of a Setup
        Minutes expected on a new edge before any cut.
    """
    worn = [future for future in futures if _matters(setup, future)]
    pieces = setup.pieces_left
    if not worn or pieces == 0:
        return None
    stops = _key_stops(setup, worn[0])
    if stops is None and going_on_min <= setup.stakes.regrind_min:
        return None
    fresh = replace(setup, cutter=replace(setup.cutter, metres_since_sharp_m=0.0))
    after = setup.stakes.regrind_min + start_over_min(fresh)
    if stops is not None:
        return Regrind(after, stops)
    plans = [schedule(setup, future, pieces=pieces) for future in worn if future.adjusters]
    kept = len(plans) == len(worn) == len(futures) and all(plan.holds_pieces >= pieces for plan in plans)
    going_on = min(going_on_min, _held(setup, plans)) if kept else going_on_min
    if after >= going_on:
        return None
    return Regrind(after, f"Going on with this edge costs {going_on:.0f} min; no move makes it cheaper.")


def _matters(setup: Setup, future: Prospect) -> bool:
    """Say whether wear has moved a reading, or will along the batch, by a part of its band that counts."""
    edge, pieces = future.edge, setup.pieces_left
    gone = float(future.weights @ edge.recession.at(edge.cut_m + pieces * edge.metres_per_piece_m))
    return any(
        abs(edge.slopes[f]) * gone > _MATTERS * (setup.band(reading).high_mm - setup.band(reading).low_mm)
        for f, reading in enumerate(future.readings)
    )


def _key_stops(setup: Setup, future: Prospect) -> str | None:
    pieces = setup.pieces_left
    chance = key_enters(setup, future, np.array([0.0, pieces - 1.0]))
    if chance is None or chance[1] >= _KEY_STOPS:
        return None
    key = format_length(setup.joint.key_width_mm or 0.0, setup.units)
    when = "now" if chance[0] < _KEY_STOPS else f"before the {pieces} pieces are cut"
    return f"The slot has worn narrower than the key ({key}) {when}; no move mends that."


def _held(setup: Setup, plans: Sequence[Schedule]) -> float:
    """Return the minutes of cutting the batch with the moves of the schedules, spoiled pieces included."""
    return sum(plan.minutes + plan.spoiled_min for plan in plans)

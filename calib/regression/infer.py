"""What the log says of one setup: offsets, errors of positions, and what the next reading would be.

Every answer is a mixture over all hypotheses (see `hypotheses`), never a plug-in.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from calib.errors import CalibError
from calib.regression.blockposterior import BlockPosterior
from calib.regression.feelpairs import with_own_words
from calib.regression.footing import start_setting
from calib.regression.hypotheses import Span, solve_block, variants_of
from calib.regression.mixture import Mixture
from calib.regression.recession import EdgeBelief
from calib.regression.shared import measured_features, offset_features
from calib.regression.shift import RAISED, Shift
from calib.regression.start import Start
from calib.regression.steps import Step
from calib.regression.terms import Array, Block, acting_moves, features_at, known_part
from calib.regression.track import MachineState
from calib.shop import Cut, Setup

if TYPE_CHECKING:
    from calib.regression.learn.begin import Ground
    from calib.regression.learn.state import Carried

#: More shifts than this in one mounting are not looked for.
MOST_SHIFTS = 3


@dataclass(frozen=True)
class Posterior:
    """The belief in one setup after its cuts.

    Attributes
    ----------
    blocks : tuple of BlockPosterior
        Readings that share adjusters stand in one block; blocks are independent.
    """

    setup: Setup
    blocks: tuple[BlockPosterior, ...]

    def block_of(self, reading: str) -> tuple[BlockPosterior, int]:
        """Return the block of a reading and its place there."""
        for block in self.blocks:
            if reading in block.block.readings:
                return block, block.block.readings.index(reading)
        self.setup.band(reading)
        raise CalibError(f'reading "{reading}" is in no block.')

    def offset(self, reading: str) -> Mixture:
        """Return the offset of a reading in the current mounting, at the reference setting, mm."""
        found, _ = self.block_of(reading)
        named = offset_features(reading, _now(found.block).span, found.block.follows)
        return found.one(lambda block: [named])

    def position_error(self, adjuster: str) -> Mixture:
        """Return how far an adjuster really stands from where its scale says, mm of its scale."""
        self.setup.adjuster(adjuster)
        for found in self.blocks:
            if adjuster in found.block.adjusters:
                return found.one(lambda block: [_error_features(block, adjuster)])
        return Mixture(np.ones(1), np.zeros(1), np.zeros(1))

    def lever(self, adjuster: str) -> Mixture:
        """Return how far the cutter's distance goes when an adjuster goes by 1, mm per mm."""
        ratio = self.setup.adjuster(adjuster).ratio
        for found in self.blocks:
            if adjuster in found.block.adjusters:
                error = found.one(lambda block: [{f"scale:{adjuster}": ratio}])
                return Mixture(error.weights, ratio + error.mean, error.sd)
        return Mixture(np.ones(1), np.array([ratio]), np.zeros(1))

    def size(self, reading: str) -> Mixture:
        """Return the mean true size at the current setting (no scatter of single cuts), mm."""
        return self._at_now(reading, {})

    def next_reading(self, reading: str) -> Mixture:
        """Return what the next measured reading would be at the current setting, mm.

        It comes from the gauge that the setup names, else from the same one as those of the log; an error
        that this gauge shares with readings of the log is the one already in them.
        """
        found, _ = self.block_of(reading)
        worth = self.setup.worth.get(reading)
        cut_sd = found.scatter * self.setup.knowledge.scale(reading, "cut_sd_mm")
        noise = np.hypot(cut_sd, reading_sds(self.setup, reading, found.scatter))
        shown = self._at_now(reading, measured_features(reading, worth))
        return Mixture(shown.weights, shown.mean, np.sqrt(shown.sd**2 + noise**2))

    def _at_now(self, reading: str, more: Mapping[str, float]) -> Mixture:
        """Return the size at the current setting plus some more terms, mm."""
        found, f = self.block_of(reading)
        at = found.one(lambda block: [{**features_at(block, f, _now(block)), **more}])
        known = np.array([known_part(block, f, _now(block)) for block in found.variants])[found.variant]
        worn = float(found.block.recession[f]) * found.worn_mm
        return Mixture(at.weights, at.mean + known + worn, at.sd)


def reading_sds(setup: Setup, reading: str, scatter: Array) -> Array:
    """Return the sd of the next measurement's own error under each scatter, mm.

    The scatter's unknown scale multiplies what is only believed of a gauge, not what is known of it.
    """
    known = reading in setup.worth
    return setup.reading_sd_mm(reading) * (np.ones_like(scatter) if known else scatter)


def _now(block: Block) -> MachineState:
    state = block.track.now
    assert state is not None, "posterior() always has a last row"
    return state


def _error_features(block: Block, adjuster: str) -> Mapping[str, float]:
    state = _now(block)
    named = dict.fromkeys(acting_moves(block, adjuster, state), 1.0)
    named[f"scale:{adjuster}"] = state.settings_mm[adjuster] - block.reference_mm[adjuster]
    return named


def posterior(
    setup: Setup,
    cuts: Sequence[Cut],
    wear: EdgeBelief | None = None,
    steps: Sequence[Step] = (),
    *,
    carried: Carried | None = None,
    kept_joint: bool = False,
) -> Posterior:
    """Return the belief in a setup after its cuts.

    Parameters
    ----------
    cuts : sequence of Cut, in the order they were made
        A last row with no pieces and no readings says where the machine stands now.
    wear : EdgeBelief, optional
        Courses of the edge's wear, weighed by all that is known but these cuts (see `sharedwear`); the prior
        of the knowledge when it is left out.
    steps : sequence of Step
        Shifts that are taken to have happened, each of a size to be learned.
    carried : Carried, optional
        What earlier mountings taught (see `calib.regression.learn`); the cuts are then those of the
        present mounting, or of several, of which all but the last are carried too.
    kept_joint : bool
        The present mounting was put back with a kept joint as the gauge.

    Returns
    -------
    Posterior
        Per hypothesis and mixed: mean and covariance of every term (offsets, scale errors, errors of
        moves, mm), and what the next reading would be.

    Raises
    ------
    CalibError
        When a cut does not fit the setup.
    """
    rows = list(cuts) or [standing(setup)]
    if carried is not None:
        from calib.regression.learn.carry import check_same, through  # only a history needs it

        check_same(carried, setup)
        onward, rows = through(setup, rows, carried)
        return _onward(with_own_words(setup, rows), rows, onward or carried, kept_joint, steps)
    setup = with_own_words(setup, rows)
    axes = {} if wear is None else wear.axes
    blocks = (solve_block(v, axes.get(v[0].readings[0])) for v in variants_of(setup, rows, steps))
    return Posterior(setup, tuple(blocks))


def _onward(
    setup: Setup, rows: Sequence[Cut], carried: Carried, kept: bool, steps: Sequence[Step]
) -> Posterior:
    """Return the belief in the present mounting, started from what earlier ones taught."""
    from calib.regression.learn.begin import footing_of, ground_of, start_of

    edge = rows[0].sharpening or ""
    blocks = []
    for b, variants in enumerate(variants_of(setup, rows, steps, footing_of(carried, setup, rows, edge))):
        ground = ground_of(carried, b, variants[0], edge, kept)

        def begin(around: Span | None, ground: Ground = ground) -> Start:
            return start_of(ground, carried, kept, around)

        blocks.append(solve_block(variants, begin=begin))
    return Posterior(setup, tuple(blocks))


def watched(
    setup: Setup,
    cuts: Sequence[Cut],
    wear: EdgeBelief | None = None,
    *,
    carried: Carried | None = None,
    kept_joint: bool = False,
) -> tuple[Posterior, tuple[Shift, ...]]:
    """Return the belief in a setup that may have shifted on the way, and the shifts that are taken as true.

    A shift is taken as true when it is more probable than `shift.RAISED`; its size is then learned beside
    all else, and the cuts since are looked at for another one.
    """
    found: list[Shift] = []
    belief = posterior(setup, cuts, wear, carried=carried, kept_joint=kept_joint)
    for _ in range(MOST_SHIFTS):
        shifts = [block.shift for block in belief.blocks]
        new = [shift for shift in shifts if shift is not None and shift.probability > RAISED]
        if not new:
            break
        found += new
        steps = [shift.step for shift in found]
        belief = posterior(setup, cuts, wear, steps, carried=carried, kept_joint=kept_joint)
    return belief, tuple(found)


def standing(setup: Setup) -> Cut:
    """Return the row of a setup that has not been cut yet: where it would start, and nothing read."""
    settings = {a.name: start_setting(setup, a.name) for a in setup.adjusters}
    return Cut(number=0, kind="test", settings_mm=settings, pieces=0)

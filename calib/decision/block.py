"""One block of readings, ready to be planned: its prices, its adjuster, and the plan of a belief along it.

A block with several readings on one adjuster is planned along its first reading, the lead; the others
follow it with the ratio of their slopes, and what they do not share counts as spread.

Symbols
-------
C components, H stand-ins, P positions, F readings, A adjusters
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from calib.decision.loss import BatchLoss, batch_minutes
from calib.decision.plan import Line, Plan, offset_when_landed, solve_plan
from calib.decision.sensing import AGAIN_SHARE, worth_measuring
from calib.decision.standins import StandIns, alike, heaviest, merged_wear, stand_ins
from calib.regression.prospect import Prospect
from calib.shop import Setup

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

_TINY = 1e-9
#: Components below this share of the heaviest are left out when positions are searched.
_SMALL = 1e-3
#: Wear that has taken this part of a band on a long batch is followed by a move.
_WORN_PART = 0.25


class PlannedBlock:
    """One block.

    Parameters
    ----------
    setup : Setup
    prospect : Prospect
    repeats : mapping of reading to int
        How often the last cut was measured; empty when it cannot be measured again.
    pieces : int
        Good pieces left.
    measures : bool
        Tests to come are measured, so that one can be measured several times.
    """

    def __init__(
        self,
        setup: Setup,
        prospect: Prospect,
        repeats: Mapping[str, int],
        pieces: int,
        measures: bool = True,
    ) -> None:
        self.setup, self.repeats, self.pieces = setup, repeats, pieces
        self.future = heaviest(merged_wear(prospect), _SMALL)
        self.losses = [
            BatchLoss(setup.band(reading), setup.stakes.of(reading), pieces, self._along(f))
            for f, reading in enumerate(prospect.readings)
        ]
        self.drift = self.future.drift + self.future.creep_after()[0]
        self.cut_sd = np.maximum(self.future.cut_sd, _TINY)
        self.main = self._main_adjuster()
        self.lead = self._lead_reading()
        self.times = self._times() if measures else 1
        self.noise = self.cut_sd**2 + self.future.reading_sd**2 / self.times
        landing = None if self.main is None else self.future.move_sd[:, self.main]
        self.groups = stand_ins(self.future.weights, np.sqrt(self.noise[:, self.lead]), landing)
        self.stand_in = self.groups.of

    def cut_now_min(self) -> float:
        """Return the minutes that cutting the good pieces as it stands is expected to cost."""
        A = len(self.future.adjusters)
        mean, covariance = self.future.after(np.zeros((1, A)), np.zeros((1, A), dtype=bool))
        variance = np.diagonal(covariance, axis1=2, axis2=3)
        minutes = batch_minutes(self.losses, mean, variance, self.cut_sd, self.drift)
        return float((self.future.weights @ minutes)[0])

    def alone_min(self, test_min: Array) -> Array:
        """Return the minutes that the block is expected to cost, for several prices of a test cut.

        Worked out for the average shop on a coarse grid: good enough to share the price of a test out.
        """
        prices = len(test_min)
        plan = self.plan_for(alike(self.future.weights, prices), test_min, points=91, rungs=14)
        A = len(self.future.adjusters)
        still, none = np.zeros((1, A)), np.zeros((1, A), dtype=bool)
        mean, covariance = self.future.after(still, none)
        z, P = mean[:, :, self.lead], covariance[:, :, self.lead, self.lead]
        found = []
        for h in range(prices):
            stand_in = np.full(len(z), h)
            belief, since = self.renewed(plan, stand_in, P, none) if plan.line.renews else (P, None)
            found.append(float(self.future.weights @ plan.best_minutes(stand_in, z, belief, since)[:, 0]))
        return np.array(found)

    def plan_for(
        self, groups: StandIns, test_min: float | Array, points: int = 161, rungs: int = 40
    ) -> Plan:
        """Return the plan of the block, solved for each group of components."""
        future, lead = self.future, self.lead
        again_min = (self.times - 1) * AGAIN_SHARE * self.setup.stakes.test_cut_min
        A = len(future.adjusters)
        still, none = np.zeros((1, A)), np.zeros((1, A), dtype=bool)
        mean, covariance = future.after(still, none)
        noise = groups.mean(np.sqrt(self.noise)) ** 2
        cut_variance = groups.mean(self.cut_sd) ** 2
        slope = 0.0 if self.main is None else float(self.mean_slopes()[lead, self.main])
        landing = np.zeros(len(groups.members))
        step, renews = 0.0, False
        if self.main is not None:
            sds = np.maximum(future.move_sd[:, self.main], _TINY)
            landing = (slope * groups.mean(sds)) ** 2
            adjuster = self.setup.adjuster(future.adjusters[self.main])
            step, renews = abs(slope) * adjuster.least_step_mm, adjuster.landing == "renews"
        ratio = self.ratios()
        level = groups.mean(mean[:, 0])
        spread = groups.mean(np.diagonal(covariance[:, 0], axis1=1, axis2=2).copy())
        rest = np.maximum(spread - ratio**2 * spread[:, lead, None], 0.0)
        rest[:, lead] = 0.0
        drift = groups.mean(self.drift)

        def loss(z: Array, variance: Array) -> Array:
            total = np.zeros(np.broadcast_shapes(z.shape, variance.shape))
            for f, price in enumerate(self.losses):
                at = level[:, f, None, None] + ratio[f] * (z - level[:, lead, None, None])
                known = ratio[f] ** 2 * variance + (rest[:, f] + cut_variance[:, f])[:, None, None]
                total += price.minutes(at, known, drift[:, f, None, None])
            return total

        told = 1.0 / np.sum(ratio**2 / (noise + rest), axis=1)
        largest = float(np.max(covariance[:, 0, lead, lead]) + np.max(landing))
        line = Line(
            loss=loss,
            test_variance=told,
            move_variance=landing,
            piece_sd=np.sqrt(cut_variance[:, lead]),
            step_mm=step,
            low_mm=self.losses[lead].band.low_mm,
            high_mm=self.losses[lead].band.high_mm,
            largest_variance_mm2=largest,
            test_min=test_min + again_min,
            move_min=self.setup.stakes.move_min,
            can_move=self.main is not None and abs(slope) > _TINY,
            renews=renews,
            points=points,
            rungs=min(rungs, 20) if renews else rungs,
        )
        return solve_plan(line)

    def renewed(
        self, plan: Plan, stand_in: Indices, total: Array, moved: Mask
    ) -> tuple[Array, Array | None]:
        """Return (B, tests since the landing) of each component and position where landing renews."""
        assert self.main is not None
        landing = plan.line.move_variance[stand_in][:, None]
        if moved[:, self.main].all() and len(moved):
            return np.maximum(total - landing, 1e-12), np.zeros_like(total)
        offset = np.broadcast_to(self.future.covariance[:, self.lead, self.lead, None], total.shape)
        if np.max(total - offset) < 1e-12:
            return total, None
        offset = np.minimum(offset, total)
        noise = plan.line.test_variance[stand_in][:, None]
        return offset_when_landed(total, offset, landing + 0.0 * total, noise)

    def told(self, covariance: Array) -> Array:
        """Variance (C,) of what one test tells of the lead reading's level, all readings together."""
        spread = np.diagonal(covariance, axis1=1, axis2=2)
        ratio = self.ratios()
        rest = np.maximum(spread - ratio**2 * spread[:, self.lead, None], 0.0)
        rest[:, self.lead] = 0.0
        told: Array = 1.0 / np.sum(ratio**2 / (self.noise + rest), axis=1)
        return told

    def ratios(self) -> Array:
        """How each reading follows the lead reading when the main adjuster moves, shape (F,)."""
        F = len(self.losses)
        if self.main is None:
            return np.eye(F)[self.lead]
        slopes = self.mean_slopes()[:, self.main]
        if abs(slopes[self.lead]) < _TINY:
            return np.eye(F)[self.lead]
        return slopes / slopes[self.lead]

    def mean_slopes(self) -> Array:
        """Slopes as believed now, shape (F, A); learned ones by their mean."""
        F, A = self.future.slopes.shape[1:]
        slopes = np.einsum("c,cfa->fa", self.future.weights, self.future.slopes)
        if self.future.learned.any():
            at = self.future.weights @ self.future.mean
            learned = at[F + 2 * A : F + 2 * A + F * A].reshape(F, A)
            slopes = np.where(self.future.learned, learned, slopes)
        result: Array = slopes
        return result

    def _main_adjuster(self) -> int | None:
        """The adjuster that the plan moves: the one that lands closest."""
        if not self.future.adjusters:
            return None
        landing = [
            float(np.mean(self.future.move_sd[:, a]) * np.max(np.abs(self.mean_slopes()[:, a])))
            for a in range(len(self.future.adjusters))
        ]
        return int(np.argmin(landing))

    def _lead_reading(self) -> int:
        if self.main is None:
            return 0
        moved = np.flatnonzero(np.abs(self.mean_slopes()[:, self.main]) > _TINY)
        return int(moved[0]) if len(moved) else 0

    def _along(self, f: int) -> int | None:
        """Pieces until wear asks for a move, which is when it has taken a part of the band.

        None if it never does, or if no adjuster can follow the wear to the end of the batch.
        """
        band = self.setup.band(self.future.readings[f])
        drift = float(self.future.weights @ self.future.drift[:, f])
        part = _WORN_PART * (band.high_mm - band.low_mm)
        if abs(drift) * self.pieces <= part:
            return None
        for a, name in enumerate(self.future.adjusters):
            slope = self.mean_slopes()[f, a]
            follows = abs(slope) > _TINY and self.setup.adjuster(name).reaches(
                float(self.future.now_mm[a]) - drift * self.pieces / slope
            )
            if follows:
                return max(int(part / abs(drift)), 1)
        return None

    def _times(self) -> int:
        """How often a test is worth measuring, for the lead reading."""
        w, lead = self.future.weights, self.lead
        cut, read = (float(w @ sd[:, lead]) for sd in (self.cut_sd, self.future.reading_sd))
        return worth_measuring(cut, read)

"""Weigh every action for one block of readings: cut, move and cut, test, move and test, measure again.

Cutting is priced exactly, over the whole mixture, at every reachable position. Testing is priced by
the plan, solved for a few hypotheses that stand in for the mixture; every component looks its own mean
and variance up in the plan of the one that stands for it, and the values are averaged. (Averaging
values, never solving at a point: a plan for the average shop is too sure of itself.) That average knows
the scales after the next test; what they still cost then is added to every test (`lookahead`).

A block with several readings on one adjuster is planned along its first reading; the others follow it
with the ratio of their slopes, and what they do not share counts as spread.

Symbols
-------
C components, H stand-ins, P positions, F readings, A adjusters
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.decision.choice import Choice, Weighed, least
from calib.decision.lookahead import Place, not_knowing_min
from calib.decision.loss import BatchLoss, batch_minutes
from calib.decision.plan import Line, Plan, offset_when_landed, solve_plan
from calib.decision.reach import changes
from calib.decision.sensing import AGAIN_SHARE, worth_measuring
from calib.decision.standins import StandIns, alike, heaviest, merged_wear, stand_ins
from calib.normal import quantile
from calib.regression.prospect import Prospect
from calib.shop import Setup

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

#: Components below this share of the heaviest are left out when positions are searched.
_SMALL = 1e-3
_LOOKS_AHEAD = 21
#: Wear that has taken this part of a band on a long batch is followed by a move.
_WORN_PART = 0.25
_TINY = 1e-9


class BlockScale:
    """One block on the scales.

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
            slope = self._mean_slopes()[f, a]
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

    def weigh(self, test_min: float) -> Weighed:
        """Return every action of the block when a test cut costs it `test_min` minutes, measured once."""
        plan = self._plan(self.groups, test_min)
        A = len(self.future.adjusters)
        still, none = np.zeros((1, A)), np.zeros((1, A), dtype=bool)
        cut, test, tests = self._price(plan, still, none)
        move_cut, move_test = self._moves(plan)
        moved = min((c.minutes for c in (move_cut, move_test) if c is not None), default=np.inf)
        later, gain = self._here(plan, moved)
        cut_now = Choice(float(cut[0]), still[0], none[0])
        test_now = self._as_learned(plan, Choice(float(test[0]) + later, still[0], none[0], float(tests[0])))
        if move_test is not None:
            move_test = self._as_learned(plan, move_test)
        steps = (cut_now, test_now, move_cut, move_test)
        best = min(c.minutes for c in steps if c is not None)
        again = Choice(best - gain, still[0], none[0], float(tests[0]))
        return Weighed(cut_now, move_cut, test_now, move_test, again)

    def alone_min(self, test_min: Array) -> Array:
        """Return the minutes that the block is expected to cost, for several prices of a test cut.

        Worked out for the average shop on a coarse grid: good enough to share the price of a test out.
        """
        prices = len(test_min)
        plan = self._plan(alike(self.future.weights, prices), test_min, points=91, rungs=14)
        A = len(self.future.adjusters)
        still, none = np.zeros((1, A)), np.zeros((1, A), dtype=bool)
        mean, covariance = self.future.after(still, none)
        z, P = mean[:, :, self.lead], covariance[:, :, self.lead, self.lead]
        found = []
        for h in range(prices):
            stand_in = np.full(len(z), h)
            belief, since = self._renewed(plan, stand_in, P, none) if plan.line.renews else (P, None)
            found.append(float(self.future.weights @ plan.best_minutes(stand_in, z, belief, since)[:, 0]))
        return np.array(found)

    def cut_now_min(self) -> float:
        """Return the minutes that cutting the good pieces as it stands is expected to cost."""
        A = len(self.future.adjusters)
        mean, covariance = self.future.after(np.zeros((1, A)), np.zeros((1, A), dtype=bool))
        variance = np.diagonal(covariance, axis1=2, axis2=3)
        minutes = batch_minutes(self.losses, mean, variance, self.cut_sd, self.drift)
        return float((self.future.weights @ minutes)[0])

    def _here(self, plan: Plan, moved: float) -> tuple[float, float]:
        """Return what the plan leaves out of a later move, and what measuring again gains, in minutes.

        A move that is weighed now is priced over the whole mixture, with the error of its scale; one that
        the plan puts off is priced for the stand-ins. Without evening that out, putting off would look
        cheap.
        """
        A = len(self.future.adjusters)
        still, none = np.zeros((1, A)), np.zeros((1, A), dtype=bool)
        mean, covariance = self.future.after(still, none)
        variance = np.diagonal(covariance, axis1=2, axis2=3)
        z, P = mean[:, :, self.lead], variance[:, :, self.lead]
        belief, since = self._renewed(plan, self.stand_in, P, none) if plan.line.renews else (P, None)
        now = plan.best_minutes(self.stand_in, z, belief, since)[:, 0]
        later = 0.0
        if np.isfinite(moved):
            move = plan.move_minutes(self.stand_in, z, belief, since)[:, 0]
            cut = batch_minutes(self.losses, mean, variance, self.cut_sd, self.drift)[:, 0]
            share = float(self.future.weights @ (move < cut))
            later = share * max(moved - float(self.future.weights @ move), 0.0)
        return later, max(float(self.future.weights @ now) - self._measured_again(plan), 0.0)

    def _as_learned(self, plan: Plan, choice: Choice) -> Choice:
        """Return a test with its price as it will be when the scales are still not known after it.

        With one stand-in nothing is to be learned of them. (Measuring again is priced by what it gains in
        the plan, where both sides know the scales.)
        """
        if len(self.groups.members) == 1:
            return choice
        change, moved = choice.change_mm[None, :], choice.moved[None, :]
        mean, covariance = self.future.after(change, moved)
        variance = covariance[:, :, self.lead, self.lead]
        offset, belief, since = mean, variance, None
        if plan.line.renews:
            anew = moved.copy()
            anew[:, self.main] = True
            offset, _ = self.future.after(change, anew)
            belief, since = self._renewed(plan, self.stand_in, variance, moved)
        place = Place(
            weights=self.future.weights,
            mean=mean[:, 0, self.lead],
            variance=variance[:, 0],
            noise=self._told(covariance[:, 0]),
            landing=plan.line.move_variance[self.stand_in],
            stand_in=self.stand_in,
            offset=offset[:, 0, self.lead],
            since=None if since is None else since[:, 0],
            when_landed=None if since is None else belief[:, 0],
        )
        return replace(choice, minutes=choice.minutes + not_knowing_min(plan, place))

    def _told(self, covariance: Array) -> Array:
        """Variance (C,) of what one test tells of the lead reading's level, all readings together."""
        spread = np.diagonal(covariance, axis1=1, axis2=2)
        ratio = self._ratios()
        rest = np.maximum(spread - ratio**2 * spread[:, self.lead, None], 0.0)
        rest[:, self.lead] = 0.0
        told: Array = 1.0 / np.sum(ratio**2 / (self.noise + rest), axis=1)
        return told

    def _main_adjuster(self) -> int | None:
        """The adjuster that the plan moves: the one that lands closest."""
        if not self.future.adjusters:
            return None
        landing = [
            float(np.mean(self.future.move_sd[:, a]) * np.max(np.abs(self._mean_slopes()[:, a])))
            for a in range(len(self.future.adjusters))
        ]
        return int(np.argmin(landing))

    def _mean_slopes(self) -> Array:
        """Slopes as believed now, shape (F, A); learned ones by their mean."""
        F, A = self.future.slopes.shape[1:]
        slopes = np.einsum("c,cfa->fa", self.future.weights, self.future.slopes)
        if self.future.learned.any():
            at = self.future.weights @ self.future.mean
            learned = at[F + 2 * A : F + 2 * A + F * A].reshape(F, A)
            slopes = np.where(self.future.learned, learned, slopes)
        result: Array = slopes
        return result

    def _lead_reading(self) -> int:
        if self.main is None:
            return 0
        moved = np.flatnonzero(np.abs(self._mean_slopes()[:, self.main]) > _TINY)
        return int(moved[0]) if len(moved) else 0

    def _plan(
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
        slope = 0.0 if self.main is None else float(self._mean_slopes()[lead, self.main])
        landing = np.zeros(len(groups.members))
        step, renews = 0.0, False
        if self.main is not None:
            sds = np.maximum(future.move_sd[:, self.main], _TINY)
            landing = (slope * groups.mean(sds)) ** 2
            adjuster = self.setup.adjuster(future.adjusters[self.main])
            step, renews = abs(slope) * adjuster.least_step_mm, adjuster.landing == "renews"
        ratio = self._ratios()
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

    def _ratios(self) -> Array:
        """How each reading follows the lead reading when the main adjuster moves, shape (F,)."""
        F = len(self.losses)
        if self.main is None:
            return np.eye(F)[self.lead]
        slopes = self._mean_slopes()[:, self.main]
        if abs(slopes[self.lead]) < _TINY:
            return np.eye(F)[self.lead]
        return slopes / slopes[self.lead]

    def _price(self, plan: Plan, change: Array, moved: Mask) -> tuple[Array, Array, Array]:
        """Return minutes of cutting, minutes of testing first and tests then expected, each (P,)."""
        mean, covariance = self.future.after(change, moved)
        variance = np.diagonal(covariance, axis1=2, axis2=3)
        price = self.setup.stakes.move_min * moved.sum(axis=1)
        w = self.future.weights
        cut = w @ batch_minutes(self.losses, mean, variance, self.cut_sd, self.drift) + price
        z, P = mean[:, :, self.lead], variance[:, :, self.lead]
        belief, since = self._renewed(plan, self.stand_in, P, moved) if plan.line.renews else (P, None)
        test = w @ plan.test_minutes(self.stand_in, z, belief, since) + price
        tests = w @ plan.tests_expected(self.stand_in, z, belief, since)
        return cut, test, tests

    def _renewed(
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

    def _moves(self, plan: Plan) -> tuple[Choice | None, Choice | None]:
        """Return the best positions to cut at and to test at, each adjuster alone and all together."""
        A = len(self.future.adjusters)
        cut_best: Choice | None = None
        test_best: Choice | None = None
        for a in range(A):
            cut, test = self._line_search(plan, a, np.zeros(A), [False] * A)
            cut_best, test_best = least(cut_best, cut), least(test_best, test)
        base = cut_best
        for a in list(range(A)) * 2 if A > 1 else []:  # then one after the other, around the best so far
            if base is None:
                break
            cut, test = self._line_search(plan, a, base.change_mm, list(base.moved))
            cut_best, test_best = least(cut_best, cut), least(test_best, test)
            base = cut if cut is not None else base
        return cut_best, test_best

    def _line_search(
        self, plan: Plan, a: int, start: Array, moved_before: list[bool]
    ) -> tuple[Choice | None, Choice | None]:
        adjuster = self.setup.adjuster(self.future.adjusters[a])
        aims, span = self._aims(a, start, moved_before)
        if not len(aims):
            return None, None
        found = changes(adjuster, float(self.future.now_mm[a]), aims, span)
        if not len(found):
            return None, None
        cut, test, tests, change, moved = self._at(plan, a, found, start, moved_before)
        off = self._off_target(change, moved)
        i, j = int(np.argmin(cut + off)), int(np.argmin(test + off))
        return (
            Choice(float(cut[i]), change[i], moved[i]),
            Choice(float(test[j]), change[j], moved[j], float(tests[j])),
        )

    def _off_target(self, change: Array, moved: Mask) -> Array:
        """Where minutes hardly differ, the position nearest the targets is taken: hundredths of a minute."""
        mean, _ = self.future.after(change, moved)
        at = np.einsum("c,cpf->pf", self.future.weights, mean)
        total = np.zeros(len(change))
        for f, price in enumerate(self.losses):
            band = price.band
            total += 0.01 * np.minimum(((at[:, f] - band.target_mm) / (band.high_mm - band.low_mm)) ** 2, 1.0)
        return total

    def _at(
        self, plan: Plan, a: int, found: Array, start: Array, moved_before: list[bool]
    ) -> tuple[Array, Array, Array, Array, Mask]:
        change = np.tile(start, (len(found), 1))
        change[:, a] = found
        moved = np.tile(np.array(moved_before, dtype=bool), (len(found), 1))
        moved[:, a] = True
        return *self._price(plan, change, moved), change, moved

    def _aims(self, a: int, start: Array, moved_before: list[bool]) -> tuple[Array, float]:
        """Moves of one adjuster that bring each reading onto its target, and how far around to look."""
        slopes = self._mean_slopes()[:, a]
        mean, covariance = self.future.after(start[None, :], np.array([moved_before]))
        at = self.future.weights @ mean[:, 0]
        aims, spans = [], []
        for f, price in enumerate(self.losses):
            if abs(slopes[f]) < 1e-3:
                continue
            band = price.band
            u = float(np.sqrt(self.future.weights @ covariance[:, 0, f, f]))
            aims.append(start[a] + (band.target_mm - at[f]) / slopes[f])
            width = band.high_mm - band.low_mm
            spans.append((width + min(u, width)) / abs(float(slopes[f])))
        return np.array(aims), max(spans, default=0.0)

    def _measured_again(self, plan: Plan) -> float:
        """Minutes that the plan expects once the last cut has been measured again, that not counted.

        With m measurements of a cut, one more tells as much as a test of variance
        1 / (1/(cut^2 + r^2/(m+1)) - 1/(cut^2 + r^2/m)): the scatter of the cut stays.
        """
        A = len(self.future.adjusters)
        mean, covariance = self.future.after(np.zeros((1, A)), np.zeros((1, A), dtype=bool))
        z, P = mean[:, 0, self.lead], covariance[:, 0, self.lead, self.lead]
        cut = self.cut_sd[:, self.lead] ** 2
        read = self.future.reading_sd[:, self.lead] ** 2
        m = self.repeats.get(self.future.readings[self.lead], 0)
        gained = 1.0 / (cut + read / (m + 1)) - (1.0 / (cut + read / m) if m else 0.0)
        after = 1.0 / (1.0 / np.maximum(P, 1e-30) + gained)
        steps = quantile((np.arange(_LOOKS_AHEAD) + 0.5) / _LOOKS_AHEAD)
        steps = steps / np.sqrt(np.mean(steps**2))
        there = z[:, None] + np.sqrt(np.maximum(P - after, 0.0))[:, None] * steps
        variance = np.broadcast_to(after[:, None], there.shape)
        since = None
        if plan.line.renews:
            none = np.zeros((there.shape[1], A), dtype=bool)
            variance, since = self._renewed(plan, self.stand_in, variance, none)
        value = plan.best_minutes(self.stand_in, there, variance, since)
        return float(self.future.weights @ value.mean(axis=1))

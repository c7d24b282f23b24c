"""Weigh every action for one block of readings: cut, move and cut, test, move and test, measure again.

Cutting is priced exactly, over the whole mixture, at every reachable position. Testing is priced by
the plan, solved for a few hypotheses that stand in for the mixture; every component looks its own mean
and variance up in the plan of the one that stands for it, and the values are averaged. (Averaging
values, never solving at a point: a plan for the average shop is too sure of itself.) That average knows
the scales after the next test; what they still cost then is added to every test (`lookahead`).

Symbols
-------
C components, H stand-ins, P positions, F readings, A adjusters
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.decision.block import PlannedBlock
from calib.decision.choice import Choice, Weighed, least
from calib.decision.lookahead import Place, not_knowing_min
from calib.decision.loss import batch_minutes
from calib.decision.plan import Plan
from calib.decision.reach import changes
from calib.normal import quantile

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

_LOOKS_AHEAD = 21


class BlockScale(PlannedBlock):
    """One block on the scales: every action, priced."""

    def weigh(self, test_min: float) -> Weighed:
        """Return every action of the block when a test cut costs it `test_min` minutes, measured once."""
        plan = self.plan_for(self.groups, test_min)
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
        belief, since = self.renewed(plan, self.stand_in, P, none) if plan.line.renews else (P, None)
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
            belief, since = self.renewed(plan, self.stand_in, variance, moved)
        place = Place(
            weights=self.future.weights,
            mean=mean[:, 0, self.lead],
            variance=variance[:, 0],
            noise=self.told(covariance[:, 0]),
            landing=plan.line.move_variance[self.stand_in],
            stand_in=self.stand_in,
            offset=offset[:, 0, self.lead],
            since=None if since is None else since[:, 0],
            when_landed=None if since is None else belief[:, 0],
        )
        return replace(choice, minutes=choice.minutes + not_knowing_min(plan, place))

    def _price(self, plan: Plan, change: Array, moved: Mask) -> tuple[Array, Array, Array]:
        """Return minutes of cutting, minutes of testing first and tests then expected, each (P,)."""
        mean, covariance = self.future.after(change, moved)
        variance = np.diagonal(covariance, axis1=2, axis2=3)
        price = self.setup.stakes.move_min * moved.sum(axis=1)
        w = self.future.weights
        cut = w @ batch_minutes(self.losses, mean, variance, self.cut_sd, self.drift) + price
        z, P = mean[:, :, self.lead], variance[:, :, self.lead]
        belief, since = self.renewed(plan, self.stand_in, P, moved) if plan.line.renews else (P, None)
        test = w @ plan.test_minutes(self.stand_in, z, belief, since) + price
        tests = w @ plan.tests_expected(self.stand_in, z, belief, since)
        return cut, test, tests

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
        slopes = self.mean_slopes()[:, a]
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
            variance, since = self.renewed(plan, self.stand_in, variance, none)
        value = plan.best_minutes(self.stand_in, there, variance, since)
        return float(self.future.weights @ value.mean(axis=1))

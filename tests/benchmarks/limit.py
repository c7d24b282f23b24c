"""The exact limit where everything but offset and luck is known: the plan on the true parameters.

A belief filter of its own (Kalman, for both kinds of landing) and the plan's tables; nothing of the
regression or of the program's weighing is used, so that it can referee them.

Symbols
-------
z mean and P variance of the level; b offset, l error of the last landing; q landing, s^2 noise
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.decision.loss import BatchLoss
from calib.decision.plan import Line, Plan, solve_plan
from calib.shop import Cut, Setup
from calib.simulate import Action
from calib.simulate.truth import Truth

LOOKS = 241


class Limit:
    """The plan of one shop with one reading and one adjuster, as a rule.

    Parameters
    ----------
    setup : Setup
    scatter, move : float
        The true factors on the medians.
    points, rungs : int
        Size of the plan's grid.
    """

    def __init__(
        self, setup: Setup, scatter: float = 1.0, move: float = 1.0, points: int = 321, rungs: int = 80
    ) -> None:
        known, band, adjuster = setup.knowledge, setup.bands[0], setup.adjusters[0]
        self.setup, self.band, self.adjuster = setup, band, adjuster
        self.slope = float(adjuster.moves[band.name])
        self.renews = adjuster.landing == "renews"
        self.cut_variance = (scatter * known.scale(band.name, "cut_sd_mm")) ** 2
        self.noise = self.cut_variance + (scatter * known.scale(band.name, "reading_sd_mm")) ** 2
        self.landing = (self.slope * move * known.scale(adjuster.name, "move_sd_mm")) ** 2
        self.prior = known.scale(band.name, "offset_sd_mm") ** 2
        self.price = BatchLoss(band, setup.stakes.of(band.name), setup.pieces_left)
        self.plan = self._solve(points, rungs)

    @classmethod
    def of(cls, setup: Setup, truth: Truth) -> Limit:
        """Return the limit of a shop whose factors are those of a truth."""
        return cls(setup, truth.scatter, truth.move)

    def _solve(self, points: int, rungs: int) -> Plan:
        def loss(z: np.ndarray, variance: np.ndarray) -> np.ndarray:
            return self.price.minutes(z, variance + self.cut_variance)

        return solve_plan(
            Line(
                loss=loss,
                test_variance=np.array([self.noise]),
                move_variance=np.array([self.landing]),
                piece_sd=np.array([np.sqrt(self.cut_variance)]),
                step_mm=abs(self.slope) * self.adjuster.least_step_mm,
                low_mm=self.band.low_mm,
                high_mm=self.band.high_mm,
                largest_variance_mm2=self.prior + self.landing,
                test_min=self.setup.stakes.test_cut_min,
                move_min=self.setup.stakes.move_min,
                renews=self.renews,
                points=points,
                rungs=rungs,
            )
        )

    def value(self) -> float:
        """Return the expected minutes of the whole dial-in, before any cut."""
        at = np.array([[self.band.target_mm]])
        return float(self.plan.best_minutes(np.zeros(1, dtype=np.intp), at, np.array([[self.prior]]))[0, 0])

    def __call__(self, setup: Setup, cuts: Sequence[Cut]) -> Action:
        """Return the plan's next step."""
        mean, covariance, since, landed = self._belief(cuts)
        here = cuts[-1].settings_mm[self.adjuster.name]
        z, P = float(mean.sum()), float(covariance.sum())
        h = np.zeros(1, dtype=np.intp)
        if self.renews and landed is not None:
            test = self.plan.test_minutes(h, _row([z]), _row([landed]), _row([float(since)]))
        else:
            test = self.plan.test_minutes(h, _row([z]), _row([P]))
        stay = [float(self.price.minutes(np.array(z), np.array(P + self.cut_variance))), float(test[0, 0])]
        offset = float(mean[0]) if self.renews else z
        spread = float(covariance[0, 0]) if self.renews else P
        changes = self._changes(offset if self.renews else z, here)
        levels = _row(offset + self.slope * changes)
        after = spread + self.landing
        cut = self.price.minutes(levels, np.array(after + self.cut_variance))[0] + setup.stakes.move_min
        if self.renews:
            test = self.plan.test_minutes(
                h, levels, _row([spread] * len(changes)), _row([0.0] * len(changes))
            )
        else:
            test = self.plan.test_minutes(h, levels, _row([after] * len(changes)))
        moved = test[0] + setup.stakes.move_min
        i, j = int(np.argmin(cut)), int(np.argmin(moved))
        best = int(np.argmin([*stay, cut[i], moved[j]]))
        to = {self.adjuster.name: here + (0.0 if best < 2 else float(changes[i if best == 2 else j]))}
        return Action(("cut_good", "test_again", "move_and_cut_good", "move_and_test")[best], to)

    def _changes(self, level: float, here: float) -> np.ndarray:
        """Reachable moves around the target."""
        aim = (self.band.target_mm - level) / self.slope
        width = (self.band.high_mm - self.band.low_mm) / abs(self.slope)
        step = self.adjuster.least_step_mm
        if step > 0.0:
            reach = int(np.ceil(width / step)) + 1
            found = (np.round(aim / step) + np.arange(-reach, reach + 1)) * step
        else:
            found = aim + np.linspace(-width, width, LOOKS)
        return found[np.abs(found) > 1e-9]

    def _belief(self, cuts: Sequence[Cut]) -> tuple[np.ndarray, np.ndarray, int, float | None]:
        """Return mean and covariance of (b with setting, l), tests since the landing, var b when it landed.

        The first row says where the machine stood before any cut.
        """
        mean = np.array([self.band.target_mm, 0.0])
        covariance = np.diag([self.prior, 0.0])
        at, since, landed = cuts[0].settings_mm[self.adjuster.name], 0, None
        for cut in cuts:
            to = cut.settings_mm[self.adjuster.name]
            if abs(to - at) > 1e-9:
                mean[0] += self.slope * (to - at)
                if self.renews:
                    mean[1], landed, since = 0.0, float(covariance[0, 0]), 0
                    covariance = np.diag([covariance[0, 0], self.landing])
                else:
                    covariance = covariance + np.diag([self.landing, 0.0])
                at = to
            if self.band.name in cut.readings:
                pull = covariance.sum(axis=1)
                total = pull.sum() + self.noise
                mean = mean + pull * (cut.readings[self.band.name][0] - mean.sum()) / total  # type: ignore[operator]
                covariance = covariance - np.outer(pull, pull) / total
                since += 1
        return mean, covariance, since, landed


def _row(values: Sequence[float] | np.ndarray) -> np.ndarray:
    return np.asarray(values, dtype=float)[None, :]

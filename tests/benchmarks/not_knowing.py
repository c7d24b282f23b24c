"""What not knowing the scales costs, and how little of it any plan can save.

A small shop of its own: one reading, one adjuster whose landing adds, 35 hypotheses on scatter and move
error, from which the truth is drawn; the filter is in closed form and the first step is a test. Parts
(``--only``):

* ``bound``: the least minutes of a maker who is told the scales after so many tests and does the best
  possible until then, by exact backward induction over the beliefs that the tests can lead to (nothing is
  drawn by chance). To be told can only help, so no plan that is never told can cost less. Where the minutes
  no longer rise with the number, they are the least possible. Outcomes are taken at the middles of equally
  probable parts, which leaves a little out at the far ends: a finer cut gives higher bounds.
* ``makers``: simulated. ``known``: is told its scales from the start. ``one ahead``: prices a test as the
  program does, with the scales still unknown after it. ``averaged``: averages the values of plans that know
  the scales from the next test on. All meet the same shops and the same luck; their difference to ``known``
  is added to the exact minutes of that one. ± is one standard error of the pairs.

    python tests/benchmarks/not_knowing.py [--runs 4000] [--only bound]
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from kit import mean_error, plain_setup, runs_wanted, spread_out

from calib.decision.lookahead import Place, likely_outcomes, not_knowing_min
from calib.decision.loss import BatchLoss
from calib.decision.plan import Line, Plan, solve_plan

Array = np.ndarray
SEED = 20250311
OFFSET_SD, TARGET, TEST, MOVE = 0.3, 0.07, 4.0, 2.0
MOST_TESTS = 30
#: Aims away from the target, mm: a rough shop with dear pieces on one side may aim far to the other.
_FAR = np.array([0.08, 0.10, 0.13, 0.16, 0.20, 0.25, 0.30, 0.40])
AWAY = np.concatenate([-_FAR[::-1], np.linspace(-0.06, 0.06, 25), _FAR])
#: Outcomes of each test that the bounds look at, from the one before the scales are told backwards.
OUTCOMES = (21, 31, 61)
MOST_TOLD_AFTER = 4
_STATES, _MOVES_TRIED = 20_000, 7
#: log-sd of the scales, pieces, minutes per piece too high and too low.
SHOPS = {
    "dear, log-sd 0.6": (0.6, 16, 30.0, 12.0),
    "cheap, log-sd 0.6": (0.6, 8, 5.0, 5.0),
    "dear, log-sd 1.0": (1.0, 16, 30.0, 12.0),
    "cheap, log-sd 1.0": (1.0, 8, 5.0, 5.0),
}
#: Whether a maker is told the scales from the start, and whether it looks one test ahead.
MAKERS = {"known": (True, False), "one ahead": (False, True), "averaged": (False, False)}


@dataclass(frozen=True)
class Shop:
    """The hypotheses (H,) with their variances, the price list and the plan of each."""

    weights: Array
    cut: Array
    noise: Array
    landing: Array
    price: BatchLoss
    plan: Plan


@dataclass(frozen=True)
class Belief:
    """Weights, means and variances (H,) of the level."""

    weights: Array
    mean: Array
    variance: Array


@cache
def shop_of(name: str) -> Shop:
    """Return one shop with its solved plan."""
    log_sd, pieces, high, low = SHOPS[name]
    setup = plain_setup(pieces=pieces, high=high, low=low)
    known = setup.knowledge
    scatter, move = (
        side.ravel()
        for side in np.meshgrid(
            log_sd * np.linspace(-2.6, 2.6, 7), log_sd * np.linspace(-2.2, 2.2, 5), indexing="ij"
        )
    )
    weights = np.exp(-0.5 * (scatter**2 + move**2) / log_sd**2)
    cut = (known.cut_sd_mm * np.exp(scatter)) ** 2
    noise = cut + (known.reading_sd_mm * np.exp(scatter)) ** 2
    landing = (known.move_sd_mm * np.exp(move)) ** 2
    price = BatchLoss(setup.bands[0], setup.stakes.of("clearance"), pieces)
    plan = solve_plan(
        Line(
            loss=lambda z, variance: price.minutes(z, variance + cut[:, None, None]),
            test_variance=noise,
            move_variance=landing,
            piece_sd=np.sqrt(cut),
            step_mm=0.0,
            low_mm=setup.bands[0].low_mm,
            high_mm=setup.bands[0].high_mm,
            largest_variance_mm2=OFFSET_SD**2 + float(landing.max()),
            test_min=TEST,
            move_min=MOVE,
        )
    )
    return Shop(weights / weights.sum(), cut, noise, landing, price, plan)


def measured(shop: Shop, belief: Belief, y: float) -> Belief:
    """Return the belief after a test that read y."""
    total, away = belief.variance + shop.noise, y - belief.mean
    with np.errstate(divide="ignore"):
        log = np.log(belief.weights) - 0.5 * away**2 / total - 0.5 * np.log(total)
    weights = np.exp(log - log.max())
    gain = belief.variance / total
    return Belief(weights / weights.sum(), belief.mean + gain * away, gain * shop.noise)


def test_minutes(shop: Shop, belief: Belief, shift: Array, variance: Array, ahead: bool) -> tuple[float, int]:
    """Return the minutes of testing at the best of some shifts, and which one that is."""
    z = belief.mean[:, None] + shift
    H = np.arange(len(z))
    minutes = belief.weights @ shop.plan.test_minutes(H, z, np.broadcast_to(variance[:, None], z.shape))
    i = int(minutes.argmin())
    place = Place(belief.weights, z[:, i], variance, shop.noise, shop.landing, H, z[:, i])
    return float(minutes[i]) + (not_knowing_min(shop.plan, place) if ahead else 0.0), i


def step(shop: Shop, belief: Belief, ahead: bool) -> tuple[bool, float | None]:
    """Return whether a test comes next (else the batch is cut), and the shift before it, None = no move."""
    w, P = belief.weights, belief.variance
    shift = TARGET - w @ belief.mean + AWAY
    landed = P + shop.landing
    here = w @ shop.price.minutes(belief.mean, P + shop.cut)
    moved = w @ shop.price.minutes(belief.mean[:, None] + shift, (landed + shop.cut)[:, None])
    test, _ = test_minutes(shop, belief, np.zeros(1), P, ahead)
    test_moved, j = test_minutes(shop, belief, shift, landed, ahead)
    i = int(moved.argmin())
    minutes = [float(here), float(moved[i]) + MOVE, test, test_moved + MOVE]
    return [(False, None), (False, float(shift[i])), (True, None), (True, float(shift[j]))][
        int(np.argmin(minutes))
    ]


def run(task: tuple[str, int]) -> dict[str, tuple[float, int]]:
    """Return minutes and tests of every maker in one dial-in."""
    return {maker: dial_in(shop_of(task[0]), task[1], *how) for maker, how in MAKERS.items()}


def dial_in(shop: Shop, number: int, told: bool, ahead: bool) -> tuple[float, int]:
    """Return minutes and tests of one maker."""
    rng = np.random.default_rng([SEED, number])
    truth = int(rng.choice(len(shop.weights), p=shop.weights))
    level = TARGET + OFFSET_SD * rng.standard_normal()
    reading_luck, landing_luck = rng.standard_normal((2, MOST_TESTS))
    weights = np.eye(len(shop.weights))[truth] if told else shop.weights
    belief = Belief(weights, np.full(len(weights), TARGET), np.full(len(weights), OFFSET_SD**2))
    spent = 0.0
    for tests in range(1, MOST_TESTS + 1):
        belief = measured(shop, belief, level + np.sqrt(shop.noise[truth]) * reading_luck[tests - 1])
        spent += TEST
        again, shift = step(shop, belief, ahead)
        if shift is not None:
            spent += MOVE
            level += shift + np.sqrt(shop.landing[truth]) * landing_luck[tests - 1]
            belief = Belief(belief.weights, belief.mean + shift, belief.variance + shop.landing)
        if not again:
            break
    return spent + float(shop.price.minutes(np.array(level), shop.cut[truth])), tests


class Bound:
    """The least minutes of a maker who is told the scales after some tests, by backward induction.

    Symbols: S beliefs side by side, H hypotheses, M moves, K outcomes; weights, mean z and variance P (S, H).
    """

    def __init__(self, shop: Shop, outcomes: tuple[int, ...]) -> None:
        line = replace(shop.plan.line, points=321, rungs=80)
        self.shop, self.plan, self.outcomes = shop, solve_plan(line), outcomes
        self.hypotheses = np.arange(len(shop.weights))

    def told_after(self, tests: int) -> float:
        """Return the minutes from the start, the first step being a test."""
        H = len(self.hypotheses)
        z, P = np.full((1, H), TARGET), np.full((1, H), OFFSET_SD**2)
        return float(self._test(tests, Belief(self.shop.weights[None, :], z, P))[0])

    def _knowing(self, z: Array, P: Array) -> Array:
        """Minutes (..., H) of a test after which the plan knows the scales; z, P of shape (..., H)."""
        shape = z.shape
        z, P = (np.broadcast_to(part, shape).reshape(-1, shape[-1]).T for part in (z, P))
        return self.plan.test_minutes(self.hypotheses, z, P).T.reshape(shape)

    def _test(self, tests: int, at: Belief) -> Array:
        """Minutes (S,) of a test, the scales being told after so many, this one included."""
        if tests == 1:
            return np.einsum("sh,sh->s", at.weights, self._knowing(at.mean, at.variance))
        K = self.outcomes[tests - 2]
        minutes, handful = np.empty(len(at.weights)), max(_STATES // (K * K), 1)
        for i in range(0, len(minutes), handful):
            part = slice(i, i + handful)
            after = self._after(Belief(at.weights[part], at.mean[part], at.variance[part]), K)
            minutes[part] = TEST + self._best(tests - 1, after).reshape(-1, K).mean(axis=1)
        return minutes

    def _after(self, at: Belief, K: int) -> Belief:
        """Return the beliefs after K equally probable outcomes of a test from each, (S K, H)."""
        total = at.variance + self.shop.noise
        y = np.stack(
            [likely_outcomes(*each, K) for each in zip(at.weights, at.mean, np.sqrt(total), strict=True)]
        )
        away = y[:, :, None] - at.mean[:, None, :]
        log = (
            np.log(np.maximum(at.weights, 1e-300) / np.sqrt(total))[:, None, :]
            - 0.5 * away**2 / total[:, None]
        )
        weights = np.exp(log - log.max(axis=-1, keepdims=True))
        weights /= weights.sum(axis=-1, keepdims=True)
        gain = at.variance / total
        left = np.broadcast_to((gain * self.shop.noise)[:, None, :], away.shape)
        H = away.shape[-1]
        mean = at.mean[:, None, :] + gain[:, None, :] * away
        return Belief(weights.reshape(-1, H), mean.reshape(-1, H), left.reshape(-1, H))

    def _best(self, tests: int, at: Belief) -> Array:
        """Minutes (S,) of the best step, the scales being told after so many more tests."""
        w, P, landed = at.weights, at.variance, at.variance + self.shop.landing
        moves = (TARGET - np.einsum("sh,sh->s", w, at.mean))[:, None] + AWAY
        there = at.mean[:, None, :] + moves[:, :, None]
        cut = self.shop.price.minutes(there, (landed + self.shop.cut)[:, None, :])
        best = np.einsum("sh,smh->sm", w, cut).min(axis=1) + MOVE
        best = np.minimum(best, np.einsum("sh,sh->s", w, self.shop.price.minutes(at.mean, P + self.shop.cut)))
        # knowing after the test is the least that it can cost: what is no better even so is left out
        here = np.einsum("sh,sh->s", w, self._knowing(at.mean, P))
        moved = np.einsum("sh,smh->sm", w, self._knowing(there, landed[:, None, :])) + MOVE
        if tests == 1:
            return np.minimum(best, np.minimum(here, moved.min(axis=1)))
        best = self._lowered(best, tests, here, 0.0, Belief(w, at.mean, P))
        for m in np.argsort(moved, axis=1)[:, :_MOVES_TRIED].T:
            least = np.take_along_axis(moved, m[:, None], axis=1)[:, 0]
            best = self._lowered(best, tests, least, MOVE, Belief(w, there[np.arange(len(m)), m], landed))
        return best

    def _lowered(self, best: Array, tests: int, least: Array, price: float, at: Belief) -> Array:
        """Return the best so far, or a test where that is cheaper; `least` is the least a test can cost."""
        open_ = np.flatnonzero(least < best)
        if len(open_):
            part = Belief(at.weights[open_], at.mean[open_], at.variance[open_])
            best[open_] = np.minimum(best[open_], self._test(tests, part) + price)
        return best


def bound_part(name: str) -> None:
    """Print the least minutes of a maker who is told the scales after so many tests."""
    known = 0.0
    print(f"{name}: told the scales after so many tests, the best possible until then")
    for tests in range(1, MOST_TOLD_AFTER + 1):
        bound = Bound(shop_of(name), OUTCOMES[max(len(OUTCOMES) - tests + 1, 0) :])
        minutes = bound.told_after(tests)
        known = known or minutes
        print(f"  {tests:14}{minutes:9.2f} min   {minutes / known:.4f} of knowing them", flush=True)
    print(flush=True)


def makers_part(name: str, runs: int, processes: int) -> None:
    """Print what the simulated makers cost."""
    exact = Bound(shop_of(name), ()).told_after(1)
    found = spread_out(run, [(name, i) for i in range(runs)], processes, name)
    print(
        f"{name}, {runs} dial-ins\n  {'':14}{'minutes':>16}{'tests':>8}   to known, exactly {exact:.2f} min"
    )
    minutes = {maker: np.array([row[maker][0] for row in found]) for maker in MAKERS}
    for maker, own in minutes.items():
        mean, error = mean_error(own)
        more, spread = mean_error(own - minutes["known"])
        tests = np.mean([row[maker][1] for row in found])
        print(
            f"  {maker:14}{mean:9.2f} ±{error:5.2f}{tests:8.2f}"
            f"   {1 + more / exact:.3f} ±{spread / exact:.3f}"
        )
    saved, error = mean_error(minutes["averaged"] - minutes["one ahead"])
    print(f"  averaged less one ahead: {saved:+.2f} ±{error:.2f} min\n", flush=True)


def main() -> None:
    """Print the parts."""
    options = runs_wanted("What not knowing the scales costs, and the least it can cost.", 4000)
    for name in SHOPS:
        shop_of(name)  # solved once, before the processes part
        if options.only in "bound":
            bound_part(name)
        if options.only in "makers":
            makers_part(name, options.runs, options.processes)


if __name__ == "__main__":
    main()

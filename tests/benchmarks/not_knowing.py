"""What not knowing the scales costs, and how much of it no plan could save.

A small shop of its own: one reading, one adjuster whose landing adds, 35 hypotheses on scatter and move
error, from which the truth is drawn; the filter is in closed form. The makers:

* ``known``: is told its scales from the start.
* ``told after 2``, ``told after 3``: is told them after its second or third test, and plans for that
  exactly until then. To be told can only help, so what it costs bounds the cost of every plan that is
  never told from below (in the mean; ± is one standard error of the paired ratio).
* ``one ahead``: prices a test as the program does, with the scales still unknown after it.
* ``averaged``: averages the values of plans that know the scales from the next test on.

The first step is a test for all of them; all meet the same shops and the same luck.

    python tests/benchmarks/not_knowing.py [--runs 400] [--only "dear"]
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from kit import mean_error, plain_setup, ratio_error, runs_wanted, spread_out

from calib.decision.lookahead import Place, not_knowing_min
from calib.decision.loss import BatchLoss
from calib.decision.plan import Line, Plan, solve_plan

Array = np.ndarray
SEED = 20250311
OFFSET_SD, TARGET, TEST, MOVE = 0.3, 0.07, 4.0, 2.0
MOST_TESTS = 30
AWAY = np.linspace(-0.06, 0.06, 25)
#: log-sd of the scales, pieces, minutes per piece too high and too low.
SHOPS = {
    "dear, log-sd 0.6": (0.6, 16, 30.0, 12.0),
    "cheap, log-sd 0.6": (0.6, 8, 5.0, 5.0),
    "dear, log-sd 1.0": (1.0, 16, 30.0, 12.0),
    "cheap, log-sd 1.0": (1.0, 8, 5.0, 5.0),
}
#: Test after which a maker is told its scales, and whether it looks one test ahead until then.
MAKERS = {
    "known": (0, False),
    "told after 2": (2, False),
    "told after 3": (3, True),
    "one ahead": (MOST_TESTS + 1, True),
    "averaged": (MOST_TESTS + 1, False),
}


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


def dial_in(shop: Shop, number: int, told_after: int, looks_ahead: bool) -> tuple[float, int]:
    """Return minutes and tests of one maker."""
    rng = np.random.default_rng([SEED, number])
    truth = int(rng.choice(len(shop.weights), p=shop.weights))
    level = TARGET + OFFSET_SD * rng.standard_normal()
    reading_luck, landing_luck = rng.standard_normal((2, MOST_TESTS))
    sure = np.eye(len(shop.weights))[truth]
    weights = sure if told_after == 0 else shop.weights
    belief = Belief(weights, np.full(len(weights), TARGET), np.full(len(weights), OFFSET_SD**2))
    spent = 0.0
    for tests in range(1, MOST_TESTS + 1):
        belief = measured(shop, belief, level + np.sqrt(shop.noise[truth]) * reading_luck[tests - 1])
        spent += TEST
        if tests >= told_after:
            belief = Belief(sure, belief.mean, belief.variance)
        again, shift = step(shop, belief, looks_ahead and tests + 1 < told_after)
        if shift is not None:
            spent += MOVE
            level += shift + np.sqrt(shop.landing[truth]) * landing_luck[tests - 1]
            belief = Belief(belief.weights, belief.mean + shift, belief.variance + shop.landing)
        if not again:
            break
    return spent + float(shop.price.minutes(np.array(level), shop.cut[truth])), tests


def main() -> None:
    """Print the table."""
    options = runs_wanted("What not knowing the scales costs, and what no plan could save.", 400)
    for name in SHOPS:
        if options.only not in name:
            continue
        shop_of(name)  # solved once, before the processes part
        found = spread_out(run, [(name, i) for i in range(options.runs)], options.processes, name)
        print(f"{name}, {options.runs} dial-ins\n  {'':14}{'minutes':>16}{'tests':>8}   to known")
        known = np.array([row["known"][0] for row in found])
        for maker in MAKERS:
            rows = np.array([row[maker] for row in found])
            mean, error = mean_error(rows[:, 0])
            ratio, spread = ratio_error(rows[:, 0], known)
            tests = rows[:, 1].mean()
            print(f"  {maker:14}{mean:9.2f} ±{error:5.2f}{tests:8.2f}   {ratio:.3f} ±{spread:.3f}")
        print(flush=True)


if __name__ == "__main__":
    main()

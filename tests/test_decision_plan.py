"""The plan against simulation of its own policy, a finer grid and cases that can be done by hand."""

from __future__ import annotations

import numpy as np
import pytest

from calib.decision.loss import BatchLoss
from calib.decision.plan import Line, Plan, offset_when_landed, solve_plan
from calib.normal import cdf
from calib.shop import Band, ReadingStakes

BAND = Band("clearance", 0.07, 0.03, 0.12)
PRICE = BatchLoss(BAND, ReadingStakes(30.0, 12.0), 16)
CUT, READ, MOVE = 0.02, 0.015, 0.025


def line(**changes: object) -> Line:
    settings: dict[str, object] = {
        "loss": lambda z, variance: PRICE.minutes(z, variance + CUT**2),
        "test_variance": np.array([CUT**2 + READ**2]),
        "move_variance": np.array([MOVE**2]),
        "piece_sd": np.array([CUT]),
        "step_mm": 0.0,
        "low_mm": BAND.low_mm,
        "high_mm": BAND.high_mm,
        "largest_variance_mm2": 0.01,
        "test_min": 4.0,
        "move_min": 2.0,
    }
    return Line(**{**settings, **changes})  # type: ignore[arg-type]


ONE = np.zeros(1, dtype=np.intp)


def value(plan: Plan, z: float, variance: float) -> float:
    """Minutes from a belief as the advice counts them: cutting exactly, the rest from the plan."""
    at, P = np.array([[z]]), np.array([[variance]])
    cut = PRICE.minutes(at, P + CUT**2)
    return float(min(cut[0, 0], plan.test_minutes(ONE, at, P)[0, 0], plan.move_minutes(ONE, at, P)[0, 0]))


@pytest.mark.parametrize("renews", [False, True])
@pytest.mark.parametrize("step", [0.0, 0.02])
def test_a_finer_grid_changes_the_plan_by_less_than_half_a_percent(renews, step):
    coarse = solve_plan(line(renews=renews, step_mm=step))
    fine = solve_plan(line(renews=renews, step_mm=step, points=449, rungs=96))
    for z in (0.07, 0.1, 0.15, 0.3):
        for variance in (0.0002, 0.001, 0.006):
            assert value(coarse, z, variance) == pytest.approx(value(fine, z, variance), rel=5e-3)


def simulated(plan: Plan, z: float, variance: float, runs: int, seed: int) -> tuple[float, float]:
    """Follow the plan's own policy on drawn truths; return mean minutes and their standard error."""
    rng = np.random.default_rng(seed)
    noise = float(plan.line.test_variance[0])
    mean, P = np.full(runs, z), np.full(runs, variance)
    truth = z + np.sqrt(variance) * rng.standard_normal(runs)
    spent, open_ = np.zeros(runs), np.ones(runs, dtype=bool)
    grid = np.linspace(-0.02, 0.16, 91)
    for _ in range(60):
        at = np.flatnonzero(open_)
        if not len(at):
            break
        h, zz, PP = np.zeros(len(at), dtype=np.intp), mean[at, None], P[at, None]
        cut = PRICE.minutes(zz, PP + CUT**2)[:, 0]
        test, move = plan.test_minutes(h, zz, PP)[:, 0], plan.move_minutes(h, zz, PP)[:, 0]
        moving = move < np.minimum(cut, test)
        if moving.any():
            who = at[moving]
            moved = P[who] + MOVE**2
            there = np.broadcast_to(grid, (len(who), len(grid)))
            spread = np.broadcast_to(moved[:, None], there.shape)
            hh = np.zeros(len(who), dtype=np.intp)
            worth = np.minimum(PRICE.minutes(there, spread + CUT**2), plan.test_minutes(hh, there, spread))
            target = grid[worth.argmin(axis=1)]
            truth[who] += target - mean[who] + MOVE * rng.standard_normal(len(who))
            mean[who], P[who], spent[who] = target, moved, spent[who] + plan.line.move_min
            cut[moving] = PRICE.minutes(target[:, None], moved[:, None] + CUT**2)[:, 0]
            test[moving] = plan.test_minutes(hh, target[:, None], moved[:, None])[:, 0]
        ends = cut <= test
        who = at[ends]
        sizes = truth[who]
        above, below = cdf((sizes - BAND.high_mm) / CUT), cdf((BAND.low_mm - sizes) / CUT)
        spent[who] += PRICE.pieces * (30.0 * above + 12.0 * below)
        open_[who] = False
        who = at[~ends]
        y = truth[who] + np.sqrt(noise) * rng.standard_normal(len(who))
        gain = P[who] / (P[who] + noise)
        mean[who], P[who] = mean[who] + gain * (y - mean[who]), P[who] * (1.0 - gain)
        spent[who] += plan.line.test_min
    return float(spent.mean()), float(spent.std() / np.sqrt(runs))


@pytest.mark.parametrize(("z", "variance"), [(0.07, 0.0004), (0.12, 0.001), (0.3, 0.005)])
def test_the_value_of_the_plan_is_what_following_it_costs(z, variance):
    """20,000 simulated dial-ins, three standard errors, seeded; landing adds."""
    plan = solve_plan(line(rungs=64))
    mean, error = simulated(plan, z, variance, 20_000, seed=3)
    assert abs(value(plan, z, variance) - mean) < 3.0 * error + 0.01 * mean


def test_a_sure_setting_in_the_middle_is_cut_at_once():
    plan = solve_plan(line())
    z, P = np.array([[0.07]]), np.array([[1e-6]])
    assert plan.test_minutes(ONE, z, P)[0, 0] > float(PRICE.minutes(z, P + CUT**2)[0, 0])


def test_moving_twice_in_a_row_is_worth_nothing():
    """Far from the band the value no longer depends on how far: one move, whatever its length."""
    plan = solve_plan(line())
    assert value(plan, 0.5, 0.001) == pytest.approx(value(plan, 0.9, 0.001), rel=1e-9)


def test_without_an_adjuster_the_plan_is_to_cut():
    plan = solve_plan(line(can_move=False))
    for z in (0.0, 0.07, 0.3):
        loss = float(PRICE.minutes(np.array(z), np.array(0.001 + CUT**2)))
        assert value(plan, z, 0.001) == pytest.approx(loss, rel=5e-3)


def test_a_coarse_step_costs_more_than_a_fine_one():
    fine, coarse = solve_plan(line()), solve_plan(line(step_mm=0.1))
    assert value(coarse, 0.15, 0.0005) > value(fine, 0.15, 0.0005)


def test_the_state_of_a_landing_that_renews_is_found_again():
    """B and the number of tests are recovered from the two variances that they lead to."""
    B, q, noise = np.array([[0.002, 0.0004]]), np.array([[MOVE**2]]), np.array([[CUT**2 + READ**2]])
    for tests in (0.0, 1.0, 3.0):
        A = B + q
        total = A / (1.0 + tests * A / noise)
        offset = B - B**2 * (A - total) / A**2
        found, since = offset_when_landed(total, offset, q + 0.0 * B, noise + 0.0 * B)
        assert found == pytest.approx(B, rel=1e-9)
        assert since == pytest.approx(np.full_like(B, tests), abs=1e-9)


def test_landing_that_renews_is_worth_no_less_than_landing_that_adds():
    """With the same error of a move, leaving the last one behind can only help."""
    adds, renews = solve_plan(line(rungs=64)), solve_plan(line(renews=True, rungs=40))
    for z, variance in ((0.07, 0.003), (0.2, 0.003)):
        assert value(renews, z, variance) <= value(adds, z, variance) * 1.005

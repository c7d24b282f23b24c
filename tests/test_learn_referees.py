"""What is carried from mounting to mounting against independent referees.

Slips are not expected and the scale is typed (so that it cannot count the other way): then every step
is exact, and the referee is one dense normal distribution over the readings of all mountings.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest
from setups import GAP, RISE, plain

from calib.errors import CalibError
from calib.geometry import describe
from calib.regression import posterior
from calib.regression.learn import Carried, carry
from calib.regression.learn.carry import believed
from calib.regression.learn.grid import MOUNTING_LOG_SD
from calib.regression.learn.state import belief
from calib.shop import Adjuster, Band, Cut, Cutter, Joint, Scales

TIGHT = {"rtol": 1e-9, "atol": 1e-9}
MOVE_SD, SCALE_SD, MOUNTING_SD, OFFSET_SD = 0.03, 0.04, 0.05, 0.2
TYPED = Adjuster("lever", typed=True, moves={"gap": -1.0})
NOISE = 0.06**2 + 0.03**2


def learning(*adjusters, **known):
    """Return a setup whose scales are to be learned; its lever errs, though it is typed."""
    options = {"scales_known": False, "scale_sd": SCALE_SD, "mounting_sd_mm": MOUNTING_SD, **known}
    return plain(*(adjusters or (TYPED,)), of={"lever": Scales(move_sd_mm=MOVE_SD)}, **options)


def history(mountings=4, cuts=5, seed=3):
    """Return the log of some mountings: the lever starts near 0.1 and is moved twice in each."""
    rng = np.random.default_rng(seed)
    found = []
    for j in range(mountings):
        offset, error, x = 0.15 + 0.05 * rng.standard_normal(), 0.0, round(0.1 * rng.standard_normal(), 2)
        rows = []
        for n in range(cuts):
            if n in (1, 3):
                x, error = round(x + 0.1 * rng.standard_normal(), 2), error + 0.02 * rng.standard_normal()
            gap = offset - 1.03 * x - error + 0.05 * rng.standard_normal()
            rows.append(
                Cut(len(found) * cuts + n + 1, "test", {"lever": x}, {"gap": (gap,)}, mounting=f"m{j}")
            )
        found.append(rows)
    return found


def carried_through(setup, mountings):
    state = None
    for rows in mountings:
        state = carry(state, setup, rows)
    return state


def dense(mountings, scatter, move, spread):
    """Return log density of all readings, and mean and covariance of (offset, scale error) given them.

    Textbook conditioning of one joint normal distribution (D); settings count from the first one.
    """
    x = np.array([c.settings_mm["lever"] for rows in mountings for c in rows])
    x = x - x[0]
    y = np.array([c.readings["gap"][0] for rows in mountings for c in rows]) + x
    which = np.repeat(np.arange(len(mountings)), [len(rows) for rows in mountings])
    moved = np.concatenate([
        np.cumsum([0, *(np.diff([c.settings_mm["lever"] for c in rows]) != 0)]) for rows in mountings
    ])  # fmt: skip
    same = which[:, None] == which
    V = same * (spread**2 + (MOVE_SD * move) ** 2 * np.minimum.outer(moved, moved))
    V = V + NOISE * scatter**2 * np.eye(len(y))
    H = np.column_stack([np.ones_like(x), -x])
    prior = np.diag([OFFSET_SD**2, SCALE_SD**2])
    V = V + H @ prior @ H.T
    log_density = -0.5 * (np.linalg.slogdet(V)[1] + y @ np.linalg.solve(V, y))
    gain = prior @ H.T @ np.linalg.inv(V)
    return log_density, gain @ y, prior - gain @ H @ prior


def test_every_hypothesis_is_one_dense_posterior_of_all_mountings():
    setup, mountings = learning(), history()
    ((_, ground),) = believed(carried_through(setup, mountings), setup)
    grid, found = ground.grid, ground.believed
    L, M, N, _, _ = grid.shape
    rng = np.random.default_rng(1)
    picked = rng.choice(np.flatnonzero(found.weight > 1e-7 * found.weight.max()), 60, replace=False)
    log_ratio = []
    for h in picked:
        scatter = math.exp(grid.scatter_log[h // (M * N)])
        move = math.exp(grid.move_log[h // N % M])
        spread = MOUNTING_SD * math.exp(grid.mounting_log[h % N])
        log_density, mean, covariance = dense(mountings, scatter, move, spread)
        np.testing.assert_allclose(found.mean[h], mean, **TIGHT)
        np.testing.assert_allclose(found.covariance[h], covariance, **TIGHT)
        log_prior = -0.5 * (math.log(scatter) ** 2 + math.log(move) ** 2) / setup.knowledge.log_sd**2
        log_prior -= 0.5 * (math.log(spread / MOUNTING_SD) / MOUNTING_LOG_SD) ** 2
        log_ratio.append(math.log(found.weight[h]) - log_density - log_prior)
    assert len(found.weight) == L * M * N
    np.testing.assert_allclose(log_ratio, log_ratio[0], rtol=1e-9)


def test_the_order_of_mountings_does_not_matter():
    """The first one stays where it is only because it says at which setting offsets are defined."""
    setup, mountings = learning(), history()
    first, *rest = mountings
    ((_, one),) = believed(carried_through(setup, [first, *rest]), setup)
    ((_, other),) = believed(carried_through(setup, [first, *reversed(rest)]), setup)
    np.testing.assert_allclose(other.believed.weight, one.believed.weight, rtol=1e-9, atol=1e-12)
    alive = one.believed.weight > 1e-12  # the rest may be given up sooner or later
    np.testing.assert_allclose(other.believed.mean[alive], one.believed.mean[alive], **TIGHT)
    np.testing.assert_allclose(other.believed.covariance[alive], one.believed.covariance[alive], **TIGHT)


def test_one_mounting_at_a_time_is_all_at_once():
    """With every scale known, against the posterior of the whole log with a term for each mounting."""
    setup = learning(scales_known=True, stock_sd_mm=0.02)
    mountings = [[replace(c, stock="ash") for c in rows] for rows in history()]
    *before, last = mountings
    one = posterior(setup, last[:2], carried=carried_through(setup, before))
    stocks = replace(setup, stock="oak")  # a second stock makes the whole log tell stocks apart as well
    whole = posterior(stocks, [c for rows in before for c in rows] + last[:2])
    names = whole.blocks[0].names
    at = [names.index(n) for n in ("offset:gap", "scale:lever", "stock:gap:ash")]
    M = np.zeros((3, len(names)))
    M[range(3), at] = 1.0
    M[0, names.index("span:gap:3")] = 1.0
    here = [one.blocks[0].names.index(n) for n in ("offset:gap", "scale:lever", "stock:gap:ash")]
    np.testing.assert_allclose(one.blocks[0].mean[0][here], M @ whole.blocks[0].mean[0], **TIGHT)
    expected = M @ whole.blocks[0].covariance[0] @ M.T
    np.testing.assert_allclose(one.blocks[0].covariance[0][np.ix_(here, here)], expected, **TIGHT)
    assert one.next_reading("gap").u == pytest.approx(math.sqrt(one.size("gap").u ** 2 + NOISE), rel=1e-9)


def test_two_readings_on_one_lever_are_carried_together():
    """The same, for a block of two readings whose offsets every mounting draws apart."""
    lever = Adjuster("lever", typed=True, moves={"gap": -1.0, "rise": 0.5})
    setup = replace(learning(lever, scales_known=True), bands=(GAP, RISE))
    rng = np.random.default_rng(5)
    mountings = [
        [replace(c, readings={**c.readings, "rise": (0.5 + 0.1 * rng.standard_normal(),)}) for c in rows]
        for rows in history(3)
    ]
    one = posterior(setup, mountings[2][:3], carried=carried_through(setup, mountings[:2]))
    whole = posterior(setup, [c for rows in mountings[:2] for c in rows] + mountings[2][:3])
    for reading in ("gap", "rise"):
        assert one.size(reading).expected == pytest.approx(whole.size(reading).expected, rel=1e-9)
        assert one.size(reading).u == pytest.approx(whole.size(reading).u, rel=1e-9)


def test_a_state_written_out_and_read_again_is_the_same():
    setup = learning()
    state = carried_through(setup, history(2))
    again = Carried.from_dict(json.loads(json.dumps(state.as_dict(), allow_nan=False)))
    for one, other in zip(state.blocks, again.blocks, strict=True):
        assert one.terms == other.terms
        np.testing.assert_array_equal(one.constant, other.constant)
        np.testing.assert_array_equal(one.precision, other.precision)
    assert again.mountings == ("m0", "m1")
    with pytest.raises(CalibError, match="Add it up again"):
        Carried.from_dict({**state.as_dict(), "grid": "0"})


def test_forgetting_a_term_integrates_it_out():
    """What is believed of the others stays as it was, and so does every hypothesis's weight."""
    setup = learning(stock_sd_mm=0.02)
    mountings = [
        [replace(c, stock=stock) for c in rows] for rows, stock in zip(history(2), "ab", strict=True)
    ]
    ((_, ground),) = believed(carried_through(setup, mountings), setup)
    k = ground.state.terms.index("stock:gap:a")
    less = belief(ground.state.without("stock:gap:a", 0.02), ground.grid, np.delete(ground.prior_sd, k))
    alive = ground.believed.weight > 1e-12
    np.testing.assert_allclose(less.weight[alive], ground.believed.weight[alive], rtol=1e-9)
    np.testing.assert_allclose(less.mean[alive], np.delete(ground.believed.mean, k, 1)[alive], **TIGHT)
    kept = np.delete(np.delete(ground.believed.covariance, k, 1), k, 2)
    np.testing.assert_allclose(less.covariance[alive], kept[alive], **TIGHT)


def test_an_edge_moves_every_reading_by_its_slope():
    """Another sharpening: the offset starts from the setup's own, wider by the recession slope times 0.05."""
    setup = replace(
        learning(), joint=Joint("finger", key_width_mm=6.0), bands=(Band("clearance", 0.07, 0.0, 0.15),)
    )
    setup = replace(setup, adjusters=(Adjuster("key", typed=True),), cutter=Cutter("spiral", 6.0))
    rows = [
        Cut(n, "test", {"key": 6.0}, {"clearance": (0.1,)}, mounting="1", sharpening="a") for n in (1, 2, 3)
    ]
    state = carry(None, setup, rows)
    slope = describe(setup, {"key": 6.0}).recession_slopes["clearance"]

    def offset(edge):
        at = [Cut(4, "test", {"key": 6.0}, pieces=0, mounting="2", sharpening=edge)]
        return posterior(setup, at, carried=state).offset("clearance")

    assert slope != 0.0
    prior = OFFSET_SD**2 + (slope * 0.05) ** 2
    assert offset("a").u ** 2 < offset("b").u ** 2 < prior + 2.0 * MOUNTING_SD**2
    share = OFFSET_SD**2 / prior  # of what edge a showed, the part that is not its own
    assert offset("b").expected == pytest.approx(share * offset("a").expected, rel=1e-3)

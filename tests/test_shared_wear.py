"""The wear of an edge that setups share: against brute force, against one setup alone, and in simulation."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from setups import condition_densely
from wearkit import FINGERS, TRAYS, Plan, simulated

from calib.decision.ahead import look_ahead
from calib.regression.infer import posterior
from calib.regression.prospect import prospect
from calib.regression.recession import (
    HEAD_START_M,
    OVER_LOG_SD,
    OVER_M,
    EdgeBelief,
    RateGrid,
    Recession,
)
from calib.regression.sharedwear import EdgeLog, belief, shared_wear
from calib.shop import Cut, Knowledge

SD = 0.0005
EXACT = Knowledge(
    wear_sd_mm_per_m=SD,
    scales_known=True,
    blunder_probability=0.0,
    scale_sd=0.0,
    cut_sd_mm=0.015,
    reading_sd_mm=0.01,
)
NOISE = 0.015**2 + 0.01**2
PLAY = (0.12, 0.10, 0.06, 0.05, 0.01)


def exact_log(setup, values, metres=20.0, mountings=None) -> EdgeLog:
    """One measured row every so many metres, in one mounting or in those named."""
    name = setup.bands[0].name
    named = mountings or ["1"] * len(values)
    rows = [
        Cut(n, "good", {"key": 5.9}, {name: (v,)}, metres_m=metres, mounting=m)
        for n, (v, m) in enumerate(zip(values, named, strict=True), 1)
    ]
    return EdgeLog(replace(setup, knowledge=EXACT), rows)


def dense(logs_of_rows, points=400):
    """Integrate by brute force over rate x head start x over, each offset conditioned by textbook algebra.

    Head start and `over` take the program's own nodes (they are its prior), the rate a grid of its own.
    """
    rates = (np.arange(points) + 0.5) / points * 6.0 * SD
    heads, overs = (
        [HEAD_START_M * h for h in _quarters()],
        OVER_M * np.exp(OVER_LOG_SD * np.array([-1.0, 1.0])),
    )
    log_weight = np.zeros((points, 4, 2))
    for i, rate in enumerate(rates):
        for j, head in enumerate(heads):
            for k, over in enumerate(overs):
                total = -0.5 * (rate / SD) ** 2
                for metres, values, H in logs_of_rows:
                    lost = rate * metres + rate * head * (1.0 - np.exp(-metres / over))
                    y = np.array(values) - 0.1 + 3.0 * lost  # nominal play: 6.0 - 5.9
                    total += condition_densely(H, [0.3] * len(H[0]), NOISE, y).log_density
                log_weight[i, j, k] = total
    weight = np.exp(log_weight - log_weight.max())
    return rates, np.array(heads), overs, weight / weight.sum()


def _quarters():
    """Means of the four equally likely parts of an exponential: E[x; x > a] = (a + 1) exp(-a)."""
    edges = [0.0, *(-math.log(1 - k / 4) for k in (1, 2, 3)), 60.0]
    return [4.0 * ((a + 1) * math.exp(-a) - (b + 1) * math.exp(-b)) for a, b in itertools.pairwise(edges)]


def cumulative(rates, weight, at):
    share = weight.sum(axis=(1, 2))
    edges = np.append(0.0, 0.5 * (rates[1:] + rates[:-1]))
    return float(np.interp(at, edges, np.append(0.0, np.cumsum(share))[: len(edges)]))


def test_one_setup_equals_brute_force_integration():
    log = exact_log(FINGERS, PLAY)
    before = 20.0 * np.arange(5) + 20.0  # metres_per_piece counts before the last piece: one piece, so none
    rates, heads, overs, weight = dense([(before - 20.0, PLAY, [[1.0]] * 5)])
    found = shared_wear([log])
    for coverage in (0.5, 0.9):
        low, middle, high = found.range_of_rate(coverage)
        tail = 0.5 * (1 - coverage)
        for q, p in ((low, tail), (middle, 0.5), (high, 1 - tail)):
            assert cumulative(rates, weight, q) == pytest.approx(p, abs=0.006)
    lost = rates[:, None, None] * (100.0 + heads[:, None] * (1.0 - np.exp(-100.0 / overs)))
    mean = float((weight * lost).sum())
    assert float(found.weights @ found.recession.at(100.0)) == pytest.approx(mean, rel=0.002)


def test_two_setups_multiply_their_evidence_and_each_mounting_keeps_its_offset():
    """Brute force over both logs: play and clearance of two setups, the second in two mountings."""
    other = replace(TRAYS, knowledge=EXACT)
    values, spans = (0.09, 0.07, 0.12, 0.10, 0.08), ["1", "1", "2", "2", "2"]
    one, two = exact_log(FINGERS, PLAY), exact_log(other, values, 25.0, spans)
    H = [[1.0, 0.0] if span == "1" else [0.0, 1.0] for span in spans]
    before = (20.0 * np.arange(5), PLAY, [[1.0]] * 5), (25.0 * np.arange(5), values, H)
    rates, _, _, weight = dense(before)
    found = shared_wear([one, two])
    for q, p in zip(found.range_of_rate(), (0.05, 0.5, 0.95), strict=True):
        assert cumulative(rates, weight, q) == pytest.approx(p, abs=0.006)


def test_the_order_of_the_setups_does_not_matter():
    one, two = exact_log(FINGERS, PLAY), exact_log(TRAYS, (0.09, 0.07, 0.06), 25.0)
    np.testing.assert_allclose(
        shared_wear([one, two]).range_of_rate(), shared_wear([two, one]).range_of_rate(), rtol=1e-9
    )


@pytest.mark.parametrize("which", [0, 1])
def test_a_setup_that_is_told_of_the_others_believes_what_all_say_together(which):
    """Its own rows count once: its posterior's weights are those of the joint one, gathered."""
    logs = simulated(Plan(100.0), np.random.default_rng(3)).logs
    shared = shared_wear(logs)
    log = logs[which]
    found = posterior(log.setup, log.cuts, belief(shared, log, 25.0)).blocks[0]
    for metres in (10.0, 100.0, 150.0):
        assert found.weights @ found.recession.at(metres) == pytest.approx(
            shared.weights @ shared.recession.at(metres), rel=0.015
        )
    assert found.weights @ found.recession.rate_mm_per_m == pytest.approx(
        shared.weights @ shared.recession.rate_mm_per_m, rel=0.015
    )


def test_alone_a_setup_is_told_nothing_but_the_prior():
    """With no other log, the belief times its own evidence is its own posterior on a fine grid."""
    log = exact_log(FINGERS, PLAY)
    shared = shared_wear([log])
    told = posterior(log.setup, log.cuts, belief(shared, log, 25.0))
    exact = posterior(log.setup, log.cuts, EdgeBelief({"play": RateGrid(SD, 0.0, 4.0 * SD, 61).axis()}))
    for metres in (50.0, 100.0, 200.0):
        one, other = (p.blocks[0] for p in (told, exact))
        assert one.weights @ one.recession.at(metres) == pytest.approx(
            other.weights @ other.recession.at(metres), rel=0.015
        )
    assert told.next_reading("play").quantile(0.05) == pytest.approx(
        exact.next_reading("play").quantile(0.05), abs=1e-3
    )


def test_a_setup_that_shares_the_edge_narrows_the_wear_of_another():
    """On average over simulated edges; the benchmark prints the ratio."""
    alone, both = [], []
    for seed in range(8):
        logs = simulated(Plan(100.0), np.random.default_rng([5, seed])).logs
        alone.append(shared_wear(logs[:1]).narrowed)
        both.append(shared_wear(logs).narrowed)
    assert np.mean(both) < 0.92 * np.mean(alone)


def test_no_row_on_a_worn_edge_leaves_the_prior():
    shared = shared_wear([exact_log(FINGERS, (0.1,))])
    assert shared.narrowed == pytest.approx(1.0, abs=0.02)
    assert not shared.established
    assert shared.range_after(0.0) == (0.0, 0.0, 0.0)


def test_recession_is_never_negative_and_never_shrinks():
    """Even where the cuts say that the slot has grown."""
    shared = shared_wear([exact_log(FINGERS, (0.0, 0.05, 0.1, 0.15, 0.2))])
    courses = shared.recession.at(np.linspace(0.0, 400.0, 81))
    assert courses.min() >= 0.0
    assert np.diff(courses, axis=1).min() >= 0.0


def test_many_rows_bring_the_rate_home():
    """0.0003 mm per m and a head start of 20 m, 40 rows on one mounting over 400 m: both within the range."""
    truth = Recession(np.array([3e-4]), np.array([3e-4 * 20.0]), np.array([10.0]))
    plan = Plan(400.0, visit_m=400.0, rows=40, setups=1)
    shared = shared_wear(simulated(plan, np.random.default_rng(8), truth).logs)
    low, middle, high = shared.range_of_rate()
    assert low < 3e-4 < high
    assert middle == pytest.approx(3e-4, rel=0.25)
    assert shared.narrowed < 0.3


def test_what_holds_at_90_percent_does_so_in_simulation():
    """40 edges drawn from the prior; the benchmark does it with more, and says the standard error."""
    stayed = []
    for seed in range(40):
        edge = simulated(Plan(100.0), np.random.default_rng([6, seed]))
        shared = shared_wear(edge.logs)
        if not shared.established:
            continue
        for k, log in enumerate(edge.logs):
            future = prospect(posterior(log.setup, log.cuts, belief(shared, log, 25.0)).blocks[0])
            ahead = look_ahead(future, np.zeros(1), np.zeros(1, bool), 0, log.setup.bands[0])
            pieces = ahead.most(0.9)
            if 0.0 < pieces < np.inf:
                stayed.append(edge.stays(k, pieces * future.edge.metres_per_piece_m))
    assert len(stayed) > 35
    assert np.mean(stayed) == pytest.approx(0.9, abs=3.0 * np.std(stayed) / math.sqrt(len(stayed) / 2))


def test_the_wear_of_another_cutter_or_an_earlier_edge_is_no_part_of_it():
    """Rows before the last edge change nothing of its rate; the scatter is known, so nothing is shared."""
    log = exact_log(FINGERS, PLAY)
    earlier = exact_log(FINGERS, (0.2, 0.1, 0.0)).cuts
    old = [replace(cut, number=20 + cut.number, sharpening="old") for cut in earlier]
    new = [replace(cut, sharpening="new") for cut in log.cuts]
    found = shared_wear([EdgeLog(log.setup, [*old, *new])]).range_of_rate()
    np.testing.assert_allclose(found, shared_wear([log]).range_of_rate(), rtol=1e-6)

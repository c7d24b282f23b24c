"""Has it moved: the closed form against fitting again, and what is told when."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from calib.decision.advise import advise
from calib.decision.profile import chances_along
from calib.regression import posterior, solve
from calib.regression.hypotheses import Solver, scatter_nodes, variants_of
from calib.regression.infer import watched
from calib.regression.knowledge import known
from calib.regression.recession import unworn
from calib.regression.shift import RAISED, odds_before
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, Setup

KEY = Adjuster("key", moves={"clearance": -1.0})
SETUP = Setup("bench", Joint("plain"), (Band("clearance", 0.07, 0.02, 0.12),), (KEY,), pieces_left=16)
QUIET = [0.07, 0.06, 0.08, 0.07, 0.05, 0.075, 0.065, 0.07]


def log(values: list[float], key: list[float] | None = None, **more: str) -> list[Cut]:
    """One test cut a reading."""
    at = key or [6.0] * len(values)
    pairs = zip(at, values, strict=True)
    return [Cut(n, "test", {"key": x}, {"clearance": (y,)}, **more) for n, (x, y) in enumerate(pairs, 1)]


def found(setup: Setup, cuts: list[Cut]):
    return posterior(setup, cuts).blocks[0].shift


def test_the_closed_form_is_fitting_again_with_one_more_column():
    """Evidence of every first cut, with nothing and with each reading bad, by fitting anew (D)."""
    setup = dataclasses.replace(SETUP, knowledge=Knowledge(scales_known=True, blunder_probability=0.02))
    values = [0.07, 0.06, 0.5, 0.07, 0.065, 0.075, 0.07, 0.13, 0.15, 0.12]
    cuts = log(values)
    wide = 20.0 * math.hypot(0.02, 0.015)
    n, noise = len(values), np.full(len(values), 0.02**2 + 0.015**2)
    y = np.array(values)[None, :] - 0.07

    def evidence(bad: tuple[int, ...], first: int | None) -> float:
        columns = [np.ones(n)] + ([np.arange(n) >= first] if first is not None else [])
        prior = [0.3] + ([3.0 * math.hypot(0.02, 0.015)] if first is not None else [])
        variance = noise.copy()
        variance[list(bad)] += wide**2
        X = np.column_stack(columns).astype(float)[None]
        fit = solve.fit(X, y, variance[None], np.array([prior]))
        return float(fit.log_evidence[0]) + len(bad) * math.log(0.02 / 0.98)

    pairs = [(i, j) for i in range(n) for j in range(i + 1, n)]
    still = sum(math.exp(evidence(bad, None)) for bad in [(), *((i,) for i in range(n)), *pairs])
    steps = {
        k: odds_before(n - k, n) * sum(math.exp(evidence(bad, k)) for bad in [(), *((i,) for i in range(n))])
        for k in range(1, n - 1)
    }
    shift = found(setup, cuts)
    expected = sum(steps.values()) / (sum(steps.values()) + still)
    assert shift.step.position == max(steps, key=steps.__getitem__) == 7
    assert shift.probability == pytest.approx(expected, abs=2e-3)  # slips that hardly count are left out
    assert shift.cuts_since == 3


def test_the_size_is_that_of_fitting_again():
    """Mean and uncertainty of a step between two levels, one hypothesis, by hand (D)."""
    setup = dataclasses.replace(SETUP, knowledge=Knowledge(scales_known=True, blunder_probability=0.0))
    values = [*QUIET, 0.25, 0.27]
    shift = found(setup, log(values))
    X = np.column_stack([np.ones(10), np.arange(10) >= 8]).astype(float)
    variance = 0.02**2 + 0.015**2
    precision = X.T @ X / variance + np.diag([1 / 0.3**2, 1 / (9.0 * variance)])
    mean = np.linalg.solve(precision, X.T @ (np.array(values) - 0.07) / variance)[1]
    assert shift.size_mm["clearance"] == pytest.approx(mean, rel=1e-9)
    assert shift.u_mm["clearance"] == pytest.approx(math.sqrt(np.linalg.inv(precision)[1, 1]), rel=1e-9)


def test_a_shift_that_is_taken_as_true_moves_only_what_comes_after():
    """The belief after it is the one of a log whose later readings are that much higher, but less sure."""
    belief, shifts = watched(SETUP, log([*QUIET, 0.27, 0.26, 0.28]))
    assert [shift.step.cut for shift in shifts] == [9]
    assert belief.size("clearance").expected == pytest.approx(0.27, abs=0.01)
    assert belief.offset("clearance").expected == pytest.approx(np.mean(QUIET) - 0.07, abs=0.01)
    assert belief.size("clearance").u > posterior(SETUP, log(QUIET)).size("clearance").u


def test_one_wild_reading_is_measured_again_before_anything_is_called_a_shift():
    first = advise(SETUP, log([*QUIET, 0.30]))
    assert first.step == "measure_again"
    assert not any("moved (" in doubt for doubt in first.doubts)
    second = advise(SETUP, log([*QUIET, 0.30, 0.29]))
    assert second.step != "measure_again"
    assert [doubt.split(",")[0] for doubt in second.doubts] == ["From cut 9 on"]


def test_a_slip_between_good_readings_is_no_shift():
    shift = found(SETUP, log([*QUIET[:4], 0.7, *QUIET[4:]]))
    assert shift.probability < 0.1


def test_the_doubt_says_when_how_large_how_sure_and_what_to_do():
    advice = advise(SETUP, log([*QUIET, 0.14, 0.15, 0.13]))
    (doubt,) = advice.doubts
    assert doubt.startswith("From cut 9 on, clearance reads 0.069 mm ± 0.016 mm higher than before: over 99")
    assert "Check the key and cutter" in doubt
    assert "calib mount bench" in doubt
    assert "measure cut 11 again" in doubt
    assert "rests on the last 3 cuts" in advice.warnings[0]


def test_the_landing_of_a_move_is_no_shift():
    """The step comes with the move, whose error it is; nothing else could have been told."""
    cuts = log([*QUIET, 0.14, 0.15, 0.13], [6.0] * 8 + [6.001] * 3)
    shift = found(SETUP, cuts)
    assert shift is None or shift.step.cut != 9


def test_another_stock_is_named_where_the_readings_shift_with_it():
    cuts = [*log(QUIET, stock="poplar")]
    more = [dataclasses.replace(c, stock="cherry") for c in log([*QUIET, 0.2, 0.21, 0.2])[8:]]
    (doubt,) = advise(SETUP, [*cuts, *more]).doubts
    assert "cherry was cut from there on" in doubt


def test_a_mounting_that_is_logged_is_no_shift():
    cuts = [*log(QUIET), *[dataclasses.replace(c, mounting="2") for c in log([*QUIET, 0.2, 0.21, 0.2])[8:]]]
    assert not advise(SETUP, cuts).doubts


def test_a_reading_that_shifts_alone_and_an_adjuster_that_slips_are_told_apart():
    """Two readings on one height: both follow it, or one moves by itself."""
    bands = (Band("depth", 5.0, 4.9, 5.1), Band("step", 2.0, 1.9, 2.1))
    height = Adjuster("height", moves={"depth": 1.0, "step": -1.0})
    setup = Setup("two", Joint("plain"), bands, (height,))

    def cuts(depth: float, step: float) -> list[Cut]:
        quiet = [(5.0 + v - 0.07, 2.0 + w - 0.07) for v, w in zip(QUIET, QUIET[::-1], strict=True)]
        moved = [(a + depth, b + step) for a, b in quiet[:3]]
        return [
            Cut(n, "test", {"height": 6.0}, {"depth": (a,), "step": (b,)})
            for n, (a, b) in enumerate([*quiet, *moved], 1)
        ]

    slipped, alone = found(setup, cuts(0.1, -0.1)), found(setup, cuts(0.1, 0.0))
    assert (slipped.step.along, alone.step.along) == ("height", "depth")
    assert slipped.size_mm == pytest.approx({"depth": 0.1, "step": -0.1}, abs=0.02)
    assert alone.size_mm == pytest.approx({"depth": 0.1}, abs=0.02)


def test_no_shift_can_be_told_from_two_cuts():
    assert found(SETUP, log([0.07, 0.2])) is None


def probability(values: np.ndarray) -> float:
    """Of a shift after these readings; without the mixture, which takes most of the time."""
    variants = variants_of(SETUP, log(values.tolist()))[0]
    solver = Solver(variants, scatter_nodes(variants, unworn()), unworn())
    shift = solver._shift()
    return 0.0 if shift is None else shift.probability


def test_the_short_way_is_the_whole_way():
    values = np.array([*QUIET, 0.14, 0.13])
    assert probability(values) == pytest.approx(found(SETUP, log(values.tolist())).probability, rel=1e-12)
    assert known().nodes.tolist() == [1.0]


def test_simulated_shifts_are_found_and_quiet_setups_are_left_alone():
    """Seeded, 40 setups with the scatter drawn from its prior; tests/benchmarks/shift.py has the numbers."""
    delays, alarms, cuts = [], 0, 0
    for seed in range(40):
        rng = np.random.default_rng([11, seed])
        sd = math.exp(0.6 * rng.standard_normal()) * math.hypot(0.02, 0.015)
        y = 0.3 * rng.standard_normal() + sd * rng.standard_normal(16)
        for n in range(3, 17):
            cuts += 1
            if probability(y[:n]) > RAISED:
                alarms += 1
                break
        y[8:] += 2.0 * sd
        told = [n for n in range(10, 17) if probability(y[:n]) > RAISED]
        delays.append(told[0] - 8 if told else 99)
    assert np.median(delays) <= 5.0
    assert alarms <= 5
    assert cuts > 400


def test_a_picture_expects_what_the_advice_expects_after_a_shift():
    """The chance along the scale is told from the same belief: at the advised setting, the same chance."""
    cuts = log([*QUIET, 0.27, 0.26, 0.28])
    advice = advise(SETUP, cuts)
    (along,) = chances_along(SETUP, cuts, advice)
    assert advice.moves
    assert along.advised_chance == pytest.approx(advice.readings[0].probability_next, abs=1e-9)
    assert along.now_chance < 0.05

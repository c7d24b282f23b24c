"""One test looked ahead: against dense integration, and where it must change nothing."""

from __future__ import annotations

import numpy as np
import pytest

from calib import advise
from calib.decision import weigh
from calib.decision.lookahead import Place, likely_outcomes, not_knowing_min
from calib.decision.loss import BatchLoss
from calib.decision.plan import Line, Plan, solve_plan
from calib.normal import cdf, pdf
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, ReadingStakes, Setup, Stakes

BAND = Band("clearance", 0.07, 0.02, 0.12)
PRICE = BatchLoss(BAND, ReadingStakes(30.0, 12.0), 16)
CUT = np.array([0.01, 0.04])  # two hypotheses: a calm shop and a rough one
READ = np.array([0.008, 0.03])
MOVE = np.array([0.012, 0.05])
BOTH = np.arange(2)


def plan_of_two(**changes: object) -> Plan:
    settings: dict[str, object] = {
        "loss": lambda z, variance: PRICE.minutes(z, variance + (CUT**2)[:, None, None]),
        "test_variance": CUT**2 + READ**2,
        "move_variance": MOVE**2,
        "piece_sd": CUT,
        "step_mm": 0.0,
        "low_mm": BAND.low_mm,
        "high_mm": BAND.high_mm,
        "largest_variance_mm2": 0.02,
        "test_min": 4.0,
        "move_min": 2.0,
    }
    return solve_plan(Line(**{**settings, **changes}))  # type: ignore[arg-type]


def place(share: float, mean: tuple[float, float], variance: tuple[float, float]) -> Place:
    z = np.array(mean)
    return Place(np.array([share, 1.0 - share]), z, np.array(variance), CUT**2 + READ**2, MOVE**2, BOTH, z)


def averaged_minutes(plan: Plan, at: Place) -> float:
    """Minutes of a test by the plan that knows the scales after it."""
    return float(at.weights @ plan.test_minutes(BOTH, at.mean[:, None], at.variance[:, None])[:, 0])


def dense_minutes(plan: Plan, at: Place, step_mm: float, dearer: float = 0.0) -> float:
    """Minutes of a test by brute force: 601 outcomes, every move on a fine mesh, cutting priced exactly.

    Every test after it is dearer by so many minutes.
    """
    S = at.variance + at.noise
    y = np.linspace(-8.0, 8.0, 601) * np.sqrt(S.max()) + at.weights @ at.mean
    density = at.weights * pdf((y[:, None] - at.mean) / np.sqrt(S)) / np.sqrt(S)
    left = at.variance * at.noise / S
    z = at.mean + at.variance / S * (y[:, None] - at.mean)
    moves = np.arange(-400, 401) * max(step_mm, 0.001)
    total = 0.0
    for k in range(len(y)):
        stay = step_minutes(plan, density[k], z[k][:, None], left, dearer)
        move = step_minutes(plan, density[k], z[k][:, None] + moves, left + at.landing, dearer)
        total += min(float(stay[0]), float(move.min()) + 2.0 * density[k].sum())
    return plan.line.test_min + total * (y[1] - y[0])


def step_minutes(
    plan: Plan, weights: np.ndarray, z: np.ndarray, variance: np.ndarray, dearer: float = 0.0
) -> np.ndarray:
    """Minutes (P,) of the cheaper of cutting and testing at means (2, P), one step for both."""
    P = np.broadcast_to(variance[:, None], z.shape)
    cut = weights @ PRICE.minutes(z, P + (CUT**2)[:, None])
    return np.minimum(cut, weights @ plan.test_minutes(BOTH, z, P) + dearer * weights.sum())


@pytest.mark.parametrize("step", [0.0, 0.04])
@pytest.mark.parametrize("share", [0.5, 0.85])
@pytest.mark.parametrize(
    ("mean", "variance"),
    [
        ((0.07, 0.07), (0.0006, 0.004)),
        ((0.11, 0.09), (0.0002, 0.002)),
        ((0.2, 0.15), (0.0002, 0.002)),
        ((0.07, 0.07), (0.015, 0.015)),
    ],
)
def test_a_test_is_priced_as_dense_integration_prices_it(mean, variance, share, step):
    plan, at = plan_of_two(step_mm=step), place(share, mean, variance)
    first = not_knowing_min(plan, at, rounds=0)
    assert averaged_minutes(plan, at) + first == pytest.approx(dense_minutes(plan, at, step), rel=0.012)
    found = averaged_minutes(plan, at) + not_knowing_min(plan, at)
    assert found == pytest.approx(dense_minutes(plan, at, step, first), rel=0.012)


def test_not_knowing_costs_more_than_a_percent_where_the_shops_would_act_otherwise():
    plan, at = plan_of_two(), place(0.5, (0.07, 0.07), (0.0006, 0.004))
    assert not_knowing_min(plan, at) > not_knowing_min(plan, at, rounds=0) > 0.01 * averaged_minutes(plan, at)


@pytest.mark.parametrize("step", [0.0, 0.04])
def test_two_hypotheses_that_are_alike_cost_no_more_than_one(step):
    alike = {name: np.full(2, value) for name, value in (("test_variance", 5e-4), ("move_variance", 6e-4))}
    plan = solve_plan(
        Line(
            lambda z, variance: PRICE.minutes(z, variance + 0.02**2), **alike, piece_sd=np.full(2, 0.02),
            step_mm=step, low_mm=0.02, high_mm=0.12, largest_variance_mm2=0.02, test_min=4.0, move_min=2.0,
        )
    )  # fmt: skip
    for z in (0.07, 0.1, 0.2):
        mean, variance = np.full(2, z), np.full(2, 0.003)
        noise, landing = alike["test_variance"], alike["move_variance"]
        at = Place(np.full(2, 0.5), mean, variance, noise, landing, BOTH, mean)
        assert not_knowing_min(plan, at) < 0.005 * averaged_minutes(plan, at)


def test_without_a_move_only_cutting_and_testing_are_left():
    plan, at = plan_of_two(can_move=False), place(0.5, (0.09, 0.06), (0.0006, 0.004))
    S = at.variance + at.noise
    y = np.linspace(-0.5, 0.7, 1201)
    density = at.weights * pdf((y[:, None] - at.mean) / np.sqrt(S)) / np.sqrt(S)
    z = at.mean + at.variance / S * (y[:, None] - at.mean)
    left = at.variance * at.noise / S
    dense = [float(step_minutes(plan, d, m[:, None], left)[0]) for d, m in zip(density, z, strict=True)]
    found = averaged_minutes(plan, at) + not_knowing_min(plan, at, rounds=0)
    assert found == pytest.approx(4.0 + sum(dense) * (y[1] - y[0]), rel=0.012)


@pytest.mark.parametrize("tests_made", [0, 1])
def test_where_landing_renews_the_test_tells_of_offset_and_landing_together(tests_made):
    plan = plan_of_two(renews=True)
    B, noise, q = np.array([0.0008, 0.003]), CUT**2 + READ**2, MOVE**2
    A, z, w = B + q, np.array([0.08, 0.06]), np.array([0.5, 0.5])
    level = A / (1.0 + tests_made * A / noise)
    since = np.full(2, float(tests_made))
    at = Place(w, z, level, noise, q, BOTH, np.full(2, 0.07), since, B)
    # brute force: offset and landing as two numbers, conditioned on their sum
    offset = B - B**2 * (A - level) / A**2
    shared = B / A * level  # covariance of offset and level
    y = np.linspace(-0.9, 1.1, 601)
    density = w * pdf((y[:, None] - z) / np.sqrt(level + noise)) / np.sqrt(level + noise)
    away = (y[:, None] - z) / (level + noise)
    level_left, offset_left = level * noise / (level + noise), offset - shared**2 / (level + noise)
    moves = np.arange(-300, 301) * 0.001
    total = 0.0
    for d, innovation in zip(density, away, strict=True):
        here = (z + level * innovation)[:, None]
        there = (0.07 + shared * innovation)[:, None] + moves
        stay = renewed_step(plan, d, here, level_left, B, since + 1.0)
        move = renewed_step(plan, d, there, offset_left + q, offset_left, 0.0 * since)
        total += min(float(stay[0]), float(move.min()) + 2.0 * d.sum())
    column = (z[:, None], B[:, None], since[:, None])
    found = float(w @ plan.test_minutes(BOTH, *column)[:, 0]) + not_knowing_min(plan, at, rounds=0)
    assert found == pytest.approx(4.0 + total * (y[1] - y[0]), rel=0.015)


def renewed_step(
    plan: Plan, weights: np.ndarray, z: np.ndarray, level: np.ndarray, B: np.ndarray, since: np.ndarray
) -> np.ndarray:
    """Like `step_minutes`, where the plan is asked with (B, tests since the landing)."""
    spread = (level + CUT**2)[:, None]
    cut = weights @ PRICE.minutes(z, np.broadcast_to(spread, z.shape))
    ask = [np.broadcast_to(part[:, None], z.shape) for part in (B, since)]
    return np.minimum(cut, weights @ plan.test_minutes(BOTH, z, *ask))


def test_the_outcomes_looked_at_are_equally_probable_in_the_mixture():
    weights, mean, sd = np.array([0.7, 0.3]), np.array([0.0, 0.4]), np.array([0.1, 1.0])
    y = likely_outcomes(weights, mean, sd, 15)
    below = cdf((y[:, None] - mean) / sd) @ weights
    np.testing.assert_allclose(below, (np.arange(15) + 0.5) / 15, atol=1e-6)


READINGS = (Band("clearance", 0.07, 0.02, 0.12), Band("proud", 0.1, 0.0, 0.2))
CUTS = [
    Cut(1, "test", {"key": 6.0}, {"clearance": (0.31,), "proud": (0.1,)}),
    Cut(2, "test", {"key": 6.2}, {"clearance": (0.12,), "proud": (0.14,)}),
]


def minutes_by_step(scales_known: bool, moves: dict[str, float]) -> dict[str, float]:
    key = Adjuster("key", moves=moves)
    setup = Setup(
        "two", Joint("plain"), READINGS, (key,), pieces_left=16,
        stakes=Stakes(4.0, 2.0, default=ReadingStakes(30.0, 12.0)),
        knowledge=Knowledge(scales_known=scales_known),
    )  # fmt: skip
    return {a.step: a.minutes for a in advise(setup, CUTS).actions}


@pytest.mark.parametrize("moves", [{"clearance": -1.0, "proud": 0.0}, {"clearance": -1.0, "proud": 0.5}])
def test_a_shop_that_knows_its_scales_is_priced_as_before(monkeypatch, moves):
    as_it_is = minutes_by_step(True, moves)
    monkeypatch.setattr(weigh, "not_knowing_min", lambda plan, place: 1000.0)
    assert minutes_by_step(True, moves) == as_it_is


def test_not_knowing_makes_tests_dearer_and_leaves_cutting_alone(monkeypatch):
    moves = {"clearance": -1.0, "proud": 0.5}  # two readings that follow one adjuster
    looked_ahead = minutes_by_step(False, moves)
    monkeypatch.setattr(weigh, "not_knowing_min", lambda plan, place: 0.0)
    averaged = minutes_by_step(False, moves)
    for step in ("cut_good", "move_and_cut_good"):
        assert looked_ahead[step] == averaged[step]
    for step in ("test_again", "move_and_test"):
        assert averaged[step] < looked_ahead[step] < 1.3 * averaged[step]

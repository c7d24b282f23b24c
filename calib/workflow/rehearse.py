"""Before any cut: how many test cuts and how much scrap to expect, and what limits the shop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calib.decision.limits import Limit, limits
from calib.errors import CalibError
from calib.measurement.worth import worth_as_knowledge
from calib.simulate import RULES, Outcome, dial_in, draw_truth
from calib.workflow import setups
from calib.workflow.shopfloor import Shop

#: Runs of a rehearsal unless another number is asked for, and their seed: the same question, the same answer.
RUNS = 100
SEED = 1


@dataclass(frozen=True)
class Rehearsal:
    """What a dial-in of a setup is likely to cost, over simulated shops drawn from what is believed.

    Parameters
    ----------
    tests, tests_most : float
        Mean number of test cuts, and the number that nine dial-ins in ten stay within.
    minutes, minutes_u, minutes_most : float
        Mean minutes with its standard uncertainty (of the simulation), and nine in ten.
    moves, spoiled : float
        Means per batch.
    scrap_pieces : int
        Scrap to prepare: enough for nine dial-ins in ten, and one to spare.
    planned_min : float
        Minutes that the plan itself expects.
    limits : tuple of Limit
    """

    setup: str
    runs: int
    pieces: int
    tests: float
    tests_most: float
    minutes: float
    minutes_u: float
    minutes_most: float
    moves: float
    spoiled: float
    scrap_pieces: int
    planned_min: float
    limits: tuple[Limit, ...]


def rehearse(
    shop: Shop,
    setup_name: str,
    *,
    runs: int = RUNS,
    seed: int = SEED,
    progress: Callable[[int, int], None] = lambda done, runs: None,
) -> Rehearsal:
    """Dial a setup in on simulated shops, following the program's own advice, and count.

    Parameters
    ----------
    progress : callable (runs done, runs in all)
        Called after each run.
    """
    if runs < 10:
        raise CalibError(f"runs: {runs} is too few to count on. Take 10 or more.")
    setup = worth_as_knowledge(setups.get(shop, setup_name))
    outcomes = []
    for run in range(runs):
        rng = np.random.default_rng([seed, run])
        outcomes.append(dial_in(setup, draw_truth(setup, rng), rng, RULES["program"]))
        progress(run + 1, runs)
    planned, found = limits(setup)
    return _counted(setup_name, setup.pieces_left, outcomes, planned, found)


def _counted(
    name: str, pieces: int, outcomes: list[Outcome], planned: float, found: tuple[Limit, ...]
) -> Rehearsal:
    tests = np.array([outcome.tests for outcome in outcomes], dtype=float)
    spent = np.array([outcome.minutes for outcome in outcomes])
    most = float(np.quantile(tests, 0.9, method="higher"))
    return Rehearsal(
        setup=name,
        runs=len(outcomes),
        pieces=pieces,
        tests=float(tests.mean()),
        tests_most=most,
        minutes=float(spent.mean()),
        minutes_u=float(spent.std(ddof=1) / np.sqrt(len(spent))),
        minutes_most=float(np.quantile(spent, 0.9, method="higher")),
        moves=float(np.mean([outcome.moves for outcome in outcomes])),
        spoiled=float(np.mean([outcome.spoiled for outcome in outcomes])),
        scrap_pieces=int(most) + 1,
        planned_min=planned,
        limits=found,
    )

"""How often "holds at least so many pieces at 90 %" holds, and what a second setup on the edge adds.

Edges are drawn from the program's own prior (rate, head start, the metres that it takes), or fixed; two
setups take turns on each, or one uses it alone. A claim is scored by the chance, in truth, that the piece cut
when it ends is inside its band: nine in ten where the claims are honest. Claims of nothing (the setup does
not hold now, at 90 %) and of more than can be told are counted apart.

    python tests/benchmarks/wear.py --runs 1000
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
from kit import mean_error, ratio_error, runs_wanted, spread_out
from wearkit import Plan, simulated

from calib.decision.edgelife import edge_left
from calib.regression.infer import posterior
from calib.regression.prospect import prospect
from calib.regression.recession import Recession
from calib.regression.sharedwear import belief, shared_wear


def fixed(rate_per_100_m: float, fast_mm: float = 0.0, over_m: float = 12.0) -> Recession:
    """Return a course that is not drawn: mm per 100 m, and mm of the quick part over so many metres."""
    one = np.ones(1)
    return Recession(rate_per_100_m / 100.0 * one, fast_mm * one, over_m * one)


#: name -> (how the edge is used, its truth; None = drawn from the prior)
CASES: dict[str, tuple[Plan, Recession | None]] = {
    "prior, 30 m": (Plan(30.0, visit_m=15.0), None),
    "prior, 100 m": (Plan(100.0), None),
    "prior, 100 m, one setup": (Plan(100.0, setups=1), None),
    "prior, 200 m": (Plan(200.0), None),
    "fixed 0.000 mm per 100 m": (Plan(100.0), fixed(0.0)),
    "fixed 0.010": (Plan(100.0), fixed(0.010)),
    "fixed 0.025": (Plan(100.0), fixed(0.025)),
    "fixed 0.050": (Plan(100.0), fixed(0.050)),
    "fixed 0.010, quick 0.01 in 3 m": (Plan(100.0), fixed(0.010, 0.01, 3.0)),
    "fixed 0.010, quick 0.01 in 40 m": (Plan(100.0), fixed(0.010, 0.01, 40.0)),
}


class Found(NamedTuple):
    """One edge: what was claimed of each setup and what came true."""

    established: bool
    stays: tuple[float, ...]
    nothing: int
    beyond: int
    rate_covered: bool
    recession_covered: bool
    narrowed: float
    narrowed_alone: float


def judge(task: tuple[str, int]) -> Found:
    """Simulate one edge and score its claims."""
    name, run = task
    plan, truth = CASES[name]
    edge = simulated(plan, np.random.default_rng([11, run]), truth)
    shared = shared_wear(edge.logs)
    stays, nothing, beyond = [], 0, 0
    for k, log in enumerate(edge.logs if shared.established else ()):
        future = prospect(posterior(log.setup, log.cuts, belief(shared, log, 25.0)).blocks[0])
        metres = edge_left(log.setup, [future]).readings[0].metres_m
        nothing, beyond = nothing + (metres == 0.0), beyond + np.isinf(metres)
        if 0.0 < metres < np.inf:
            stays.append(edge.stays(k, metres))
    low, _, high = shared.range_of_rate()
    least, _, most = shared.range_after(edge.cut_m)
    true = float(edge.truth.rate_mm_per_m[0])
    alone = shared_wear(edge.logs[:1]).narrowed if len(edge.logs) > 1 else shared.narrowed
    return Found(
        shared.established, tuple(stays), nothing, int(beyond), low <= true <= high,
        least <= float(edge.truth.at(edge.cut_m)[0]) <= most, shared.narrowed, alone,
    )  # fmt: skip


def report(name: str, found: list[Found]) -> str:
    """Return one line of the table."""
    per_edge = np.array([np.mean(one.stays) for one in found if one.stays])
    stays, error = mean_error(per_edge)
    silent = 100.0 * np.mean([not one.established for one in found])
    claims = sum(len(one.stays) for one in found)
    nothing, beyond = sum(one.nothing for one in found), sum(one.beyond for one in found)
    every = max(claims + nothing + beyond, 1)
    rate = 100.0 * np.mean([one.rate_covered for one in found])
    worn = 100.0 * np.mean([one.recession_covered for one in found])
    ratio, of_ratio = ratio_error(
        *(np.array(side) for side in zip(*((f.narrowed, f.narrowed_alone) for f in found), strict=True))
    )
    return (
        f"{name:40}{100 * stays:8.1f} +-{100 * error:4.1f}{claims:8d}{100 * nothing / every:9.0f} %"
        f"{100 * beyond / every:7.0f} %{silent:9.1f} %{rate:8.1f}{worn:8.1f}{ratio:9.3f} +-{of_ratio:.3f}"
    )


def main() -> None:
    """Print the table."""
    options = runs_wanted(__doc__ or "", 600)
    print(
        f"{'edge':40}{'holds %':>14}{'claims':>8}{'not now':>11}{'beyond':>9}{'silent':>11}"
        f"{'rate':>8}{'worn':>8}{'narrower':>16}"
    )
    for name in (name for name in CASES if options.only in name):
        tasks = [(name, run) for run in range(options.runs)]
        print(report(name, spread_out(judge, tasks, options.processes, name)), flush=True)
    print(
        "silent: not established. rate, worn: how often the 90 % range of the steady rate, and of the\n"
        "recession so far, held the truth. narrower: range of the rate with both setups over that with one."
    )


if __name__ == "__main__":
    main()

"""Two readings that share test cuts: the program against brute force over both beliefs at once.

python tests/benchmarks/two_readings.py [--runs 300]
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from joint import Joint
from kit import mean_error, ratio_error, runs_wanted, spread_out

from calib.shop import Adjuster, Band, Joint as Kind, Knowledge, ReadingStakes, Setup, Stakes  # isort: skip
from calib.simulate import dial_in, draw_truth
from calib.simulate.rules import program

SEED = 20250305
LIMIT_RUNS = 5


def _setup(pieces: int, first: tuple[float, float], second: tuple[float, float], **known: Any) -> Setup:
    no_doubt = {"scales_known": True, "scale_sd": 0.0, "blunder_probability": 0.0}
    return Setup(
        "two",
        Kind("plain"),
        (Band("clearance", 0.07, 0.02, 0.12), Band("proud", 0.1, 0.0, 0.2)),
        (
            Adjuster("key", moves={"clearance": -1.0, "proud": 0.0}),
            Adjuster("height", moves={"clearance": 0.0, "proud": 1.0}),
        ),
        pieces_left=pieces,
        stakes=Stakes(4.0, 2.0, {"clearance": ReadingStakes(*first), "proud": ReadingStakes(*second)}),
        knowledge=Knowledge(**no_doubt, **known),
    )


SHOPS = {
    "both dear": _setup(16, (30.0, 12.0), (15.0, 15.0)),
    "one dear, one cheap": _setup(16, (30.0, 12.0), (2.0, 2.0)),
    "short and cheap": _setup(6, (6.0, 6.0), (6.0, 6.0)),
    "coarse scatter": _setup(12, (20.0, 20.0), (20.0, 20.0), cut_sd_mm=0.03),
}


@cache
def joint_of(name: str) -> Joint:
    """Return the joint plan of one shop."""
    return Joint(SHOPS[name])


def run(task: tuple[str, int, bool]) -> tuple[float, float, float, float]:
    """Return minutes and tests of brute force, then of the program, in one dial-in."""
    name, number, with_program = task
    setup = SHOPS[name]
    truth = draw_truth(setup, np.random.default_rng([SEED, number]))
    limit = dial_in(setup, truth, np.random.default_rng([SEED, number, 1]), joint_of(name))
    if not with_program:
        return limit.minutes, limit.tests, 0.0, 0.0
    own = dial_in(setup, truth, np.random.default_rng([SEED, number, 1]), program)
    return limit.minutes, limit.tests, own.minutes, own.tests


def main() -> None:
    """Print the table."""
    options = runs_wanted("The program against brute force on two readings.", 300)
    print(f"{'shop':22}{'brute force':>18}{'tests':>7}{'program':>18}{'tests':>7}{'ratio':>16}")
    for name, setup in SHOPS.items():
        if options.only not in name:
            continue
        joint_of(name)  # solved once, before the processes part
        rows = np.array(
            spread_out(run, [(name, i, True) for i in range(options.runs)], options.processes, name)
        )
        cells = [mean_error(rows[:, k]) for k in (0, 2)]
        ratio, error = ratio_error(rows[:, 2], rows[:, 0])
        print(
            f"{name:22}{cells[0][0]:11.2f} ±{cells[0][1]:5.2f}{rows[:, 1].mean():7.2f}"
            f"{cells[1][0]:11.2f} ±{cells[1][1]:5.2f}{rows[:, 3].mean():7.2f}{ratio:9.3f} ±{error:.3f}",
            flush=True,
        )
        many = [(name, i, False) for i in range(LIMIT_RUNS * options.runs)]
        mean, error = mean_error(np.array(spread_out(run, many, options.processes, name))[:, 0])
        value, fine = joint_of(name).start_value(), Joint(setup, points=121, rungs=26).start_value()
        print(
            f"  brute force: own value {value:.2f}, simulated {mean:.2f} ±{error:.2f}; finer grid {fine:.2f}"
        )


if __name__ == "__main__":
    main()

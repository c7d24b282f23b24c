"""What limits a shop: the saving that is foretold, against dial-ins of the better shop.

For every cause (gauge, adjuster, mounting) `decision.limits` foretells how many minutes a batch would save
with half of that error. Here the shop is simulated as it is and with half of it, by the same maker with the
same luck: the errors are the same draws, one of them halved. ± is one standard error of the pairs.
The scales of the adjusters are exact where everything is known: what is foretold leaves out the error of a
scale in a long move that is put off (true to 3 %: 31 minutes foretold, 35 simulated, for the fine screw).

    python tests/benchmarks/what_limits.py [--runs 2000] [--only coarse]
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from kit import mean_error, plain_setup, runs_wanted, spread_out

from calib.decision.limits import halved, limits
from calib.shop import Setup
from calib.simulate import dial_in, draw_truth
from calib.simulate.rules import program

SEED = 20250312
AS_IT_IS = "as it is"
_KNOWN = {"scales_known": True, "scale_sd": 0.0, "blunder_probability": 0.0}
#: What is foretold holds within a tenth of the simulated saving, or within so many minutes; it is open where
#: the luck of the draw may have put it outside.
WITHIN_MIN = 0.5
SHOPS = {
    "hand-set key, 16 pieces": plain_setup(pieces=16, high=30, low=12, **_KNOWN),
    "hand-set key, 40 pieces": plain_setup(pieces=40, high=30, low=12, **_KNOWN),
    "coarse gauge, fine screw": plain_setup(
        pieces=16, high=20, low=20, reading_sd_mm=0.05, move_sd_mm=0.008, cut_sd_mm=0.01, **_KNOWN
    ),
    "against a stop, scatter unknown": plain_setup(
        pieces=8, high=10, low=10, landing="renews", offset_sd_mm=0.1, log_sd=0.4
    ),
}


def setup_of(shop: str, cause: str) -> Setup:
    """Return the shop as it is, or with one error halved."""
    setup = SHOPS[shop]
    return setup if cause == AS_IT_IS else replace(setup, knowledge=halved(setup)[cause])


def run(task: tuple[str, str, int]) -> float:
    """Return the minutes of one dial-in."""
    setup = setup_of(*task[:2])
    truth = draw_truth(setup, np.random.default_rng([SEED, task[2]]))
    return dial_in(setup, truth, np.random.default_rng([SEED, task[2], 1]), program).minutes


def show(shop: str, runs: int, processes: int) -> None:
    """Print every cause of one shop, the greatest saving that is foretold first."""

    def minutes(cause: str) -> np.ndarray:
        return np.array(
            spread_out(run, [(shop, cause, i) for i in range(runs)], processes, f"{shop}: {cause}")
        )

    foretold, causes = limits(SHOPS[shop])
    now = minutes(AS_IT_IS)
    mean, error = mean_error(now)
    print(f"{shop}, {runs} dial-ins: {foretold:.2f} min foretold, {mean:.2f} ±{error:.2f} simulated")
    saved = {}
    for cause in causes:
        saved[cause.what] = now - minutes(cause.what)
        mean, error = mean_error(saved[cause.what])
        off = cause.saving_min - mean
        beyond = abs(off) - max(0.1 * abs(mean), WITHIN_MIN)
        holds = "holds" if beyond <= 0.0 else "open" if beyond <= 2.0 * error else "OFF"
        print(
            f"  half the error of the {cause.what:9}{cause.saving_min:7.2f} min foretold, {mean:6.2f}"
            f" ±{error:.2f} simulated, {off:+.2f}: {holds}",
            flush=True,
        )
    names = [cause.what for cause in causes]
    for first, second in pairwise(names):
        more, error = mean_error(saved[first] - saved[second])
        order = "as foretold" if more > 2 * error else "open" if more > -2 * error else "WRONG"
        print(f"  {first} saves more than {second}: {more:+.2f} ±{error:.2f} min, {order}", flush=True)
    print(flush=True)


def main() -> None:
    """Print every shop."""
    options = runs_wanted("What limits a shop: foretold and simulated.", 2000)
    for shop in SHOPS:
        if options.only in shop:
            show(shop, options.runs, options.processes)


if __name__ == "__main__":
    main()

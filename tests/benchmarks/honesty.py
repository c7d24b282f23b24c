"""Do the chances come true? Simulated mountings of shops drawn from the prior, dialled in as advised.

At every advice (until it says to cut the good pieces, 8 cuts at most) the next piece is cut at the advised
positions and measured: its reading scores the chance that the next measured reading lies in its band,
and the range for nine in ten; its true size, which no log has, scores the chance that is published.

    nice -n 10 python tests/benchmarks/honesty.py [--runs 500]
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from kit import plain_setup, runs_wanted, spread_out

from calib.decision.advise import advise
from calib.monitor.honesty import Honesty, honesty
from calib.regression.infer import standing
from calib.simulate import SimulatedShop, draw_truth

SEED = 20250313
MOST, BLOCK = 8, 100
SETUP = plain_setup(step=0.02)
BAND = SETUP.bands[0]


class Told(NamedTuple):
    """One advice and what came: chances of the reading and of the true size, and whether each was right."""

    measured: float
    published: float
    in_band: float
    in_range: float
    true_in_band: float


def mounting(number: int) -> list[Told]:
    """Dial one mounting in as advised."""
    truth = draw_truth(SETUP, np.random.default_rng([SEED, number]))
    shop = SimulatedShop(SETUP, truth, np.random.default_rng([SEED, number, 1]))
    told = []
    for _ in range(MOST):
        advice = advise(SETUP, [standing(SETUP), *shop.cuts])
        if advice.step == "measure_again":
            shop.again()
            continue
        at = dict(shop.cuts[-1].settings_mm if shop.cuts else shop.start)
        at |= {move.adjuster: move.to_mm for move in advice.moves}
        cut = shop.cut(at)
        read, size = float(cut.readings[BAND.name][0]), shop._last_sizes[BAND.name]  # type: ignore[arg-type]
        reading = advice.readings[0]
        low, high = reading.interval90_mm
        assert reading.probability_measured is not None
        told.append(
            Told(
                reading.probability_measured, reading.probability_next, BAND.low_mm <= read <= BAND.high_mm,
                low <= read <= high, BAND.low_mm <= size <= BAND.high_mm,
            )
        )  # fmt: skip
        if advice.step in ("cut_good", "move_and_cut_good"):
            break
    return told


def show(title: str, found: Honesty | None) -> None:
    """Print one reliability table."""
    assert found is not None
    print(f"{title}: {found.count} times, said {found.said:.3f}, ", end="")
    print(f"came true {found.came_true:.3f} ± {found.u:.3f}")
    print(f"  Brier score {found.brier:.4f}; always the base rate {found.brier_base:.4f}; ", end="")
    print(f"better by {found.better_by:.4f} ± {found.u_better_by:.4f}")
    for one in found.bins:
        off = (one.came_true - one.said) / one.u
        print(
            f"  {one.low:.1f} to {one.high:.1f}: {one.count:5d} times, said {one.said:.3f}, "
            f"came true {one.came_true:.3f} ± {one.u:.3f} ({off:+.1f} standard errors)",
            flush=True,
        )


def main() -> None:
    """Print the tables after every hundred mountings."""
    options = runs_wanted("Do the chances come true?", 500)
    told: list[Told] = []
    for start in range(0, options.runs, BLOCK):
        block = range(start, min(start + BLOCK, options.runs))
        told += [t for run in spread_out(mounting, block, options.processes, "honesty", 2) for t in run]
        print(f"{block.stop} mountings, {len(told)} advices that were followed")
        show("next reading in its band", honesty([t.measured for t in told], [t.in_band for t in told]))
        show("true size in its band", honesty([t.published for t in told], [t.true_in_band for t in told]))
        show("range for nine in ten", honesty([0.9] * len(told), [t.in_range for t in told]))


if __name__ == "__main__":
    main()

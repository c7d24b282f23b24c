"""A shop that learns: twelve mountings of one setup, against a plan that is told the true components.

Truths: the setup's own offset, scatter, error of a move and error of the scale from the prior; the
spread of mountings fixed at 0.03, 0.06 or 0.15 mm. Each mounting starts where the program says, is
dialled in by its advice, and the last of its good pieces is measured. The same is played with the
same luck by a plan that is told scatter, move error and spread of mountings, and learns the rest.

Parts (``--only``):

* ``minutes``: means over mountings 6 to 12, the ratio of the two, and mounting 1 beside them.
* ``cover``: how often the 90 % intervals of the learned components hold the truth, all of it drawn
  from the prior (the spread of mountings too), after 3, 6 and 12 mountings of fixed small logs; then
  with the truths fixed off it.

    python tests/benchmarks/learning.py [--runs 200] [--only minutes] [--processes 1]
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from kit import mean_error, plain_setup, ratio_error, runs_wanted, spread_out

from calib.decision.advise import next_step
from calib.decision.mounting import first_setting
from calib.regression.footing import start_setting
from calib.regression.learn import Carried, carry, learned
from calib.regression.learn.grid import MOUNTING_LOG_SD, MOUNTING_SD_MM
from calib.shop import Cut, Setup
from calib.simulate import Action, SimulatedShop, Truth, dial_in, draw_truth

SEED = 20250311
MOUNTINGS = 12
SPREADS = (0.03, 0.06, 0.15)
SETUP = plain_setup()


def one_shop(task: tuple[int, float]) -> list[list[tuple[float, float, float]]]:
    """Return (minutes, tests, spoiled) of every mounting, for the learner and for the one that is told."""
    number, spread = task
    truth = draw_truth(SETUP, np.random.default_rng([SEED, number]))
    known = replace(
        SETUP.knowledge,
        cut_sd_mm=truth.cut_sd_mm["clearance"], reading_sd_mm=truth.reading_sd_mm["clearance"],
        move_sd_mm=truth.move_sd_mm["key"], mounting_sd_mm=spread, scales_known=True,
    )  # fmt: skip
    return [play(setup, truth, number, spread) for setup in (SETUP, replace(SETUP, knowledge=known))]


def play(setup: Setup, truth: Truth, number: int, spread: float) -> list[tuple[float, float, float]]:
    """Return (minutes, tests, spoiled) of every mounting."""
    carried: Carried | None = None
    found = []
    for j in range(MOUNTINGS):
        luck = np.random.default_rng([SEED, number, j, round(1000 * spread)])
        offset = truth.offset_mm["clearance"] + spread * float(luck.standard_normal())
        here = replace(truth, offset_mm={"clearance": offset})
        start = None if carried is None else first_setting(setup, carried).settings_mm
        state = carried

        def rule(setup: Setup, cuts, state: Carried | None = state) -> Action:
            return Action(*next_step(setup, cuts, state))

        outcome = dial_in(setup, here, luck, rule, start_mm=start)
        found.append((outcome.minutes, float(outcome.tests), outcome.spoiled))
        rows = [*outcome.cuts, *([outcome.good] if outcome.good else [])]
        first = {a.name: start_setting(setup, a.name) for a in setup.adjusters} if start is None else start
        rows = [Cut(0, "test", first, pieces=0), *rows]
        carried = carry(carried, setup, [replace(cut, mounting=str(j)) for cut in rows])
    return found


def minutes_table(runs: int, processes: int) -> None:
    """Print minutes, tests and spoiled pieces of the first and the later mountings."""
    for spread in SPREADS:
        tasks = [(i, spread) for i in range(runs)]
        data = np.array(spread_out(one_shop, tasks, processes, f"spread {spread}", chunk=1))
        learner, told = data[:, 0], data[:, 1]  # (runs, mountings, 3)
        late = slice(5, MOUNTINGS)
        ratio, ratio_se = ratio_error(learner[:, late, 0].mean(axis=1), told[:, late, 0].mean(axis=1))
        print(f"spread of mountings {spread} mm, {runs} shops of {MOUNTINGS} mountings")
        print(f"  minutes from mounting 6: learned / told {ratio:.4f} ± {ratio_se:.4f}")
        for k, what in enumerate(("minutes", "test cuts", "spoiled pieces")):
            one, one_se = mean_error(learner[:, 0, k])
            six, six_se = mean_error(learner[:, late, k].mean(axis=1))
            best, best_se = mean_error(told[:, late, k].mean(axis=1))
            print(
                f"  {what:14} mounting 1 {one:7.3f} ± {one_se:.3f}   from 6 {six:7.3f} ± {six_se:.3f}"
                f"   told {best:7.3f} ± {best_se:.3f}",
                flush=True,
            )
        fewer, fewer_se = ratio_error(learner[:, late, 1].mean(axis=1), learner[:, 0, 1])
        share, share_se = ratio_error(learner[:, late, 2].mean(axis=1), learner[:, 0, 2])
        print(f"  from 6 / in 1: tests {fewer:.3f} ± {fewer_se:.3f}, spoiled {share:.3f} ± {share_se:.3f}")


def one_history(task: tuple[int, str, float]) -> list[list[bool]]:
    """Return, after 3, 6 and 12 mountings, whether the interval of every component held its truth."""
    number, what, factor = task
    rng = np.random.default_rng([SEED, 7, number])
    scatter = factor if what == "scatter" else None
    move = factor if what == "move" else None
    truth = draw_truth(SETUP, rng, scatter=scatter, move=move)
    drawn = math.exp(MOUNTING_LOG_SD * float(rng.standard_normal()))
    spread = MOUNTING_SD_MM * (factor if what == "mounting" else drawn)
    true = {
        "scatter": truth.scatter, "move": truth.move, "mounting": spread / MOUNTING_SD_MM,
        "offset": truth.offset_mm["clearance"], "scale": truth.scale_error["key"],
    }  # fmt: skip
    carried: Carried | None = None
    held = []
    for j in range(MOUNTINGS):
        offset = true["offset"] + spread * float(rng.standard_normal())
        shop = SimulatedShop(SETUP, replace(truth, offset_mm={"clearance": offset}), rng)
        at = 0.0
        for n in range(5):  # two moves in five cuts, by what the readings say
            reads = float(shop.cut({"key": at}).readings["clearance"][0])
            at += round(reads - SETUP.bands[0].target_mm, 3) if n in (0, 2) else 0.0
        carried = carry(carried, SETUP, [replace(cut, mounting=str(j)) for cut in shop.cuts])
        if j + 1 in (3, 6, 12):
            found = {one.kind: one.factor_interval(0.9) for one in learned(SETUP, carried)}
            held.append([found[kind][0] <= true[kind] <= found[kind][1] for kind in true])
    return held


def cover_table(runs: int, processes: int) -> None:
    """Print the coverage of every component."""
    kinds = ("scatter", "move", "mounting", "offset", "scale")
    parts = [("prior", 1.0), *((kind, f) for kind in kinds[:3] for f in (0.5, 2.0))]
    for what, factor in parts:
        tasks = [(i, what, factor) for i in range(runs)]
        held = 100.0 * np.array(spread_out(one_history, tasks, processes, f"{what} {factor}"), dtype=float)
        title = "all truths from the prior"
        if what != "prior":
            title = f"{what} fixed at {factor} times its median"
        print(f"{title}, {runs} shops; held by the 90 % interval, %")
        print("  mountings " + "".join(f"{kind:>16}" for kind in kinds))
        for k, mountings in enumerate((3, 6, 12)):
            cells = (mean_error(held[:, k, c]) for c in range(len(kinds)))
            print(f"  {mountings:9} " + "".join(f"{m:10.1f} ± {se:3.1f}" for m, se in cells), flush=True)


def main() -> None:
    """Print every table."""
    options = runs_wanted("Mountings that teach.", 200)
    if options.only in "minutes":
        minutes_table(options.runs, options.processes)
    if options.only in "cover":
        cover_table(max(options.runs, 400), options.processes)


if __name__ == "__main__":
    main()

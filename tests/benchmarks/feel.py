"""What a dial-in costs by feel alone, by a calliper alone, and by both.

The same shops with the same luck, at equal stakes: a finger joint wanted 0.03 to 0.10 mm loose, 16 good
pieces, a calliper of u 0.026 mm (inside and outside jaws, limits of error 0.04 and 0.02 mm). The hands:

* ``as stated``: every word means what the scale states; its spread holds what makers differ by.
* ``own``: a maker's own limits and spread, drawn; the program knows the stated scale only.
* ``fitted``: the same makers, after 60 earlier cuts that were felt and measured.
* ``finer``: the same makers again, who also say when a fit lies between two words: within half a spread of
  their limit, as the program takes it, times exp(0.3 z), which it does not know.

± is one standard error; of ratios and differences that of the pairs.

    python tests/benchmarks/feel.py [--runs 400] [--only fitted]
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from kit import mean_error, plain_setup, ratio_error, runs_wanted, spread_out

from calib.feel import BETWEEN_SHARE
from calib.setupform import default_words
from calib.shop import FeelScale, Setup
from calib.simulate import draw_truth
from calib.simulate.dialin import Outcome, dial_in
from calib.simulate.hand import Hand, draw_hand, hand_as_stated
from calib.simulate.rules import program

SEED = 20250619
SCALE = FeelScale(default_words("finger", "clearance"))
CALLIPER_U_MM = 0.026
EARLIER_PAIRS = 60
STAKES = {"ordinary": {"high": 20.0, "low": 12.0}, "dear": {"high": 60.0, "low": 36.0}}


@dataclass(frozen=True)
class Task:
    """One dial-in of one shop, by feel, by calliper and by both."""

    hand: str
    stakes: str
    number: int


def setup_of(stakes: str) -> Setup:
    """Return the setup: moves of 0.02 mm, a calliper of u 0.026 mm."""
    bench = plain_setup(
        step=0.02, band=(0.07, 0.03, 0.10), pieces=16, reading_sd_mm=CALLIPER_U_MM, **STAKES[stakes]
    )
    return replace(bench, feel=SCALE)


def hand_of(task: Task) -> tuple[Hand, FeelScale]:
    """Return the hand, and the scale with the pairs that the program knows."""
    rng = np.random.default_rng([SEED, task.number, 2])
    if task.hand == "as stated":
        return hand_as_stated(SCALE), SCALE
    hand = draw_hand(SCALE, rng)
    if task.hand == "finer":
        hand = replace(hand, between=BETWEEN_SHARE * float(np.exp(0.3 * rng.standard_normal())))
    if task.hand == "own":
        return hand, SCALE
    return hand, replace(SCALE, pairs=hand.pairs(EARLIER_PAIRS, CALLIPER_U_MM, rng))


def run(task: Task) -> dict[str, Outcome]:
    """Return what one dial-in costs each way."""
    setup = setup_of(task.stakes)
    truth = draw_truth(setup, np.random.default_rng([SEED, task.number]))
    hand, scale = hand_of(task)
    told = replace(setup, feel=scale)
    found = {}
    for way, felt, measured in (("calliper", None, True), ("feel", hand, False), ("both", hand, True)):
        luck = np.random.default_rng([SEED, task.number, 1])
        outcome = dial_in(
            setup, truth, luck, lambda _, cuts: program(told, cuts), hand=felt, measures=measured
        )
        found[way] = replace(outcome, cuts=())
    return found


def show(hand: str, stakes: str, runs: int, processes: int) -> None:
    """Print minutes, tests and spoiled share of each way, paired."""
    tasks = [Task(hand, stakes, i) for i in range(runs)]
    outcomes = spread_out(run, tasks, processes, f"{hand}, {stakes}", chunk=4)
    pieces = setup_of(stakes).pieces_left
    rows = {
        way: np.array([(o[way].minutes, o[way].tests, 100.0 * o[way].spoiled / pieces) for o in outcomes])
        for way in ("calliper", "feel", "both")
    }
    print(f"hand {hand}, stakes {stakes}, {runs} dial-ins")
    print(f"  {'':9}{'minutes':>16}{'tests':>8}{'spoiled %':>16}   minutes to the calliper's   points more")
    for way, found in rows.items():
        minutes, error = mean_error(found[:, 0])
        spoiled, wide = mean_error(found[:, 2])
        ratio, spread = ratio_error(found[:, 0], rows["calliper"][:, 0])
        more, around = mean_error(found[:, 2] - rows["calliper"][:, 2])
        print(
            f"  {way:9}{minutes:9.1f} ±{error:5.1f}{found[:, 1].mean():8.2f}{spoiled:10.2f} ±{wide:4.2f}"
            f"   {ratio:.3f} ±{spread:.3f}                 {more:+.2f} ±{around:.2f}"
        )
    for way in ("feel", "calliper"):
        better, error = mean_error(rows["both"][:, 0] - rows[way][:, 0])
        print(f"  both less {way}: {better:+.1f} ±{error:.1f} min")
    print(flush=True)


def main() -> None:
    """Print every hand at both stakes."""
    options = runs_wanted("Dial-ins by feel, by calliper and by both.", 400)
    for hand in ("as stated", "own", "fitted", "finer"):
        for stakes in STAKES:
            if options.only in f"{hand}, {stakes}":
                show(hand, stakes, options.runs, options.processes)


if __name__ == "__main__":
    main()

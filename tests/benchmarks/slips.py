"""Slips in slot and finger after three cuts: how many are recognised, how often good ones are asked about.

Slot and finger are typed to 0.01 mm around a cutter of 6 mm; a slip counts when it moves their difference by
more than six predictive sds. Recognised: the right slip is named, and the sizes that were read come back.
± is one standard error; of none in n, three in n is the limit with 95 % confidence.

    python tests/benchmarks/slips.py [--runs 1000] [--only swapped]
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from kit import mean_error, runs_wanted, spread_out

sys.path.insert(0, str(Path(__file__).parents[1]))
from slipkit import SLIPS, fourth_cut, put_right

TARGETS = (-0.05, 0.07, 0.25)
TRUTHS = {
    "as believed": {},
    "scatter 2.5 times that believed": {"scatter": 2.5},
    "heavy tails": {"heavy_tails": True},
}


def recognised(task: tuple[str, float, int, int]) -> tuple[bool, bool]:
    """Return whether a slip counts, and whether it was recognised."""
    kind, target, repeats, number = task
    case = fourth_cut(number, target, repeats)
    typed = SLIPS[kind](case.good, case.luck)
    return case.far(typed), put_right(case, kind, case.asked(typed))


def asked(task: tuple[str, float, int, int]) -> bool:
    """Return whether good sizes were asked about."""
    truth, target, repeats, number = task
    case = fourth_cut(number, target, repeats, **TRUTHS[truth])
    return case.asked(case.good) is not None


def main() -> None:
    """Print the share recognised by slip, and that of false questions by shop."""
    options = runs_wanted("Slips in slot and finger.", 1000)
    for kind in (kind for kind in SLIPS if options.only in kind):
        for target in TARGETS:
            tasks = [(kind, target, 1 + i % 2, i) for i in range(options.runs)]
            found = spread_out(recognised, tasks, options.processes, f"{kind}, {target}")
            counted = np.array([100.0 * good for far, good in found if far])
            share, error = mean_error(counted) if len(counted) > 1 else (float("nan"), float("nan"))
            told = f"{share:6.2f} ±{error:4.2f} % of {len(counted)}"
            print(f"recognised  {kind:31} clearance {target:5.2f} mm  {told}", flush=True)
    for truth in (truth for truth in TRUTHS if options.only in truth):
        for target in TARGETS:
            tasks = [(truth, target, 1 + i % 2, i) for i in range(options.runs)]
            found = np.array(spread_out(asked, tasks, options.processes, f"{truth}, {target}"))
            share, error = mean_error(100.0 * found)
            told = f"{share:6.2f} ±{error:4.2f} % of {len(found)}"
            print(f"asked about {truth:31} clearance {target:5.2f} mm  {told}", flush=True)


if __name__ == "__main__":
    main()

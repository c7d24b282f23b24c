"""Has it moved: how soon is a step found, and how often is one told that was none?

Simulated setups that stand still, scatter drawn from its prior (unknown to the model): readings of
one cut after another at one setting. *Quiet*: 36 cuts, nothing happens; each run ends with its first
false alarm. *Step*: after 8 quiet cuts all readings shift by two (or four, ten) sds of one reading; the
delay counts the cuts after the step up to the one with which it is told. *Dial-in*: a maker moves by the
whole error after each of 8 cuts, each move with its own error, and nothing shifts. *Slip*: one reading
in 36 quiet ones is off by 0.3 mm.

    nice -n 10 python tests/benchmarks/shift.py [--runs 1000] [--only step]
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from kit import plain_setup, runs_wanted, spread_out

from calib.regression.hypotheses import Solver, scatter_nodes, variants_of
from calib.regression.recession import unworn
from calib.regression.shift import RAISED
from calib.shop import Cut

SEED = 20250311
QUIET, BEFORE, AFTER = 36, 8, 12
SETUP = plain_setup()
KNOWN = SETUP.knowledge
NEVER = 99


class Task(NamedTuple):
    """One run: its number, what happens (quiet, step, dial-in, slip) and the step in sds of a reading."""

    number: int
    what: str
    sds: float = 0.0


def told(cuts: list[Cut]) -> bool:
    """Say whether a shift is told after these cuts."""
    variants = variants_of(SETUP, cuts)[0]
    shift = Solver(variants, scatter_nodes(variants, unworn()), unworn())._shift()
    return shift is not None and shift.probability > RAISED


def simulated(task: Task) -> list[Cut]:
    """Return the cuts of one run."""
    rng = np.random.default_rng([SEED, ["quiet", "step", "dial-in", "slip"].index(task.what), task.number])
    scatter = math.exp(KNOWN.log_sd * rng.standard_normal())
    sd = scatter * math.hypot(KNOWN.cut_sd_mm, KNOWN.reading_sd_mm)
    n = BEFORE + AFTER if task.what == "step" else QUIET
    size = 0.07 + KNOWN.offset_sd_mm * rng.standard_normal() + sd * rng.standard_normal(n)
    key = np.full(n, 6.0)
    if task.what == "step":
        size[BEFORE:] += task.sds * sd * rng.choice([-1.0, 1.0])
    elif task.what == "slip":
        size[rng.integers(3, n)] += 0.3 * rng.choice([-1.0, 1.0])
    elif task.what == "dial-in":
        size, key = _dialled(rng, size)
    pairs = zip(key.tolist(), size.tolist(), strict=True)
    return [Cut(i, "test", {"key": x}, {"clearance": (y,)}) for i, (x, y) in enumerate(pairs, 1)]


def _dialled(rng: np.random.Generator, still: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return readings and settings where the key is moved by the whole error after each of 8 cuts."""
    move_sd = KNOWN.move_sd_mm * math.exp(KNOWN.log_sd * rng.standard_normal())
    key, shown, landed = np.full(len(still), 6.0), still.copy(), 0.0
    for i in range(1, len(still)):
        key[i] = key[i - 1]
        if i <= BEFORE:
            key[i] = key[i - 1] + shown[i - 1] - 0.07
            landed += move_sd * rng.standard_normal()
        shown[i] = still[i] - (key[i] - 6.0) - landed
    return shown, key


def run(task: Task) -> tuple[int, int]:
    """Return (cuts after which the first shift is told; NEVER) and the cuts that were looked at."""
    cuts = simulated(task)
    for n in range(3, len(cuts) + 1):
        if told(cuts[:n]):
            return n, n
    return NEVER, len(cuts)


def false_alarms(title: str, tasks: list[Task], processes: int) -> None:
    """Print how often a shift is told in 200 cuts of setups that have none."""
    found = np.array(spread_out(run, tasks, processes, title))
    alarms, cuts = int((found[:, 0] < NEVER).sum()), int(found[:, 1].sum())
    rate, error = 200.0 * alarms / cuts, 200.0 * math.sqrt(alarms) / cuts
    print(f"{title}: {len(tasks)} setups, {cuts} cuts, false alarms in 200 cuts {rate:.2f} ± {error:.2f}")


def delays(sds: float, runs: int, processes: int) -> None:
    """Print how soon a step is told, in runs that were quiet before it."""
    title = f"step of {sds:g} sds"
    found = np.array(spread_out(run, [Task(i, "step", sds) for i in range(runs)], processes, title))[:, 0]
    after = found[found > BEFORE] - BEFORE
    shares = ", ".join(f"{k} cuts {100 * np.mean(after <= k):.1f} %" for k in (2, 3, 4, 6, 12))
    error = 100 * math.sqrt(0.25 / len(after))
    print(f"{title}: {len(after)} setups, median delay {np.median(after):.0f} cuts;")
    print(f"  told within {shares} (± {error:.1f} at most)", flush=True)


def main() -> None:
    """Print every part."""
    options = runs_wanted("Has it moved?", 1000)
    for sds in (2.0, 4.0, 10.0):
        if options.only in f"step {sds:g}":
            delays(sds, options.runs, options.processes)
    for what in ("quiet", "dial-in", "slip"):
        if options.only in what:
            false_alarms(what, [Task(i, what) for i in range(options.runs)], options.processes)


if __name__ == "__main__":
    main()

"""What the benchmarks share: both cores, progress on stderr, means with their standard errors."""

from __future__ import annotations

import argparse
import math
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from multiprocessing import get_context
from typing import Any

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")  # one thread a process: two processes use both cores

import numpy as np  # noqa: E402 (after the number of threads is set)

from calib.shop import Adjuster, Band, Joint, Knowledge, ReadingStakes, Setup, Stakes  # noqa: E402


def runs_wanted(description: str, default: int) -> argparse.Namespace:
    """Return the options that every benchmark takes."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--runs", type=int, default=default, help=f"simulated runs (default {default})")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--only", default="", help="only the parts whose name contains this")
    return parser.parse_args()


def spread_out(
    work: Callable[[Any], Any], tasks: Iterable[Any], processes: int, what: str, chunk: int = 8
) -> list[Any]:
    """Return work(task) for every task, in order, with progress on stderr."""
    waiting = list(tasks)
    found = []
    with get_context("fork").Pool(processes) as pool:
        for done, result in enumerate(pool.imap(work, waiting, chunksize=chunk), start=1):
            found.append(result)
            if done % max(len(waiting) // 20, 1) == 0 or done == len(waiting):
                print(f"\r{what}: {done}/{len(waiting)} ", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    return found


def mean_error(values: Sequence[float] | np.ndarray) -> tuple[float, float]:
    """Return a mean and its standard error."""
    data = np.asarray(values, dtype=float)
    return float(data.mean()), float(data.std(ddof=1) / math.sqrt(len(data)))


def ratio_error(top: np.ndarray, bottom: np.ndarray) -> tuple[float, float]:
    """Return the ratio of two paired means and its standard error (first order)."""
    ratio = float(top.mean() / bottom.mean())
    rest = top - ratio * bottom
    return ratio, float(rest.std(ddof=1) / math.sqrt(len(rest)) / bottom.mean())


def plain_setup(
    *,
    landing: str = "adds",
    step: float = 0.0,
    backlash: float = 0.0,
    band: tuple[float, float, float] = (0.07, 0.02, 0.12),
    pieces: int = 16,
    high: float = 20.0,
    low: float = 20.0,
    test: float = 4.0,
    move: float = 2.0,
    **known: Any,
) -> Setup:
    """Return a plain setup with one reading and one adjuster of slope -1."""
    key = Adjuster("key", step, backlash, landing, moves={"clearance": -1.0})  # type: ignore[arg-type]
    return Setup(
        "bench",
        Joint("plain"),
        (Band("clearance", *band),),
        (key,),
        pieces_left=pieces,
        stakes=Stakes(test, move, default=ReadingStakes(high, low)),
        knowledge=Knowledge(**known),
    )

"""How often the 90 % interval for the next reading holds it.

A maker cuts, asks where the reading is expected, moves by the whole estimated error, and cuts again.
Before the next cut the program says between which limits it will read. Truths are drawn from the prior
(offset, scatter, move error, scale error), then with the scatter fixed off it. For comparison: the same
linear model with scatter and move error plugged in at their maximum likelihood.

    python tests/benchmarks/coverage.py [--runs 5000]
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from kit import plain_setup, runs_wanted, spread_out

from calib.normal import quantile
from calib.regression import posterior
from calib.shop import Cut, Setup
from calib.simulate import SimulatedShop, draw_truth

CHECKPOINTS = (1, 2, 3, 5, 8)
NOMINAL = 0.9
SEED = 20250301


@dataclass(frozen=True)
class Task:
    """One dial-in: its number, the kind of landing, and the true scatter (None: drawn from the prior)."""

    number: int
    landing: str
    scatter: float | None
    blunder_probability: float = 0.02
    log_sd: float = 0.8


def one_dial_in(task: Task) -> list[tuple[bool, bool]]:
    """Return, for every checkpoint, whether the model's and the plug-in's interval held the next reading."""
    setup = plain_setup(
        landing=task.landing, blunder_probability=task.blunder_probability, log_sd=task.log_sd
    )
    truth = draw_truth(setup, np.random.default_rng([SEED, task.number]), scatter=task.scatter)
    shop = SimulatedShop(setup, truth, np.random.default_rng([SEED, task.number, 1]))
    band = setup.bands[0]
    cut = shop.cut(shop.start)
    held = []
    for n in range(1, max(CHECKPOINTS) + 1):
        error = posterior(setup, shop.cuts).size(band.name).expected - band.target_mm
        to = {"key": round(cut.settings_mm["key"] + error, 3)}
        log = [*shop.cuts, Cut(number=0, kind="test", settings_mm=to, pieces=0)]
        limits = posterior(setup, log).next_reading(band.name).interval(NOMINAL) if n in CHECKPOINTS else None
        plugged = plug_in_interval(setup, log) if n in CHECKPOINTS else None
        cut = shop.cut(to)
        reading = cut.readings[band.name][0]
        if limits is not None and plugged is not None:
            held.append((limits[0] <= reading <= limits[1], plugged[0] <= reading <= plugged[1]))
    return held


def plug_in_interval(setup: Setup, log: list[Cut]) -> tuple[float, float]:
    """Return the next reading's interval with scatter and move error at their maximum likelihood.

    The same model with the same priors of offset and scale error; the likelihood is searched on a fine
    grid from a sixteenth of the medians to sixteen times them. The last row of the log is the next cut.
    """
    known, adjuster = setup.knowledge, setup.adjusters[0]
    settings = np.array([cut.settings_mm[adjuster.name] for cut in log])
    y = np.array([cut.readings["clearance"][0] for cut in log[:-1]], dtype=float) - setup.bands[0].target_mm
    away = settings - settings[0]
    moves = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(settings)) > 1e-9)])
    if adjuster.landing == "adds":
        together = np.minimum(moves[:, None], moves[None, :])
    else:
        together = ((moves[:, None] == moves[None, :]) & (moves[:, None] > 0)).astype(float)
    fixed = known.offset_sd_mm**2 + known.scale_sd**2 * np.outer(away, away)
    factors = np.exp(np.linspace(-math.log(16), math.log(16), 41))
    noise = known.cut_sd_mm**2 + known.reading_sd_mm**2
    lam, tau = (side.ravel() for side in np.meshgrid(factors, factors, indexing="ij"))
    V = fixed + known.move_sd_mm**2 * tau[:, None, None] ** 2 * together
    V = V + noise * lam[:, None, None] ** 2 * np.eye(len(log))
    n = len(y)
    inside = V[:, :n, :n]
    weighted = np.linalg.solve(inside, np.broadcast_to((y + away[:n])[:, None], (len(V), n, 1)))[:, :, 0]
    misfit = weighted @ (y + away[:n])
    best = int(np.argmin(misfit + np.linalg.slogdet(inside)[1]))
    mean = V[best, n, :n] @ weighted[best] - away[n] + setup.bands[0].target_mm
    variance = V[best, n, n] - V[best, n, :n] @ np.linalg.solve(inside[best], V[best, :n, n])
    reach = float(quantile(0.5 + NOMINAL / 2)) * math.sqrt(variance)
    return mean - reach, mean + reach


def table(title: str, tasks: list[Task], processes: int) -> None:
    """Run the tasks and print the share of intervals that held, with standard errors, in per cent."""
    held = 100.0 * np.array(spread_out(one_dial_in, tasks, processes, title), dtype=float)
    error = held.std(axis=0, ddof=1) / math.sqrt(len(held))
    print(f"{title}, {len(tasks)} dial-ins")
    print("  cuts      " + "".join(f"{n:>14}" for n in CHECKPOINTS))
    for which, name in enumerate(("model", "plug-in")):
        cells = (
            f"{m:8.1f} ±{e:4.1f}" for m, e in zip(held[:, :, which].mean(0), error[:, which], strict=True)
        )
        print(f"  {name:10}" + "".join(cells), flush=True)


def main() -> None:
    """Print every table."""
    options = runs_wanted("Coverage of the 90 % interval for the next reading, in per cent.", 5000)
    few = max(options.runs // 5, 100)
    parts: list[tuple[str, list[Task]]] = []
    for landing in ("adds", "renews"):
        parts.append((f"{landing}, from the prior", [Task(i, landing, None) for i in range(options.runs)]))
        parts.append((f"{landing}, no slips expected", [Task(i, landing, None, 0.0) for i in range(few)]))
        for scatter in (0.5, 2.0, 0.4, 2.5):
            parts.append(
                (f"{landing}, scatter x{scatter:g}", [Task(i, landing, scatter) for i in range(few)])
            )
    for title, tasks in parts:
        if options.only in title:
            table(title, tasks, options.processes)


if __name__ == "__main__":
    main()

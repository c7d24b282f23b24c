"""What a dial-in costs: the program, the exact limit, and the rules of the trade.

Parts (``--only``):

* ``known``: shops whose scatter and move error are known. The limit is the plan on the true parameters
  with a grid twice as fine; its own value, the mean of its simulated policy and a grid refined again.
  Where landing renews and the least step is coarse, what a move can reach hangs on where the offset,
  not the level, lies between two steps; the plan does not carry that, so its value there is too low and
  its policy is no limit.
* ``unknown``: scatter and move error drawn from the prior, log-sd 0.6 and 1.0. The plan that knows them,
  and the plan with the medians fixed.
* ``misspecified``: truths that the model does not hold, against every rule.

All makers meet the same shops and the same luck (common random numbers); ± is one standard error, of
a ratio that of the paired ratio.

    python tests/benchmarks/dial_in.py [--runs 400] [--only known]
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any

import numpy as np
from kit import mean_error, plain_setup, ratio_error, runs_wanted, spread_out
from limit import Limit

from calib.shop import Cutter, Joint, Setup
from calib.simulate import RULES, Outcome, dial_in, draw_truth
from calib.simulate.rules import program
from calib.simulate.truth import Truth

SEED = 20250303
LIMIT_RUNS = 10  # the limit is cheap: its own value is checked on so many times more runs
KNOWN = {"scales_known": True, "scale_sd": 0.0, "blunder_probability": 0.0}


@dataclass(frozen=True)
class Shop:
    """A setup, and how its truths differ from what is believed of it."""

    setup: Setup
    truth: dict[str, Any] = field(default_factory=dict)
    believed: dict[str, Any] = field(default_factory=dict)


def _shop(truth: dict[str, Any] | None = None, believed: dict[str, Any] | None = None, **setup: Any) -> Shop:
    return Shop(plain_setup(**setup), truth or {}, believed or {})


#: The maker's prices: minutes per spoiled piece too high and too low; test cut 4, move 2 unless said.
KNOWN_SHOPS = {
    "cheap, short, adds": _shop(pieces=8, high=3, low=3, **KNOWN),
    "dear, short, adds": _shop(pieces=8, high=60, low=60, **KNOWN),
    "dear, long, adds": _shop(pieces=40, high=30, low=12, **KNOWN),
    "dear, coarse step 0.05": _shop(pieces=16, high=30, low=12, step=0.05, **KNOWN),
    "fine adjuster, 0.005": _shop(pieces=16, high=30, low=12, step=0.01, move_sd_mm=0.005, **KNOWN),
    "cheap, short, renews": _shop(pieces=8, high=3, low=3, landing="renews", **KNOWN),
    "dear, short, renews": _shop(pieces=8, high=60, low=60, landing="renews", **KNOWN),
    "dear, long, renews": _shop(pieces=40, high=30, low=12, landing="renews", **KNOWN),
    "coarse step, renews": _shop(pieces=16, high=30, low=12, step=0.05, landing="renews", **KNOWN),
}

#: log-sd of the unknown scales, and the landing.
UNKNOWN_SHOPS = {
    f"log-sd {log_sd}, {landing}, {name}": _shop(
        landing=landing, log_sd=log_sd, scale_sd=0.0, blunder_probability=0.0, **prices
    )
    for log_sd in (0.6, 1.0)
    for landing in ("adds", "renews")
    for name, prices in {
        "dear, 16": {"pieces": 16, "high": 30, "low": 12},
        "cheap, 8": {"pieces": 8, "high": 5, "low": 5},
    }.items()
}

_DEAR = {"pieces": 16, "high": 30, "low": 12}
#: A finger joint, whose geometry knows what the edge does to the clearance (-3 mm per mm of recession).
_FINGERS = replace(
    plain_setup(**_DEAR, wear_sd_mm_per_m=0.0005),
    joint=Joint("finger", thickness_mm=8.0),
    cutter=Cutter("spiral-6", 6.0),
    metres_per_piece_m=0.1,
)
MISSPECIFIED_SHOPS = {
    "as believed": _shop(**_DEAR),
    "as believed, renews": _shop(landing="renews", **_DEAR),
    "as believed, cheap": _shop(pieces=8, high=5, low=5),
    "scatter x2.5": _shop({"scatter": 2.5}, **_DEAR),
    "scatter x0.4": _shop({"scatter": 0.4}, **_DEAR),
    "move error x2.5": _shop({"move": 2.5}, **_DEAR),
    "heavy tails": _shop({"heavy_tails": True}, **_DEAR),
    "scale error 10 %": _shop({}, {"scale_sd": 0.03}, scale_sd=0.10, **_DEAR),
    "shift after 3 pieces": _shop({"shift_mm": 0.05, "shift_after": 3}, **_DEAR),
    "slips 5 %": _shop({"slip_probability": 0.05}, **_DEAR),
    "backlash 0.05 ignored": _shop({"backlash_ignored": True}, backlash=0.05, **_DEAR),
    "fast first metres": Shop(_FINGERS, {"fast_mm": 0.01}),
    "truth renews, believed adds": _shop({}, {"landing": "adds"}, landing="renews", **_DEAR),
    "truth adds, believed renews": _shop({}, {"landing": "renews"}, landing="adds", **_DEAR),
}


@dataclass(frozen=True)
class Task:
    """One dial-in of one shop by several makers."""

    part: str
    shop: str
    number: int
    rules: tuple[str, ...]


def believed(shop: Shop) -> Setup:
    """Return the setup as the maker tells it to the program."""
    wrong, setup = dict(shop.believed), shop.setup
    if "landing" in wrong:
        adjuster = replace(setup.adjusters[0], landing=wrong.pop("landing"))
        setup = replace(setup, adjusters=(adjuster,))
    return replace(setup, knowledge=replace(setup.knowledge, **wrong))


PARTS = {"known": KNOWN_SHOPS, "unknown": UNKNOWN_SHOPS, "misspecified": MISSPECIFIED_SHOPS}


@cache
def limit_of(part: str, name: str) -> Limit:
    """Return the limit of a shop with known scales."""
    return Limit(PARTS[part][name].setup)


def run(task: Task) -> dict[str, Outcome]:
    """Return what one dial-in costs every maker."""
    shop = PARTS[task.part][task.shop]
    truth = draw_truth(shop.setup, np.random.default_rng([SEED, task.number]), **shop.truth)
    return {rule: _dial_in(task, shop, truth, rule) for rule in task.rules}


def _dial_in(task: Task, shop: Shop, truth: Truth, name: str) -> Outcome:
    told = believed(shop)
    rule = RULES.get(name, program)
    if name == "limit":
        rule = limit_of(task.part, task.shop)
    elif name == "knows the scales":
        told = _with_scales(told, truth.scatter, truth.move)
    elif name == "medians fixed":
        told = _with_scales(told, 1.0, 1.0)
    luck = np.random.default_rng([SEED, task.number, 1])
    outcome = dial_in(shop.setup, truth, luck, lambda _, cuts: rule(told, cuts))
    return replace(outcome, cuts=())


def _with_scales(setup: Setup, scatter: float, move: float) -> Setup:
    known = setup.knowledge
    fixed = replace(
        known,
        scales_known=True,
        cut_sd_mm=scatter * known.cut_sd_mm,
        reading_sd_mm=scatter * known.reading_sd_mm,
        move_sd_mm=move * known.move_sd_mm,
    )
    return replace(setup, knowledge=fixed)


def simulate(
    part: str, shop: str, rules: tuple[str, ...], runs: int, processes: int
) -> dict[str, np.ndarray]:
    """Return per rule an array (runs, 4): minutes, tests, moves, spoiled pieces."""
    tasks = [Task(part, shop, i, rules) for i in range(runs)]
    outcomes = spread_out(run, tasks, processes, f"{part}: {shop}")
    return {
        rule: np.array([(o[rule].minutes, o[rule].tests, o[rule].moves, o[rule].spoiled) for o in outcomes])
        for rule in rules
    }


def show(title: str, found: dict[str, np.ndarray], base: str) -> None:
    """Print minutes, tests, moves, spoiled pieces and the paired ratio to one maker."""
    print(f"{title}, {len(found[base])} dial-ins")
    print(f"  {'':20}{'minutes':>16}{'tests':>8}{'moves':>8}{'spoiled':>9}   to {base}")
    for rule, rows in found.items():
        mean, error = mean_error(rows[:, 0])
        _, tests, moves, spoiled = rows.mean(axis=0)
        ratio, spread = ratio_error(rows[:, 0], found[base][:, 0])
        print(
            f"  {rule:20}{mean:9.2f} ±{error:5.2f}{tests:8.2f}{moves:8.2f}{spoiled:9.2f}"
            f"   {ratio:.3f} ±{spread:.3f}"
        )
    print(flush=True)


def known_part(runs: int, processes: int) -> None:
    """Print the shops with known scatter, with the limit's own checks."""
    for name, shop in KNOWN_SHOPS.items():
        found = simulate("known", name, ("limit", "program", *list(RULES)[1:]), runs, processes)
        show(name, found, "limit")
        simulated = simulate("known", name, ("limit",), LIMIT_RUNS * runs, processes)["limit"][:, 0]
        mean, error = mean_error(simulated)
        value = limit_of("known", name).value()
        fine = Limit(shop.setup, points=641, rungs=160).value()
        program_grid = Limit(shop.setup, points=161, rungs=20 if "renews" in name else 40).value()
        print(
            f"  limit: own value {value:.2f}, simulated {mean:.2f} ±{error:.2f}; "
            f"grid twice as fine {fine:.2f} ({100 * (fine / value - 1):+.2f} %), "
            f"the program's grid {program_grid:.2f} ({100 * (program_grid / fine - 1):+.2f} %)\n",
            flush=True,
        )


def unknown_part(runs: int, processes: int) -> None:
    """Print the shops whose scatter and move error are drawn from the prior."""
    for name in UNKNOWN_SHOPS:
        rules = ("knows the scales", "program", "medians fixed")
        found = simulate("unknown", name, rules, runs, processes)
        show(name, found, "knows the scales")
        mean, error = mean_error(found["medians fixed"][:, 0] - found["program"][:, 0])
        print(f"  medians fixed less program: {mean:+.2f} ±{error:.2f} min\n", flush=True)


def misspecified_part(runs: int, processes: int) -> None:
    """Print the shops that the model does not hold."""
    for name in MISSPECIFIED_SHOPS:
        show(name, simulate("misspecified", name, tuple(RULES), runs, processes), "program")


def main() -> None:
    """Print the parts."""
    options = runs_wanted("Minutes of a dial-in: the program, the limit and the rules of the trade.", 400)
    parts = {"known": known_part, "unknown": unknown_part, "misspecified": misspecified_part}
    for name, part in parts.items():
        if name.startswith(options.only):
            part(options.runs, options.processes)


if __name__ == "__main__":
    main()

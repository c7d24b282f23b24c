"""Noise is not chased, and a move that is advised is worth it.

Parts (``--only``):

* ``forced``: states of simulated dial-ins in which a move is advised. The rest of each is played twice
  from there with the same luck: once as advised, once with the cheapest step that moves nothing, and
  the program again after it.
* ``funnel``: a stable process, 50 good pieces, each measured. After each the program, or another rule,
  may move. Mean square of the readings' error, relative to never touching it: once on its target by
  luck, once after the program has dialled it in. Who was only just mounted there and is not told that it
  is on target has to find out: after n pieces their mean is known to 1/n of one reading's variance, so that
  the best that never errs in a move is at 1 + (1 + 1/2 + ... + 1/49) / 49 = 1.09 when it always adjusts.

    python tests/benchmarks/no_move.py [--runs 1000] [--only forced]
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from kit import mean_error, plain_setup, ratio_error, runs_wanted, spread_out

from calib.decision.advise import advise, next_step
from calib.regression.infer import standing
from calib.shop import Cut, Setup
from calib.simulate import RULES, Action, SimulatedShop, draw_truth
from calib.simulate.rules import chase

SEED = 20250304
PIECES = 50
MOST_TESTS = 30
SHOPS = {
    "dear, adds": plain_setup(high=30, low=12),
    "cheap, adds": plain_setup(pieces=8, high=5, low=5),
    "dear, renews": plain_setup(high=30, low=12, landing="renews"),
    "coarse step": plain_setup(high=30, low=12, step=0.03),
}


def _log(shop: SimulatedShop) -> list[Cut]:
    return [standing(shop.setup), *shop.cuts]


def _play(shop: SimulatedShop, action: Action | None) -> tuple[Action, list[tuple[SimulatedShop, Action]]]:
    """Play to the end, the first action given or not; return the last one, and the states that moved."""
    states: list[tuple[SimulatedShop, Action]] = []
    while True:
        step = Action(*next_step(shop.setup, _log(shop))) if action is None else action
        action = None
        if step.step.startswith("move_"):
            states.append((shop.twin(), step))
        if step.step in ("cut_good", "move_and_cut_good") or len(shop.cuts) >= MOST_TESTS:
            shop.move_to(step.settings_mm)
            return step, states
        if step.step == "measure_again":
            shop.again()
        else:
            shop.cut(step.settings_mm, step.times)


def _minutes(shop: SimulatedShop) -> float:
    """Everything from the first cut on, re-measurements at half a test."""
    stakes = shop.setup.stakes
    repeats = sum(len(cut.readings["clearance"]) - 1 for cut in shop.cuts)
    minutes = stakes.test_cut_min * (len(shop.cuts) + 0.5 * repeats) + stakes.move_min * shop.moves
    above, below = shop.spoiled(shop.setup.pieces_left)["clearance"]
    own = stakes.of("clearance")
    return minutes + above * own.too_high_min + below * own.too_low_min


def forced(task: tuple[str, int]) -> tuple[float, float] | None:
    """Return minutes as advised and with the move forbidden once, from one state of one dial-in."""
    name, number = task
    setup = SHOPS[name]
    truth = draw_truth(setup, np.random.default_rng([SEED, number]))
    _, states = _play(SimulatedShop(setup, truth, np.random.default_rng([SEED, number, 1])), None)
    if not states:
        return None
    shop, advised = states[int(np.random.default_rng([SEED, number, 2]).integers(len(states)))]
    still = min(
        (a for a in advise(setup, _log(shop)).actions if a.step in ("cut_good", "test_again")),
        key=lambda a: a.minutes,
    )
    here = _log(shop)[-1].settings_mm
    other = shop.twin()
    _play(shop, advised)
    _play(other, Action(still.step, here))
    return _minutes(shop), _minutes(other)


def forced_part(runs: int, processes: int) -> None:
    """Print what forbidding an advised move costs."""
    print(f"{'forced no move':16}{'states':>8}{'as advised':>12}{'not moved':>11}{'difference':>20}")
    for name in SHOPS:
        tasks = [(name, i) for i in range(runs // len(SHOPS))]
        pairs = np.array(
            [p for p in spread_out(forced, tasks, processes, f"forced: {name}") if p is not None]
        )
        mean, error = mean_error(pairs[:, 1] - pairs[:, 0])
        moved, still = pairs.mean(axis=0)
        print(
            f"{name:16}{len(pairs):>8}{moved:>12.2f}{still:>11.2f}{mean:>+12.2f} ±{error:.2f} min", flush=True
        )
    print()


def _funnel_setup(offset_sd: float) -> Setup:
    return plain_setup(
        high=30, low=30, pieces=PIECES, offset_sd_mm=offset_sd, scale_sd=0.0, blunder_probability=0.0
    )


Maker = Callable[[Setup, list[Cut]], Mapping[str, float]]


def _program(setup: Setup, cuts: list[Cut]) -> Mapping[str, float]:
    done = sum(cut.kind == "good" for cut in cuts)
    return next_step(replace(setup, pieces_left=PIECES - done), cuts)[1]


def _chase_all(setup: Setup, cuts: list[Cut]) -> Mapping[str, float]:
    """Take out the whole error of every piece, inside the band or not."""
    error = cuts[-1].readings["clearance"][0] - setup.bands[0].target_mm  # type: ignore[operator]
    return {"key": cuts[-1].settings_mm["key"] + float(error)}


def _untouched(setup: Setup, cuts: list[Cut]) -> Mapping[str, float]:
    return cuts[-1].settings_mm


#: maker: (sd of the offset that is believed, dialled in first, what is done after each piece)
MAKERS: dict[str, tuple[float, bool, Maker]] = {
    "on target, never touched": (0.3, False, _untouched),
    "on target, program, settled (sd 0.01)": (0.01, False, _program),
    "on target, program, just mounted": (0.3, False, _program),
    "on target, ewma, dead band": (0.3, False, lambda s, c: RULES["ewma, dead band"](s, c).settings_mm),
    "on target, chase what is outside": (0.3, False, lambda s, c: chase(s, c).settings_mm),
    "on target, chase every piece": (0.3, False, _chase_all),
    "dialled in, never touched": (0.3, True, _untouched),
    "dialled in, program": (0.3, True, _program),
    "dialled in, chase what is outside": (0.3, True, lambda s, c: chase(s, c).settings_mm),
    "dialled in, chase every piece": (0.3, True, _chase_all),
}


def funnel(task: tuple[str, int]) -> tuple[float, int]:
    """Return the mean square error of the readings from piece 2 on, and the moves, of one run."""
    name, number = task
    offset_sd, dialled, maker = MAKERS[name]
    setup = _funnel_setup(offset_sd)
    truth = draw_truth(setup, np.random.default_rng([SEED, number]), scatter=1.0, move=1.0)
    truth = truth if dialled else replace(truth, offset_mm={"clearance": 0.0})
    shop = SimulatedShop(setup, truth, np.random.default_rng([SEED, number, 3]))
    to: Mapping[str, float] = shop.start
    if dialled:
        last, _ = _play(shop, None)
        to = last.settings_mm
    before = shop.moves, len(shop.cuts)
    for piece in range(1, PIECES + 1):
        shop.cut(to)
        shop.cuts[-1] = replace(shop.cuts[-1], kind="good")
        to = maker(setup, shop.cuts) if piece < PIECES else to
    errors = [cut.readings["clearance"][0] - setup.bands[0].target_mm for cut in shop.cuts[before[1] :]]  # type: ignore[operator]
    return float(np.mean(np.array(errors[1:], dtype=float) ** 2)), shop.moves - before[0]


def funnel_part(runs: int, processes: int) -> None:
    """Print the mean square error of every maker relative to never touching the machine."""
    print(f"{'funnel, 50 pieces':40}{'runs':>6}{'mean square':>16}{'moves':>8}")
    found: dict[str, np.ndarray] = {}
    for name in MAKERS:
        tasks = [(name, i) for i in range(runs)]
        found[name] = np.array(spread_out(funnel, tasks, processes, f"funnel: {name}"))
        left_alone = found[name.split(", ")[0] + ", never touched"]
        ratio, error = ratio_error(found[name][:, 0], left_alone[:, 0])
        print(f"{name:40}{runs:>6}{ratio:>9.3f} ±{error:.3f}{found[name][:, 1].mean():>8.2f}", flush=True)


def main() -> None:
    """Print the parts."""
    options = runs_wanted("What an advised move is worth, and that noise is not chased.", 1000)
    for name, part in {"forced": forced_part, "funnel": funnel_part}.items():
        if name.startswith(options.only):
            part(options.runs, options.processes)


if __name__ == "__main__":
    main()

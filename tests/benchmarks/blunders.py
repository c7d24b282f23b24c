"""One reading in five ten times too large: does the aim hold, and is the reading named?

Logs of five cuts in a shop drawn from the prior, by a maker who moves by the estimated error after each.
The reading of cut 1, 2, 3 or 4 in turn is then multiplied by ten; a log counts where that adds at least
0.3 mm. The *continuous aim* is the setting at which the expected reading is the target; it is compared
with that of the same log without the cut. The same with the last cut: it must be measured again and
nothing may move.

    python tests/benchmarks/blunders.py [--runs 500]
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from kit import plain_setup, runs_wanted, spread_out

from calib.decision.advise import advise
from calib.regression import posterior
from calib.shop import Cut, Setup
from calib.simulate import SimulatedShop, draw_truth

SEED = 20250302
CUTS = 5
TIMES = 10.0
LEAST_MM = 0.3


def logs(setup: Setup, wanted: int) -> list[tuple[int, list[Cut], list[Cut]]]:
    """Return (bad cut, log with the slip, log as it was) for the first four cuts in turn, and the last."""
    found: list[tuple[int, list[Cut], list[Cut]]] = []
    last: list[tuple[int, list[Cut], list[Cut]]] = []
    number = 0
    while len(found) < wanted or len(last) < wanted // CUTS:
        clean = _log(setup, number)
        number += 1
        for bad, kept in ((len(found) % (CUTS - 1), found), (CUTS - 1, last)):
            reading = clean[bad].readings["clearance"][0]
            if abs(reading) * (TIMES - 1.0) >= LEAST_MM and len(kept) < wanted:  # type: ignore[arg-type]
                slip = replace(clean[bad], readings={"clearance": (TIMES * reading,)})  # type: ignore[operator]
                kept.append((bad, [*clean[:bad], slip, *clean[bad + 1 :]], clean))
    return found + last[: wanted // CUTS]


def _log(setup: Setup, number: int) -> list[Cut]:
    truth = draw_truth(setup, np.random.default_rng([SEED, number]))
    shop = SimulatedShop(setup, truth, np.random.default_rng([SEED, number, 1]))
    to = shop.start
    for _ in range(CUTS):
        cut = shop.cut(to)
        to = {"key": round(aim(setup, shop.cuts), 3)}
        assert cut.readings
    return shop.cuts


def aim(setup: Setup, cuts: Sequence[Cut]) -> float:
    """Return the setting at which the expected reading is the target, mm (slope -1)."""
    here = cuts[-1].settings_mm["key"]
    return here + posterior(setup, cuts).size("clearance").expected - setup.bands[0].target_mm


SETUP = plain_setup()


def judge(task: tuple[int, list[Cut], list[Cut]]) -> tuple[int, float, bool, bool, float]:
    """Return bad cut, shift of the aim (mm), whether it is named, asked for again, and its probability."""
    bad, log, clean = task
    without = [*clean[:bad], replace(clean[bad], readings={}), *clean[bad + 1 :]]
    shift = abs(aim(SETUP, log) - aim(SETUP, without))
    advice = advise(SETUP, log)
    name = f"cut {bad + 1}"
    named = any(name in doubt.lower() for doubt in advice.doubts)
    again = advice.step == "measure_again" and not advice.moves
    chance = max((p for row, p in posterior(SETUP, log).blocks[0].bad if row.cut == bad + 1), default=0.0)
    return bad, shift, named, again, chance


def main() -> None:
    """Print the shares."""
    options = runs_wanted("A reading ten times too large in five cuts.", 500)
    results = spread_out(judge, logs(SETUP, options.runs), options.processes, "blunders")
    print(
        f"{'slip in cut':14}{'logs':>6}{'aim within 0.02':>18}{'within 0.03':>13}"
        f"{'named':>9}{'again':>9}{'p > 0.4':>9}"
    )
    early = [r for r in results if r[0] < CUTS - 1]
    for title, rows in [
        *((f"{k + 1}", [r for r in results if r[0] == k]) for k in range(CUTS)),
        ("1 to 4", early),
    ]:
        shift = np.array([r[1] for r in rows])
        cells = [shift <= 0.02, shift <= 0.03, *(np.array([r[k] for r in rows]) for k in (2, 3))]
        cells.append(np.array([r[4] for r in rows]) > 0.4)
        shares = [100.0 * float(cell.mean()) for cell in cells]
        print(
            f"{title:14}{len(rows):>6}{shares[0]:>17.1f}%{shares[1]:>12.1f}%"
            + "".join(f"{s:8.1f}%" for s in shares[2:])
        )
    share = np.mean([r[1] <= 0.02 for r in early])
    print(
        f"standard error of a share of the early ones: {100 * (share * (1 - share) / len(early)) ** 0.5:.1f}%"
    )


if __name__ == "__main__":
    main()

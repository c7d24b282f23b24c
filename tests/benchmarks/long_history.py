"""How long learning takes in a shop with a long history, and what that does to the next advice.

A database of 200 setups with 10 mountings of 50 cuts each is made by importing logs; then every setup is
learned anew, and the next step of one is asked. Seconds of this process (wall clock beside).

    python tests/benchmarks/long_history.py [--runs 200]     (runs: setups)
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from kit import plain_setup, runs_wanted

from calib.logfile import write_log
from calib.shop import Cut, Cutter
from calib.workflow import logs
from calib.workflow.learning import learn
from calib.workflow.next import next_step
from calib.workflow.shopfloor import open_shop

SEED = 20250312
MOUNTINGS, CUTS = 10, 50


def history(number: int) -> list[Cut]:
    """Return the cuts of one setup: three moves a mounting, the rest where it then stood."""
    rng = np.random.default_rng([SEED, number])
    cuts: list[Cut] = []
    for j in range(MOUNTINGS):
        offset, x = 0.1 + 0.05 * float(rng.standard_normal()), 0.0
        for n in range(CUTS):
            if n in (1, 3, 20):
                x = round(x + 0.05 * float(rng.standard_normal()), 3)
            read = round(0.07 + offset - x + 0.025 * float(rng.standard_normal()), 4)
            made = {"settings_mm": {"key": x}, "readings": {"clearance": (read,)}, "mounting": str(j + 1)}
            cuts.append(Cut(number=len(cuts) + 1, kind="test" if n < 6 else "good", **made))
    return cuts


def timed(what: str, work: Callable[[], object]) -> None:
    """Print how long some work took."""
    begin, wall = time.process_time(), time.perf_counter()
    work()
    print(f"{what}: {time.process_time() - begin:.2f} s ({time.perf_counter() - wall:.2f} s)", flush=True)


def main() -> None:
    """Make the database, learn, ask."""
    options = runs_wanted("A long history.", 200)
    setup = plain_setup()
    with tempfile.TemporaryDirectory() as folder, open_shop(Path(folder) / "shop.db") as shop:
        names = [f"setup-{i}" for i in range(options.runs)]

        def fill() -> None:
            for i, name in enumerate(names):
                path = Path(folder) / f"{name}.toml"
                cutter = Cutter(f"cutter-{i // 10}")  # ten setups share one
                write_log(replace(setup, name=name, cutter=cutter), history(i), path)
                logs.import_log(shop, path)

        timed(f"import of {options.runs * MOUNTINGS * CUTS} cuts", fill)
        timed(f"learn, {options.runs} setups", lambda: learn(shop, names))
        timed("learn again", lambda: learn(shop, names))
        timed("next, first time", lambda: next_step(shop, names[0]))
        timed("next", lambda: next_step(shop, names[0]))
        print(f"file: {(Path(folder) / 'shop.db').stat().st_size / 1e6:.0f} MB")


if __name__ == "__main__":
    main()

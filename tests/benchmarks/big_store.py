"""Does `calib next` grow with the shop? 100,000 cuts (200 setups, 2,000 mountings) against 100 cuts.

Each mounting has 5 test cuts and 45 rows of good pieces, of which every tenth was measured; every setup
was advised on once a mounting, and a third of the cutters was sharpened. `next` is timed inside one
process (start-up left out) and as a command, on a setup of the middle of the big shop; so are `history`
and `honesty`.

    python tests/benchmarks/big_store.py [--runs 5]
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

import numpy as np

from calib.decision.advise import MODEL_VERSION
from calib.store.setup_json import to_json
from calib.workflow.honesty import judge_all
from calib.workflow.newsetup import Answers, new_setup
from calib.workflow.next import next_step
from calib.workflow.setups import add, bench_of
from calib.workflow.shopfloor import Shop, open_shop

SEED = 20250312
MOUNTINGS, TESTS, GOOD = 10, 5, 45
WHEN = "2025-03-01T08:00:00+00:00"


class Writer:
    """Rows as the commands would have written them, many at a time."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self.connection, self.rng = connection, np.random.default_rng(SEED)
        self.number = 0

    def insert(self, table: str, **values: object) -> int:
        marks = ", ".join("?" * len(values))
        cursor = self.connection.execute(
            f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})", list(values.values())
        )
        return int(cursor.lastrowid or 0)

    def event(self, kind: str, setup_id: int, undoable: bool = True) -> int:
        return self.insert(
            "events", at=WHEN, kind=kind, setup_id=setup_id, words=kind, undoable=int(undoable)
        )

    def setup(self, shop: Shop, k: int, mountings: int) -> str:
        """Write one setup with all its mountings; return its name."""
        name = f"corners-{k}"
        added = add(shop, new_setup(Answers("finger", 8.0, 6.0, name=name, cutter=f"spiral-{k % 20}")))
        row = self.connection.execute("SELECT * FROM setup_versions ORDER BY id DESC LIMIT 1").fetchone()
        assert to_json(added)
        for m in range(mountings):
            self.mounting(row, m + 1)
        return name

    def mounting(self, version: sqlite3.Row, number: int) -> None:
        setup_id, rng = int(version["setup_id"]), self.rng
        offset = 0.06 * rng.standard_normal()
        event_id = self.event("mounting", setup_id)
        values = {"setup_id": setup_id, "number": number, "label": str(number)}
        mounting_id = self.insert(
            "mountings", event_id=event_id, cutter_id=version["cutter_id"], stock="cherry", **values
        )
        sharpening = self.connection.execute(
            "SELECT MAX(id) FROM sharpenings WHERE cutter_id = ?", (version["cutter_id"],)
        ).fetchone()[0]
        seen, key, cuts = event_id, 6.10, []
        for i in range(TESTS + GOOD):
            key += 0.02 * (1 <= i < TESTS)
            measured = i < TESTS or i % 10 == 0
            reading = 0.07 + offset - (key - 6.12) + 0.025 * rng.standard_normal() if measured else None
            seen, cut_id = self.cut(version, mounting_id, sharpening, key, reading, good=i >= TESTS)
            cuts.append(cut_id)
        self.advice(version, mounting_id, seen, cuts)

    def cut(
        self, version: sqlite3.Row, mounting_id: int, sharpening: int, key: float, reading: float | None,
        *, good: bool,
    ) -> tuple[int, int]:  # fmt: skip
        setup_id = int(version["setup_id"])
        self.number += 1
        event_id = self.event("cut", setup_id)
        cut_id = self.insert(
            "cuts", event_id=event_id, number=self.number, setup_id=setup_id, setup_version_id=version["id"],
            mounting_id=mounting_id, sharpening_id=sharpening, kind="good" if good else "test", pieces=1,
        )  # fmt: skip
        self.insert("cut_settings", cut_id=cut_id, adjuster="key", setting_mm=round(key, 3), moved=0)
        if reading is not None:
            self.insert(
                "measurements", event_id=event_id, cut_id=cut_id, reading="clearance",
                value_mm=round(reading, 2),
            )  # fmt: skip
        return event_id, cut_id

    def advice(self, version: sqlite3.Row, mounting_id: int, seen: int, cuts: list[int]) -> None:
        setup_id = int(version["setup_id"])
        advice_id = self.insert(
            "advice", event_id=self.event("advice", setup_id, False), setup_id=setup_id,
            setup_version_id=version["id"], mounting_id=mounting_id, seen_event_id=seen,
            model_version=MODEL_VERSION, step="cut_good", pieces_left=8, probability_next=0.9,
            probability_all=0.5, cut_now_min=20.0, best_min=20.0, tests_expected=0.0, overrides="{}",
            published='{"moves": [], "step": "cut_good", "probability_next": 0.9}',
        )  # fmt: skip
        self.insert(
            "advice_readings", advice_id=advice_id, reading="clearance", target_mm=0.07, low_mm=0.03,
            high_mm=0.10, expected_mm=0.07, u_mm=0.03, interval_low_mm=0.02, interval_high_mm=0.12,
            probability_next=0.9, probability_all=0.5,
        )  # fmt: skip
        self.insert("advice_measured", advice_id=advice_id, reading="clearance", probability=0.8)
        for cut_id in cuts:
            self.insert("advice_cuts", advice_id=advice_id, cut_id=cut_id)


def build(path: Path, setups: int, mountings: int) -> None:
    """Write a shop."""
    with open_shop(path) as shop, shop.writing() as connection:
        writer = Writer(connection)
        for k in range(setups):
            writer.setup(shop, k, mountings)
            print(f"\r{path.name}: setup {k + 1}/{setups} ", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)


def seconds(work: Callable[[], object], runs: int) -> float:
    """Return the median time of some runs, the first one left out."""
    work()
    taken = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return median(taken)


def commands(path: Path, name: str, runs: int) -> dict[str, float]:
    """Return seconds of what a maker types."""
    environment = {**os.environ, "CALIB_DB": str(path), "OMP_NUM_THREADS": "1"}

    def ran(*words: str) -> object:
        program = [sys.executable, "-c", "from calib.cli.main import run; run()", *words]
        return subprocess.run(program, env=environment, capture_output=True, check=True)

    words = {"next": ("next", name), "history": ("history", name), "honesty of a setup": ("honesty", name)}
    return {f"calib {what}": seconds(lambda typed=typed: ran(*typed), runs) for what, typed in words.items()}


def times(path: Path, name: str, runs: int) -> dict[str, float]:
    """Return seconds by what was done."""
    with open_shop(path) as shop:
        found = {"the log is read, inside": seconds(lambda: bench_of(shop.connection, name), runs)}
        found["next, inside"] = seconds(lambda: next_step(shop, name, store=False), runs)
        found["honesty of the shop, inside"] = seconds(lambda: judge_all(shop), 1)
    return {**found, **commands(path, name, runs)}


def main() -> None:
    """Print the times in both shops and their ratio."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--setups", type=int, default=200)
    parser.add_argument("--keep", type=Path, help="folder that keeps the two databases")
    options = parser.parse_args()
    with TemporaryDirectory() as folder:
        at = options.keep or Path(folder)
        small, big = at / "small.db", at / "big.db"
        for path, setups, mountings in ((small, 1, 2), (big, options.setups, MOUNTINGS)):
            if not path.exists():
                build(path, setups, mountings)
        a = times(small, "corners-0", options.runs)
        b = times(big, f"corners-{options.setups // 2}", options.runs)
        print(f"{'':30}{'100 cuts':>12}{'big':>12}{'ratio':>8}")
        for what, taken in a.items():
            print(f"{what:30}{1000 * taken:9.0f} ms{1000 * b[what]:9.0f} ms{b[what] / taken:8.2f}")


if __name__ == "__main__":
    main()

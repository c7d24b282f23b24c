"""Values at rest: hurried sweeps end where plain ones do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from calib import advise, load_log
from calib.decision import plan, sweeps
from calib.decision.sweeps import Settled, Worth
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, ReadingStakes, Setup, Stakes

SAMPLES = Path(__file__).parents[1] / "sample_logs"


def asked(monkeypatch: pytest.MonkeyPatch, setup: Setup, cuts: list[Cut]) -> list[Callable[[], Settled]]:
    """Return every sweep that an advice asks for, to be made again."""
    found: list[Callable[[], Settled]] = []

    def adding(worth: Worth) -> Settled:
        found.append(lambda: sweeps.sweep_adding(worth))
        return sweeps.sweep_adding(worth)

    def renewing(worth: Worth, rungs: int) -> Settled:
        found.append(lambda: sweeps.sweep_renewing(worth, rungs))
        return sweeps.sweep_renewing(worth, rungs)

    monkeypatch.setattr(plan, "sweep_adding", adding)
    monkeypatch.setattr(plan, "sweep_renewing", renewing)
    advise(setup, cuts)
    return found


def one_reading(landing: str, step: float, high: float) -> tuple[Setup, list[Cut]]:
    setup = Setup(
        "one", Joint("plain"), (Band("clearance", 0.07, 0.02, 0.12),),
        (Adjuster("key", step, 0.0, landing, moves={"clearance": -1.0}),), pieces_left=16,
        stakes=Stakes(4.0, 2.0, default=ReadingStakes(high, 12.0)), knowledge=Knowledge(),
    )  # fmt: skip
    return setup, [Cut(1, "test", {"key": 6.0}, {"clearance": (0.2,)})]


CASES = [
    one_reading(landing, step, high)
    for landing in ("adds", "renews")
    for step in (0.0, 0.03)
    for high in (3.0, 90.0)
]


def assert_at_rest(monkeypatch: pytest.MonkeyPatch, found: list[Callable[[], Settled]]) -> None:
    """Compare with sweeps that are never hurried, go on for long, and take all hypotheses along."""
    assert found
    for sweep in found:
        hurried = sweep()
        with monkeypatch.context() as plain:
            plain.setattr(sweeps, "_rest_of_the_row", lambda changes: np.zeros_like(changes[-1]))
            plain.setattr(sweeps, "_MOST_SWEEPS", 1500)
            plain.setattr(sweeps._Tables, "tolerance", 1e-7)
            rested = sweep()
        least = 1e-3 * rested.value.max() + 0.2
        np.testing.assert_allclose(hurried.value, rested.value, atol=least)
        np.testing.assert_allclose(hurried.test, rested.test, atol=least)
        assert abs(hurried.tests - rested.tests).mean() < 0.1


@pytest.mark.parametrize("case", range(len(CASES)))
def test_values_come_to_rest_where_plain_sweeps_bring_them(monkeypatch, case) -> None:
    assert_at_rest(monkeypatch, asked(monkeypatch, *CASES[case]))


@pytest.mark.parametrize("cuts", [0, 1, 3, 6])
@pytest.mark.parametrize("name", ["chest-corners", "bottom-groove", "lid-inlay"])
def test_the_plans_of_the_samples_come_to_rest(monkeypatch, name, cuts) -> None:
    setup, log = load_log(SAMPLES / f"{name}.toml")
    assert_at_rest(monkeypatch, asked(monkeypatch, setup, list(log)[:cuts]))

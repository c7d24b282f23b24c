"""Who pays for a test cut: the shares against a search over all of them, and a case worked by hand."""

import itertools
from pathlib import Path

import numpy as np
import pytest

from calib import advise, load_log
from calib.decision import options
from calib.decision.shares import _SHARES, given_away, shares_of

SAMPLES = Path(__file__).parents[1] / "sample_logs"


def block(loss: float, decay: float) -> np.ndarray:
    """Minutes of a block whose n-th test leaves loss * decay^n, at each share of a test of 4 minutes."""
    n = np.arange(60)
    return np.array([np.min(loss * decay**n + 4.0 * share * n) for share in _SHARES])


@pytest.mark.parametrize(
    "blocks",
    [
        [block(100.0, 0.5), block(100.0, 0.5)],
        [block(100.0, 0.5), block(20.0, 0.8)],
        [block(300.0, 0.9), block(5.0, 0.5)],
        [block(50.0, 0.6), block(80.0, 0.7), block(10.0, 0.3)],
    ],
)
def test_no_other_shares_make_the_blocks_cost_more(blocks):
    table = np.stack(blocks)
    steps = np.arange(0.05, 1.0, 0.05)
    found = sum(np.interp(s, _SHARES, row) for s, row in zip(given_away(table), blocks, strict=True))
    others = [
        sum(np.interp(s, _SHARES, row) for s, row in zip((*few, 1.0 - sum(few)), blocks, strict=True))
        for few in itertools.product(steps, repeat=len(blocks) - 1)
        if sum(few) <= 0.95 + 1e-9
    ]
    assert found >= max(others) - 0.02


def test_blocks_that_are_alike_pay_alike_and_all_is_paid():
    assert given_away(np.stack([block(100.0, 0.5)] * 2)) == pytest.approx([0.5, 0.5])
    three = given_away(np.stack([block(100.0, 0.5)] * 3))
    assert sum(three) == pytest.approx(1.0)
    assert three == pytest.approx([1 / 3] * 3, abs=0.011)


def test_who_wants_no_test_pays_next_to_nothing():
    minutes = np.stack([block(100.0, 0.5), np.full(len(_SHARES), 0.3)])
    assert given_away(minutes) == pytest.approx([0.95, 0.05])


class Counted:
    def __init__(self, minutes: np.ndarray, now: float) -> None:
        self.minutes, self.now = minutes, now

    def alone_min(self, test_min: np.ndarray) -> np.ndarray:
        np.testing.assert_allclose(test_min, 4.0 * _SHARES)
        return self.minutes

    def cut_now_min(self) -> float:
        return self.now


def test_the_price_of_a_test_is_shared_out_where_one_can_pay():
    asked = [Counted(block(100.0, 0.5), 100.0), Counted(block(20.0, 0.8), 20.0)]
    assert shares_of(4.0, asked) == given_away(np.stack([b.minutes for b in asked]))
    assert shares_of(4.0, [Counted(block(100.0, 0.5), 100.0)]) == [1.0]
    assert shares_of(4.0, [Counted(block(1.0, 0.5), 1.0), Counted(block(2.0, 0.5), 2.0)]) == [0.5, 0.5]
    assert shares_of(4.0, [Counted(block(90.0, 0.5), 90.0)] * 25) == [0.04] * 25


def test_a_move_that_must_come_anyway_is_made_with_the_other_one(monkeypatch):
    """The sample's first cut is off both ways; with nothing to be saved by waiting, both are put right."""
    setup, log = load_log(SAMPLES / "chest-corners.toml")
    both = {move.adjuster for move in advise(setup, list(log)[:1]).moves}
    monkeypatch.setattr(options, "_NOT_WORTH_WAITING_MIN", 0.0)
    one = {move.adjuster for move in advise(setup, list(log)[:1]).moves}
    assert (both, one) == ({"key", "height"}, {"key"})
    assert advise(setup, list(log)[:1]).reasons[0].startswith("The height must move too, but not yet")

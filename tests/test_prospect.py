"""What a move would make of a reading equals what the posterior says once the move was made."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from calib.regression import posterior
from calib.regression.prospect import prospect
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, Setup


def setup_of(*adjusters: Adjuster, **known: object) -> Setup:
    return Setup(
        "gaps", Joint("plain"), (Band("gap", 0.0, -0.1, 0.1),), adjusters,
        knowledge=Knowledge(**known),  # type: ignore[arg-type]
    )  # fmt: skip


CASES = {
    "adds": setup_of(Adjuster("lever", moves={"gap": -1.0})),
    "renews": setup_of(Adjuster("lever", moves={"gap": -1.0}, landing="renews")),
    "two": setup_of(
        Adjuster("lever", moves={"gap": -1.0}), Adjuster("screw", moves={"gap": 0.5}, landing="renews")
    ),
    "learned": setup_of(Adjuster("lever", moves={"gap": "learn"})),
    "creep": setup_of(Adjuster("lever", moves={"gap": -1.0}), creep_sd_mm=0.005),
    "mountings": setup_of(Adjuster("lever", moves={"gap": -1.0}), mounting_sd_mm=0.05),
}
LEVER, SCREW = [0.0, 0.25, 0.22, 0.22], [0.0, 0.0, 0.1, 0.1]
GAPS = [0.30, 0.06, 0.02, 0.04]


def cuts_of(setup: Setup) -> list[Cut]:
    names = [a.name for a in setup.adjusters]
    cuts = []
    for n, (x, z, y) in enumerate(zip(LEVER, SCREW, GAPS, strict=True), 1):
        settings = {name: value for name, value in {"lever": x, "screw": z}.items() if name in names}
        cuts.append(Cut(n, "test", settings, {"gap": (y,)}, pieces=2))
    return cuts


@pytest.mark.parametrize("name", CASES)
def test_standing_still_is_the_posterior_now(name):
    setup = CASES[name]
    found = posterior(setup, cuts_of(setup))
    future = prospect(found.blocks[0])
    A = len(setup.adjusters)
    mean, covariance = future.after(np.zeros((1, A)), np.zeros((1, A), dtype=bool))
    size = found.size("gap")
    np.testing.assert_allclose(mean[:, 0, 0], size.mean, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(np.sqrt(covariance[:, 0, 0, 0]), size.sd, rtol=1e-9, atol=1e-12)


@pytest.mark.parametrize("name", CASES)
def test_a_move_is_what_the_posterior_says_after_it(name):
    """The row that says where the machine stands now carries the new move's own error."""
    setup = CASES[name]
    cuts = cuts_of(setup)
    future = prospect(posterior(setup, cuts).blocks[0])
    change = np.array([[0.05] + [0.0] * (len(setup.adjusters) - 1)])
    mean, covariance = future.after(change, change != 0.0)
    to = {**cuts[-1].settings_mm, "lever": cuts[-1].settings_mm["lever"] + 0.05}
    moved = posterior(setup, [*cuts, Cut(0, "test", to, pieces=0)]).size("gap")
    np.testing.assert_allclose(mean[:, 0, 0], moved.mean, rtol=1e-8, atol=1e-10)
    np.testing.assert_allclose(np.sqrt(covariance[:, 0, 0, 0]), moved.sd, rtol=1e-8, atol=1e-10)


def test_the_good_stock_may_be_another_than_the_scrap():
    setup = setup_of(Adjuster("lever", moves={"gap": -1.0}), stock_sd_mm=0.05)
    cuts = [dataclasses.replace(cut, stock="pine") for cut in cuts_of(setup)]
    same = prospect(posterior(setup, cuts).blocks[0])
    other = prospect(posterior(dataclasses.replace(setup, stock="cherry"), cuts).blocks[0])
    still = np.zeros((1, 1)), np.zeros((1, 1), dtype=bool)
    sds = [np.sqrt(f.weights @ f.after(*still)[1][:, 0, 0, 0]) for f in (same, other)]
    assert sds[1] > sds[0] + 0.01

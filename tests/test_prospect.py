"""What a move would make of a reading equals what the posterior says once the move was made."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from setups import GAP, LEVER, RISE

from calib.regression import posterior
from calib.regression.prospect import prospect
from calib.shop import Adjuster, Band, Cut, Cutter, Joint, Knowledge, Setup

RENEWS = dataclasses.replace(LEVER, landing="renews")
SCREW = Adjuster("screw", moves={"gap": 0.5}, landing="renews")
TIGHT = {"rtol": 1e-9, "atol": 1e-12}


def setup_of(*adjusters: Adjuster, bands: tuple[Band, ...] = (GAP,), **known: object) -> Setup:
    """Return a plain setup with all that is believed by default: a grid, slips, scales in doubt."""
    return Setup("gaps", Joint("plain"), bands, adjusters, knowledge=Knowledge(**known))  # type: ignore[arg-type]


CASES = {
    "adds": setup_of(LEVER),
    "renews": setup_of(RENEWS),
    "two adjusters": setup_of(LEVER, SCREW),
    "two readings": setup_of(
        Adjuster("lever", moves={"gap": -1.0, "rise": 0.5}),
        Adjuster("screw", moves={"rise": 1.0}, landing="renews"),
        bands=(GAP, RISE),
    ),
    "a slope to be learned": setup_of(Adjuster("lever", moves={"gap": "learn"})),
    "learned, renews": setup_of(Adjuster("lever", moves={"gap": "learn"}, landing="renews")),
    "creep": setup_of(LEVER, creep_sd_mm=0.005),
    "mountings": setup_of(LEVER, mounting_sd_mm=0.05),
    "stock": setup_of(LEVER, stock_sd_mm=0.05),
    "zero": setup_of(LEVER, zero_sd_mm=0.05),
    "wear": Setup(
        "fingers", Joint("finger"), (Band("play", 0.1, 0.0, 0.2),), (Adjuster("key"),),
        cutter=Cutter(nominal_mm=6.0), metres_per_piece_m=10.0, knowledge=Knowledge(wear_sd_mm_per_m=0.002),
    ),
}  # fmt: skip
FIRST, SECOND = [0.0, 0.25, 0.22, 0.22], [0.0, 0.0, 0.1, 0.1]
READ = [0.30, 0.06, 0.02, 0.04]


def cuts_of(setup: Setup) -> list[Cut]:
    """Four rows of two pieces; both adjusters were moved, the last row follows no move."""
    names, readings = [a.name for a in setup.adjusters], [b.name for b in setup.bands]
    return [
        Cut(n, "test", dict(zip(names, at, strict=False)), dict.fromkeys(readings, (y,)), pieces=2)
        for n, (*at, y) in enumerate(zip(FIRST, SECOND, READ, strict=True), 1)
    ]


def assert_says(setup: Setup, change: list[float], moved: list[bool], cuts_then: list[Cut]) -> None:
    """Compare every component of the prospect with the posterior after the row that was added."""
    future = prospect(posterior(setup, cuts_of(setup)).blocks[0])
    mean, covariance = future.after(np.array([change]), np.array([moved]))
    then = posterior(setup, cuts_then)
    for f, reading in enumerate(future.readings):
        size = then.size(reading)
        np.testing.assert_allclose(future.weights, size.weights, **TIGHT)
        np.testing.assert_allclose(mean[:, 0, f], size.mean, rtol=1e-9, atol=1e-11)
        np.testing.assert_allclose(np.sqrt(covariance[:, 0, f, f]), size.sd, rtol=1e-9, atol=1e-11)


@pytest.mark.parametrize("name", CASES)
def test_standing_still_is_the_posterior_now(name):
    setup = CASES[name]
    A = len(setup.adjusters)
    assert_says(setup, [0.0] * A, [False] * A, cuts_of(setup))


@pytest.mark.parametrize("adjuster", [0, 1])
@pytest.mark.parametrize("change", [0.05, -0.4, 0.0])
@pytest.mark.parametrize("name", CASES)
def test_a_move_is_what_the_posterior_says_after_it(name, change, adjuster):
    """The row that says where the machine stands now carries the new move's own error; 0 mm too."""
    setup = CASES[name]
    A = len(setup.adjusters)
    if adjuster >= A:
        adjuster, change = 0, 2.0 * change
    own, cuts = setup.adjusters[adjuster].name, cuts_of(setup)
    to = {**cuts[-1].settings_mm, own: cuts[-1].settings_mm[own] + change}
    then = [*cuts, Cut(0, "test", to, pieces=0, moved=frozenset([own]))]
    assert_says(setup, [change * (a == adjuster) for a in range(A)], [a == adjuster for a in range(A)], then)


def test_both_adjusters_moved_at_once():
    setup = CASES["two readings"]
    then = [*cuts_of(setup), Cut(0, "test", {"lever": 0.17, "screw": 0.13}, pieces=0)]
    assert_says(setup, [-0.05, 0.03], [True, True], then)


def test_two_readings_go_together_as_one_move_moves_them():
    """A wide move error leaves gap and rise almost perfectly correlated, with slopes -1 and 0.5."""
    lever = Adjuster("lever", moves={"gap": -1.0, "rise": 0.5})
    setup = setup_of(lever, bands=(GAP, RISE), move_sd_mm=5.0, scales_known=True, scale_sd=0.0)
    _, covariance = prospect(posterior(setup, []).blocks[0]).after(np.array([[0.1]]), np.array([[True]]))
    np.testing.assert_allclose(
        covariance[0, 0], [[0.09 + 25.0, -12.5], [-12.5, 0.09 + 6.25]], rtol=1e-9
    )  # offset sd 0.3


def test_candidates_are_independent_of_each_other():
    future = prospect(posterior(CASES["two adjusters"], cuts_of(CASES["two adjusters"])).blocks[0])
    change = np.array([[0.0, 0.0], [0.05, 0.0], [0.0, -0.3], [0.1, 0.1]])
    mean, covariance = future.after(change, change != 0.0)
    for p in range(len(change)):
        one_mean, one_covariance = future.after(change[p : p + 1], change[p : p + 1] != 0.0)
        np.testing.assert_allclose(mean[:, p], one_mean[:, 0], **TIGHT)
        np.testing.assert_allclose(covariance[:, p], one_covariance[:, 0], **TIGHT)


@pytest.mark.parametrize("stock", ["pine", "cherry"])
def test_the_good_stock_may_be_another_than_the_scrap(stock):
    """What is foreseen for the good pieces is what is believed once their stock lies on the machine."""
    scrap = [dataclasses.replace(cut, stock="pine") for cut in cuts_of(CASES["stock"])]
    setup = dataclasses.replace(CASES["stock"], stock=stock)
    future = prospect(posterior(setup, scrap).blocks[0])
    mean, covariance = future.after(np.zeros((1, 1)), np.zeros((1, 1), dtype=bool))
    row = Cut(0, "test", scrap[-1].settings_mm, pieces=0, stock=stock)
    size = posterior(setup, [*scrap, row]).size("gap")
    np.testing.assert_allclose(mean[:, 0, 0], size.mean, **TIGHT)
    np.testing.assert_allclose(np.sqrt(covariance[:, 0, 0, 0]), size.sd, **TIGHT)
    here = posterior(setup, scrap).size("gap")
    assert (size.u > 1.5 * here.u) == (stock == "cherry")


def test_creep_and_wear_along_the_batch():
    """Creep per piece is its own belief; wear drifts by recession times metres of a piece."""
    creeping = posterior(CASES["creep"], cuts_of(CASES["creep"]))
    mean, variance = prospect(creeping.blocks[0]).creep_after()
    at = creeping.blocks[0].names.index("creep:gap")
    np.testing.assert_allclose(mean[:, 0], creeping.blocks[0].mean[:, at], **TIGHT)
    np.testing.assert_allclose(variance[:, 0], creeping.blocks[0].covariance[:, at, at], **TIGHT)
    worn = posterior(CASES["wear"], cuts_of(CASES["wear"])).blocks[0]
    future, cut_m = prospect(worn), 10.0 * sum(cut.pieces for cut in cuts_of(CASES["wear"]))
    lost = -3.0 * worn.recession.between(cut_m, cut_m + 10.0 * np.array([1, 4]))
    np.testing.assert_allclose(future.worn_after(np.array([1, 4]))[:, 0], lost, **TIGHT)
    pieces = CASES["wear"].pieces_left
    all_of_it = -3.0 * worn.recession.between(cut_m, cut_m + 10.0 * pieces)
    np.testing.assert_allclose(future.drift[:, 0], all_of_it / pieces, **TIGHT)


def test_the_next_measured_reading_shares_the_zero_error_of_its_gauge():
    """The advice's u is that of the posterior's next reading: a zero error is not drawn again."""
    from calib import advise

    setup = setup_of(Adjuster("lever", moves={"gap": -1.0}), zero_sd_mm=0.05)
    setup = dataclasses.replace(setup, pieces_left=0)
    cuts = cuts_of(setup)
    advised = advise(setup, cuts)
    assert not advised.moves
    assert advised.readings[0].u_mm == pytest.approx(posterior(setup, cuts).next_reading("gap").u, rel=1e-9)


def test_a_typed_adjuster_moves_without_an_error_unless_it_is_said():
    typed = setup_of(Adjuster("lever", moves={"gap": -1.0}, typed=True), move_sd_mm=0.04)
    names = posterior(typed, cuts_of(typed)).blocks[0].names
    assert not [name for name in names if name.startswith("move:")]

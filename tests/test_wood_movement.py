"""Wood: signs, limits and names."""

from __future__ import annotations

import math

import pytest

from calib.errors import CalibError
from calib.wood import (
    COEFFICIENTS,
    coefficient_from_shrinkage,
    coefficients,
    equilibrium_moisture,
    movement,
    movement_from_shrinkage,
)


def test_damper_air_makes_damper_wood_and_warmer_air_drier() -> None:
    damp = [equilibrium_moisture(20.0, humidity) for humidity in range(1, 101)]
    assert damp == sorted(damp)
    warm = [equilibrium_moisture(t, 50.0) for t in range(10, 130, 5)]
    assert warm == sorted(warm, reverse=True)


def test_drying_shrinks_by_as_much_as_damp_swells() -> None:
    assert movement(100.0, 0.0025, 12.0, 8.0) == -movement(100.0, 0.0025, 8.0, 12.0)
    assert movement(100.0, 0.0025, 8.0, 8.0) == 0.0


def test_a_board_that_dries_and_is_wetted_again_has_its_old_size() -> None:
    """Eq. 13-3 is exact both ways: D_F / D_I is a ratio of two sizes of one board."""
    there = 100.0 + movement_from_shrinkage(100.0, 7.1, 12.0, 3.0)
    assert there + movement_from_shrinkage(there, 7.1, 3.0, 12.0) == pytest.approx(100.0, rel=1e-13)


def test_from_green_to_oven_dry_the_board_loses_its_whole_shrinkage() -> None:
    assert movement_from_shrinkage(100.0, 7.1, 30.0, 0.0) == pytest.approx(-7.1, rel=1e-13)


def test_both_equations_agree_near_ten_percent() -> None:
    by_coefficient = movement(100.0, coefficient_from_shrinkage(7.1), 10.0, 11.0)
    assert movement_from_shrinkage(100.0, 7.1, 10.0, 11.0) == pytest.approx(by_coefficient, rel=1e-13)


def test_every_species_moves_more_along_its_rings_than_across() -> None:
    assert len(COEFFICIENTS) == 27
    assert all(0.001 < c.radial < c.tangential < 0.005 for c in COEFFICIENTS.values())


@pytest.mark.parametrize("name", ["black cherry", "Black Cherry", "cherry, black", "  cherry black "])
def test_a_species_is_known_by_its_words_in_any_order(name: str) -> None:
    assert coefficients(name) == (0.00126, 0.00248)


def test_the_tables_commercial_oaks_are_known_with_and_without_the_word() -> None:
    assert coefficients("oak, red (commercial)") == coefficients("red oak")


def test_a_mistyped_species_is_answered_with_a_near_name() -> None:
    with pytest.raises(CalibError, match='Did you mean "black cherry"'):
        coefficients("blak cherry")
    with pytest.raises(CalibError, match=r"Known: .*sugar maple"):
        coefficients("xyzzy")


@pytest.mark.parametrize(("from_mc", "to_mc"), [(5.9, 10.0), (10.0, 14.1), (10.0, math.nan)])
def test_the_straight_rule_is_refused_outside_six_to_fourteen(from_mc: float, to_mc: float) -> None:
    with pytest.raises(CalibError, match="6 to 14 %"):
        movement(100.0, 0.0025, from_mc, to_mc)


def test_the_ends_of_the_range_are_inside_it() -> None:
    assert movement(100.0, 0.0025, 6.0, 14.0) == pytest.approx(2.0, rel=1e-14)


@pytest.mark.parametrize(("from_mc", "to_mc"), [(30.1, 10.0), (10.0, 31.0), (-1.0, 10.0)])
def test_no_movement_above_fibre_saturation(from_mc: float, to_mc: float) -> None:
    with pytest.raises(CalibError, match="moisture content"):
        movement_from_shrinkage(100.0, 7.1, from_mc, to_mc)


def test_numbers_that_cannot_be_are_refused() -> None:
    with pytest.raises(CalibError, match="Give percent"):
        equilibrium_moisture(20.0, 0.5)
    with pytest.raises(CalibError, match="relative humidity 101 %"):
        equilibrium_moisture(20.0, 101.0)
    with pytest.raises(CalibError, match="temperature -40 °C"):
        equilibrium_moisture(-40.0, 50.0)
    with pytest.raises(CalibError, match="size -1 mm"):
        movement(-1.0, 0.0025, 8.0, 10.0)
    with pytest.raises(CalibError, match=r"coefficient 0\.25"):
        movement(100.0, 0.25, 8.0, 10.0)
    with pytest.raises(CalibError, match="shrinkage 0 %"):
        coefficient_from_shrinkage(0.0)

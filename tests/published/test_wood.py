"""Moisture and movement against the Wood Handbook (USDA Forest Products Laboratory, FPL-GTR-190, 2010).

Labels: S = source read or quoted in a public copy, M = from memory, D = derived here.
"""

from __future__ import annotations

import pytest

from calib.wood import (
    coefficient_from_shrinkage,
    coefficients,
    equilibrium_moisture,
    movement,
    movement_from_shrinkage,
)


@pytest.mark.parametrize(
    ("temperature", "humidity", "equation", "table"),
    [
        # S: equation 4-5 with the constants for degrees Celsius, and Table 4-2
        (21.1, 30, 6.17, 6.2),
        (21.1, 40, 7.70, 7.7),
        (21.1, 50, 9.24, 9.2),
        (21.1, 60, 10.97, 11.0),
        (21.1, 65, 11.96, 12.0),
        (21.1, 80, 15.99, 16.0),
        (1.1, 50, 9.52, 9.5),
        (37.8, 50, 8.68, 8.7),
    ],
)
def test_equilibrium_moisture_follows_equation_and_table(
    temperature: float, humidity: float, equation: float, table: float
) -> None:
    found = equilibrium_moisture(temperature, humidity)
    assert found == pytest.approx(equation, abs=0.0051)
    assert found == pytest.approx(table, abs=0.06)


def test_sugar_maple_moves_by_both_equations() -> None:
    """S: eq. 13-2 with Table 13-5; eq. 13-3 (M) with shrinkage 9.9 %."""
    flat_sawn = coefficients("sugar maple").tangential
    assert movement(100.0, flat_sawn, 8.0, 12.0) == pytest.approx(1.412, abs=5e-4)
    assert movement_from_shrinkage(100.0, 9.9, 8.0, 12.0) == pytest.approx(1.423, abs=5e-4)


def test_black_walnut_grows_from_a_dry_to_a_damp_room() -> None:
    """S: eq. 4-5, 13-2, Table 13-5; result D."""
    dry, damp = equilibrium_moisture(21.1, 40), equilibrium_moisture(21.1, 65)
    flat_sawn = coefficients("black walnut").tangential
    assert movement(120.0, flat_sawn, dry, damp) == pytest.approx(1.400, abs=0.02)


def test_black_cherry_panel_grows() -> None:
    """S: eq. 13-2 with Table 13-5; result D."""
    flat_sawn = coefficients("black cherry").tangential
    assert movement(190.0, flat_sawn, 8.0, 12.0) == pytest.approx(1.885, abs=5e-4)


def test_flat_and_quarter_sawn_boards_of_one_joint_part_company() -> None:
    """D."""
    walnut = coefficients("black walnut")
    flat, quarter = (movement(100.0, c, 8.0, 12.0) for c in (walnut.tangential, walnut.radial))
    assert flat - quarter == pytest.approx(0.336, abs=5e-4)


def test_fibreboard_moves_by_its_makers_figures() -> None:
    """S: industry data sheet, 0.05 % in plane and 0.35 % in thickness per 1 % of moisture."""
    assert movement(600.0, 0.0005, 7.0, 12.0) == pytest.approx(1.50, abs=1e-9)
    assert movement(15.0, 0.0035, 7.0, 12.0) == pytest.approx(0.26, abs=0.005)


@pytest.mark.parametrize(
    ("species", "radial_shrinkage", "tangential_shrinkage"),
    [
        # Shrinkage from Table 4-3: walnut and beech tangential, sugar maple tangential S; the rest M
        ("black walnut", 5.5, 7.8),
        ("American beech", 5.5, 11.9),
        ("sugar maple", 4.8, 9.9),
        ("black cherry", 3.7, 7.1),
        ("white ash", 4.9, 7.8),
        ("yellow birch", 7.3, 9.5),
    ],
)
def test_table_of_coefficients_is_equation_13_3_at_ten_percent(
    species: str, radial_shrinkage: float, tangential_shrinkage: float
) -> None:
    """S: Table 13-5; that it equals eq. 13-3 from 10 % moisture is D."""
    table = coefficients(species)
    assert coefficient_from_shrinkage(radial_shrinkage) == pytest.approx(table.radial, abs=5.1e-6)
    assert coefficient_from_shrinkage(tangential_shrinkage) == pytest.approx(table.tangential, abs=5.1e-6)

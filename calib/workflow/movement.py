"""How far the boards of a joint move when the air changes (Wood Handbook, eq. 13-2 and 13-3)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from calib.errors import CalibError
from calib.wood import (
    FIBRE_SATURATION,
    LINEAR_RANGE,
    coefficients,
    equilibrium_moisture,
    movement,
    movement_from_shrinkage,
)
from calib.workflow import stocks
from calib.workflow.shopfloor import Shop
from calib.workflow.stocks import StockRecord

Sawn = Literal["flat", "quarter"]


@dataclass(frozen=True)
class Board:
    """One board and how far it moves.

    Parameters
    ----------
    sawn : {"flat", "quarter"}
    size_mm, change_mm : float, mm
        Across the grain, now; positive = it grows.
    coefficient : float or None
        Per 1 % of moisture; None where its shrinkage was used.
    rests_on : str
        Where the number comes from.
    """

    stock: str
    sawn: Sawn
    size_mm: float
    from_percent: float
    to_percent: float
    change_mm: float
    coefficient: float | None
    rests_on: str


@dataclass(frozen=True)
class Moves:
    """The boards of a joint, and how far they part (None for a single board), mm."""

    boards: tuple[Board, ...]
    difference_mm: float | None


def move(
    shop: Shop,
    stock: str,
    size_mm: float,
    *,
    to_percent: float | None = None,
    room: tuple[float, float] | None = None,
    sawn: Sawn = "flat",
    shrinkage_percent: float | None = None,
    beside: str | None = None,
    beside_sawn: Sawn = "flat",
) -> Moves:
    """Return how far a board of a stock moves, and the board it is joined to.

    Parameters
    ----------
    size_mm : float, mm
        Across the grain, of both boards, at the moisture that the stock has now.
    to_percent : float, optional
        Moisture that they come to; else give the room.
    room : (temperature in degrees C, relative humidity in per cent), optional
    shrinkage_percent : float, optional
        From green to oven-dry, of the first board: eq. 13-3 instead of a coefficient.
    beside : str, optional
        Stock of the other board; it may be the same.

    Raises
    ------
    CalibError
        When a moisture or a coefficient is not known, or eq. 13-2 does not hold there.
    """
    end = _end(to_percent, room)
    boards = [_board(stocks.get(shop, stock), size_mm, end, sawn, shrinkage_percent)]
    if beside is not None:
        boards.append(_board(stocks.get(shop, beside), size_mm, end, beside_sawn, None))
    apart = boards[0].change_mm - boards[1].change_mm if len(boards) > 1 else None
    return Moves(tuple(boards), apart)


def _end(to_percent: float | None, room: tuple[float, float] | None) -> float:
    if (to_percent is None) == (room is None):
        raise CalibError(
            "stock movement: say what it comes to, once: --to 12, or --temperature 21 with --humidity 65."
        )
    if room is not None:
        return equilibrium_moisture(*room)
    assert to_percent is not None
    return to_percent


def _board(record: StockRecord, size_mm: float, end: float, sawn: Sawn, shrinkage: float | None) -> Board:
    start = record.moisture_percent
    if start is None:
        raise CalibError(
            f"stock {record.name}: its moisture is not known. Say it first: "
            f"calib stock change {record.name} --moisture 8 (or --temperature 21 --humidity 45)."
        )
    if shrinkage is not None:
        change = movement_from_shrinkage(size_mm, shrinkage, start, end)
        return Board(record.name, sawn, size_mm, start, end, change, None, "its shrinkage, eq. 13-3")
    coefficient, rests_on = coefficient_of(record, sawn)
    low, high = LINEAR_RANGE
    if not (low <= start <= high and low <= end <= high):
        raise CalibError(
            f"stock {record.name}: from {start:.1f} to {end:.1f} % is outside {low:g} to {high:g} %, where "
            f"a coefficient holds. Give --shrinkage (green to oven-dry, %), good to {FIBRE_SATURATION:g} %."
        )
    change = movement(size_mm, coefficient, start, end)
    return Board(record.name, sawn, size_mm, start, end, change, coefficient, f"{rests_on}, eq. 13-2")


def coefficient_of(record: StockRecord, sawn: Sawn) -> tuple[float, str]:
    """Return the movement per 1 % of moisture across a face, and where it comes from.

    Raises
    ------
    CalibError
        When the maker gave none and the table has no such species.
    """
    own = record.tangential if sawn == "flat" else record.radial
    if own is not None:
        return own, "your own coefficient"
    if record.species is None:
        raise CalibError(
            f"stock {record.name}: neither a species nor a coefficient is known. Say one: "
            f'calib stock change {record.name} --species "cherry, black" (or --{sawn} 0.0025).'
        )
    try:
        found = coefficients(record.species)
    except CalibError as error:
        raise CalibError(
            f"stock {record.name}: {error} Imported woods are not in the table: measure one and give it with "
            f"calib stock change {record.name} --{sawn} 0.0025"
        ) from None
    return (found.tangential if sawn == "flat" else found.radial), "Table 13-5"

"""Stocks: moisture from the room, movement of the boards of a joint, thickness in the prediction."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from shopkit import CORNERS, cut

from calib.errors import CalibError
from calib.logfile import load_log, write_log
from calib.regression import posterior
from calib.regression.infer import standing
from calib.regression.mixture import Mixture
from calib.regression.prospect import prospect
from calib.shop import Cut, Knowledge, Setup
from calib.workflow import history, mountings, setups, stocks
from calib.workflow.movement import move
from calib.workflow.next import next_step
from calib.workflow.shopfloor import Shop

DRY, DAMP = (21.1, 40.0), (21.1, 65.0)
FINE = Knowledge(blunder_probability=0.0)


def test_moisture_is_reckoned_from_the_room_and_the_room_is_kept(shop: Shop) -> None:
    """S: Wood Handbook eq. 4-5 and Table 4-2 (7.7 and 12.0 %)."""
    record = stocks.add(shop, "walnut", "black walnut", room=DRY)
    assert record.moisture_percent == pytest.approx(7.70, abs=0.0051)
    assert stocks.change(shop, "walnut", room=DAMP).moisture_percent == pytest.approx(11.96, abs=0.0051)
    assert stocks.get(shop, "walnut").humidity_percent == 65.0
    kept = shop.connection.execute("SELECT humidity_percent FROM stock_details ORDER BY stock_id").fetchall()
    assert [row[0] for row in kept] == [40.0, 65.0]


def test_a_typed_moisture_sets_the_room_aside_and_a_note_does_not(shop: Shop) -> None:
    stocks.add(shop, "walnut", room=DRY, tangential=0.003)
    assert stocks.change(shop, "walnut", note="rack 2").temperature_c == 21.1
    record = stocks.change(shop, "walnut", moisture_percent=9.0)
    assert (record.temperature_c, record.moisture_percent, record.tangential) == (None, 9.0, 0.003)
    assert stocks.get(shop, "walnut") == record


def test_a_flat_sawn_board_grows_from_a_dry_to_a_damp_room(shop: Shop) -> None:
    """S: eq. 4-5, eq. 13-2, Table 13-5; result D: 120 mm of black walnut, 1.400 mm."""
    stocks.add(shop, "walnut", "Walnut, black", room=DRY)
    found = move(shop, "walnut", 120.0, room=DAMP)
    assert found.boards[0].change_mm == pytest.approx(1.400, abs=0.02)
    assert (found.difference_mm, found.boards[0].rests_on) == (None, "Table 13-5, eq. 13-2")


def test_the_two_boards_of_a_joint_part_by_how_they_are_sawn(shop: Shop) -> None:
    """D: walnut 100 wide, one flat-, one quarter-sawn, 4 % more moisture: 0.336 mm."""
    stocks.add(shop, "walnut", "black walnut", moisture_percent=8.0)
    found = move(shop, "walnut", 100.0, to_percent=12.0, beside="walnut", beside_sawn="quarter")
    assert found.difference_mm == pytest.approx(0.336, abs=0.002)


def test_both_equations_give_sugar_maples_movement(shop: Shop) -> None:
    """S: eq. 13-2 1.412; eq. 13-3 (M) with shrinkage 9.9 %: 1.423."""
    stocks.add(shop, "maple", "sugar maple", moisture_percent=8.0)
    assert move(shop, "maple", 100.0, to_percent=12.0).boards[0].change_mm == pytest.approx(1.412, abs=0.002)
    by_shrinkage = move(shop, "maple", 100.0, to_percent=12.0, shrinkage_percent=9.9).boards[0]
    assert by_shrinkage.change_mm == pytest.approx(1.423, abs=0.002)


def test_a_makers_own_coefficient_comes_before_the_table(shop: Shop) -> None:
    """S: industry data sheet for MDF, 0.05 % in plane and 0.35 % in thickness per 1 %: 1.50 and 0.26 mm."""
    stocks.add(shop, "board", "MDF", moisture_percent=7.0, tangential=0.0005, radial=0.0035)
    assert move(shop, "board", 600.0, to_percent=12.0).boards[0].change_mm == pytest.approx(1.50, abs=0.005)
    thick = move(shop, "board", 15.0, to_percent=12.0, sawn="quarter").boards[0]
    assert thick.change_mm == pytest.approx(0.26, abs=0.005)


@pytest.mark.parametrize(
    ("moisture", "to", "message"),
    [
        (8.0, 4.0, "outside 6 to 14"),
        (5.0, 10.0, "outside 6 to 14"),
        (8.0, 15.0, "--shrinkage"),
        (None, 10.0, "its moisture is not known"),
        (8.0, None, "--to 12"),
    ],
)
def test_what_cannot_be_reckoned_is_refused_with_what_to_do(
    shop: Shop, moisture: float | None, to: float | None, message: str
) -> None:
    stocks.add(shop, "cherry", "black cherry", moisture_percent=moisture)
    with pytest.raises(CalibError, match=message):
        move(shop, "cherry", 100.0, to_percent=to)


def test_a_species_outside_the_table_asks_for_a_coefficient(shop: Shop) -> None:
    stocks.add(shop, "dark", "ebony of unknown origin", moisture_percent=8.0)
    with pytest.raises(CalibError, match=r"stock change dark --flat 0\.0025"):
        move(shop, "dark", 100.0, to_percent=10.0)
    with pytest.raises(CalibError, match="flat 25 will not"):
        stocks.change(shop, "dark", tangential=25.0)


def fingers(**more: Any) -> Setup:
    """The corners with two stocks of other thickness, nothing taken as a slip."""
    return replace(CORNERS, knowledge=FINE, thicknesses_mm={"thick": 8.3, "thin": 7.9}, **more)


def cuts(stock: str | None = None) -> list[Cut]:
    at = {"key": 6.14, "height": 8.1}
    return [
        Cut(n, "test", at, {"clearance": (0.07,), "proud": (proud,)}, stock=stock)
        for n, proud in enumerate([0.1, 0.11, 0.09], 1)
    ]


def ahead(setup: Setup, log: list[Cut], reading: str = "proud") -> Mixture:
    """The size of the next good piece where the machine stands."""
    found, f = posterior(setup, log).block_of(reading)
    future = prospect(found)
    mean, covariance = future.after(np.zeros((1, 1)), np.zeros((1, 1), dtype=bool))
    return Mixture(future.weights, mean[:, 0, f], np.sqrt(covariance[:, 0, f, f]))


def test_thicker_stock_stands_less_proud_in_the_prediction() -> None:
    """The same machine, cut in stock of 8.0 mm: a stock 0.3 mm thicker reads 0.3 mm less, to the digit."""
    as_cut, other = ahead(fingers(), cuts()), ahead(fingers(stock="thick"), cuts())
    assert other.expected == pytest.approx(as_cut.expected - 0.3, abs=1e-9)
    assert other.u == pytest.approx(as_cut.u, rel=1e-9)
    fit = ahead(fingers(stock="thick"), cuts(), "clearance")
    assert fit.expected == pytest.approx(ahead(fingers(), cuts(), "clearance").expected)


def test_the_thickness_of_the_stock_that_was_cut_counts_too() -> None:
    """Cut in stock 0.1 mm thinner, and then the thick one: 0.4 mm less."""
    thin, thick = ahead(fingers(stock="thin"), cuts("thin")), ahead(fingers(stock="thick"), cuts("thin"))
    assert thick.expected == pytest.approx(thin.expected - 0.4, abs=1e-9)
    assert thin.expected == pytest.approx(0.1, abs=0.02)


def test_a_height_starts_at_the_thickness_of_the_good_stock() -> None:
    assert standing(fingers(stock="thick")).settings_mm["height"] == 8.3
    assert standing(fingers()).settings_mm["height"] == 8.0


def test_a_new_stock_widens_the_prediction_until_it_has_been_cut() -> None:
    """By twice the variance of one stock, as long as nothing was cut in it (D); one cut narrows it again."""
    known = replace(FINE, stock_sd_mm=0.05, scales_known=True, offset_sd_mm=10.0)
    setup = replace(CORNERS, knowledge=known)
    old = ahead(replace(setup, stock="poplar"), cuts("poplar"))
    new = ahead(replace(setup, stock="cherry"), cuts("poplar"))
    assert new.u**2 - old.u**2 == pytest.approx(2.0 * 0.05**2, rel=1e-3)
    first = Cut(4, "test", {"key": 6.14, "height": 8.1}, {"proud": (0.12,)}, stock="cherry")
    cut_once = ahead(replace(setup, stock="cherry"), [*cuts("poplar"), first])
    assert cut_once.u < 0.5 * new.u


def test_the_shops_stocks_reach_the_advice(shop: Shop) -> None:
    """A mounting names the stock; its thickness changes what the height should read."""
    setups.add(shop, replace(CORNERS, knowledge=FINE))
    stocks.add(shop, "cherry", thickness_mm=8.0)
    mountings.mount(shop, "chest-corners", stock="cherry")
    cut(shop, key=6.0, height=8.1, clearance=0.07, proud=0.1)
    before = next_step(shop, "chest-corners", store=False).as_dict()["readings"][1]
    stocks.change(shop, "cherry", thickness_mm=8.2)
    setup, _ = history.log_of(shop, "chest-corners")
    assert (setup.stock, setup.thicknesses_mm) == ("cherry", {"cherry": 8.2})
    after = next_step(shop, "chest-corners", store=False).as_dict()["readings"][1]
    # that cut and the next are in the same stock: only what geometry expected at first has changed
    assert after["expected_mm"] == pytest.approx(before["expected_mm"], abs=0.02)
    assert after["expected_mm"] < before["expected_mm"]


def test_a_log_keeps_the_thickness_of_its_stocks(tmp_path: Path) -> None:
    setup = fingers()
    write_log(setup, cuts("thin"), tmp_path / "log.toml")
    assert load_log(tmp_path / "log.toml") == (setup, cuts("thin"))
    assert "[stocks.thick]" in (tmp_path / "log.toml").read_text()


def test_a_stock_without_a_thickness_in_a_log_is_named(tmp_path: Path) -> None:
    write_log(fingers(), cuts("thin"), tmp_path / "log.toml")
    text = (tmp_path / "log.toml").read_text().replace("thickness = 8.3", "thickness = 0", 1)
    (tmp_path / "log.toml").write_text(text)
    with pytest.raises(CalibError, match="thickness is 0"):
        load_log(tmp_path / "log.toml")

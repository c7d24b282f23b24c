"""The calibration line against certified and printed values.

Sources: NIST Statistical Reference Datasets (StRD), linear regression; Graybill and Iyer 1996,
Regression Analysis, ch. 6; ISO/TS 28037:2010, example 1 (6.3). Labels: S = read, D = derived here.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from calib.regression.line import fit_line

THERMOSTAT_X = [96.0, 98.0, 100.0, 102.0, 104.0, 106.0, 108.0, 110.0]
THERMOSTAT_Y = [95.71, 98.16, 99.52, 102.09, 103.79, 106.18, 108.14, 110.21]
ISO_X = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
ISO_Y = [3.3, 5.6, 7.1, 9.3, 10.7, 12.1]


def norris() -> np.ndarray:
    """NIST's own file, which ships in the scipy wheel; lines 61 to 96 hold y and x."""
    scipy = pytest.importorskip("scipy")
    file = Path(scipy.__file__).parent / "stats/tests/data/nist_linregress/Norris.dat"
    if not file.exists():
        pytest.skip("this build of scipy ships no NIST data")
    return np.array([[float(part) for part in line.split()] for line in file.read_text().splitlines()[60:96]])


def test_norris_certified_values_are_met() -> None:
    """S: NIST StRD Norris."""
    data = norris()
    assert data.shape == (36, 2)
    line = fit_line(data[:, 1], data[:, 0])
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.standard_uncertainties == pytest.approx((0.232818234301152, 0.429796848199937e-3), rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)
    assert line.df_resid == 34


@pytest.mark.parametrize(
    ("x", "y", "slope", "u_slope", "residual_sd"),
    [
        # S: NIST StRD NoInt1 and NoInt2
        (
            np.arange(60.0, 71.0),
            np.arange(130.0, 141.0),
            2.07438016528926,
            0.0165289256198347,
            3.56753034006338,
        ),
        ([4.0, 5.0, 6.0], [3.0, 4.0, 4.0], 0.727272727272727, 0.0420827318078432, 0.369274472937998),
    ],
)
def test_a_line_through_zero_meets_the_certified_values(
    x: list[float], y: list[float], slope: float, u_slope: float, residual_sd: float
) -> None:
    line = fit_line(x, y, intercept=False)
    assert line.slope == pytest.approx(slope, rel=1e-13)
    assert line.standard_uncertainties == (0.0, pytest.approx(u_slope, rel=1e-12))
    assert line.residual_sd == pytest.approx(residual_sd, rel=1e-12)
    assert (line.intercept, line.df_resid) == (0.0, len(x) - 1)


def test_thermostat_setting_for_a_reading_at_95_percent() -> None:
    """S to the printed digits (103.995; 103.4 to 104.6); D for the rest."""
    line = fit_line(THERMOSTAT_X, THERMOSTAT_Y)
    assert line.intercept == pytest.approx(-3.1395238095, abs=1e-10)
    assert line.slope == pytest.approx(1.0302380952, abs=1e-10)
    assert line.residual_sd == pytest.approx(0.2344463251, abs=1e-10)
    setting = line.setting_for(104.0, confidence=0.95, of="reading")
    assert setting.established
    assert (setting.estimate, setting.low, setting.high) == pytest.approx(
        (103.9949156459, 103.4040511424, 104.5894593847), abs=1e-9
    )


def test_thermostat_setting_for_a_reading_at_90_percent() -> None:
    """S: 100.1 (99.63, 100.59)."""
    setting = fit_line(THERMOSTAT_X, THERMOSTAT_Y).setting_for(100.0, confidence=0.90, of="reading")
    assert setting.estimate == pytest.approx(100.1, abs=0.05)
    assert (setting.low, setting.high) == pytest.approx((99.63, 100.59), abs=0.005)


def test_iso_28037_example_gives_line_covariance_and_chi_squared() -> None:
    """S: to the printed digits."""
    line = fit_line(ISO_X, ISO_Y, u=0.5)
    assert (line.intercept, line.slope) == pytest.approx((1.867, 1.757), abs=5e-4)
    assert line.standard_uncertainties == pytest.approx((0.465, 0.120), abs=5e-4)
    assert line.covariance[0, 1] == pytest.approx(-0.050, abs=5e-4)
    assert line.sum_of_squares == pytest.approx(1.665, abs=5e-4)
    assert (line.df_resid, line.scale) == (4, 1.0)


def test_iso_28037_example_reads_backwards_and_forwards() -> None:
    """S: x for y = 10.5, and y for x = 3.5, with their uncertainties."""
    line = fit_line(ISO_X, ISO_Y, u=[0.5] * 6)
    backwards = line.setting_uncertainty(10.5, u_y0=0.5)
    assert backwards.estimate == pytest.approx(4.91327913279133, rel=1e-13)
    assert backwards.standard_uncertainty == pytest.approx(0.32203556012891, rel=1e-12)
    forwards = line.predict(3.5, u_x=0.2)
    assert forwards.mean == pytest.approx(8.01666666666667, rel=1e-13)
    assert forwards.standard_uncertainty == pytest.approx(0.406409531732455, rel=1e-12)

"""How wide a tolerance of a standard grade is: a yardstick for what a band asks of a machine."""

from __future__ import annotations

import math

from calib.errors import CalibError

#: Tolerance units per grade (ISO 286-1).
UNITS_OF_GRADE = {6: 10, 7: 16, 8: 25, 9: 40, 10: 64, 11: 100}


def grade_tolerance(low_mm: float, high_mm: float, grade: int) -> float:
    """Return the width of tolerance grade IT6 to IT11 for one step of sizes, by formula.

    i = 0.45 D^(1/3) + 0.001 D micrometres, D (mm) the geometric mean of the step's ends (ISO 286-1).
    The standard's table rounds this to its own steps.

    Parameters
    ----------
    low_mm, high_mm : float, mm
        Ends of the size step, such as 18 and 30.
    grade : int
        6 to 11.

    Returns
    -------
    float, mm

    Raises
    ------
    CalibError
        When the grade is not 6 to 11 or the step is not two rising sizes up to 500 mm.

    >>> round(grade_tolerance(18, 30, 7), 4)
    0.0209
    """
    if grade not in UNITS_OF_GRADE:
        raise CalibError(f"tolerance grade {grade} is not known. Known: 6 to 11.")
    if not 0.0 < low_mm < high_mm <= 500.0:
        raise CalibError(f"size step {low_mm:g} to {high_mm:g} mm must be two rising sizes, at most 500 mm.")
    mean_size = math.sqrt(low_mm * high_mm)
    unit_um = 0.45 * mean_size ** (1.0 / 3.0) + 0.001 * mean_size
    return UNITS_OF_GRADE[grade] * unit_um / 1000.0

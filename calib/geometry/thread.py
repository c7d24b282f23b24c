"""Screws: how far an adjuster travels in a turn.

Coarse metric pitches after ISO 261; an inch thread travels
25.4 mm divided by its threads per inch. Any other metric thread is written with its pitch: ``M6x0.75``.
"""

from __future__ import annotations

import re

from calib.errors import CalibError
from calib.units import MM_PER_INCH

_COARSE_MM = {"M4": 0.70, "M5": 0.80, "M6": 1.00, "M8": 1.25, "M10": 1.50}
_METRIC = re.compile(r"(M[0-9]+(?:\.[0-9]+)?)(?:[X×]([0-9]*[.,]?[0-9]+))?")
_INCH = re.compile(r"(?:#[0-9]+|[0-9]+(?:/[0-9]+)?)-([0-9]+)")


def pitch_mm(thread: str) -> float:
    """Return the travel of one turn, mm.

    Parameters
    ----------
    thread : str
        ``M6``, ``M6x0.75``, ``1/4-20``, ``#10-32``.

    Raises
    ------
    CalibError
        For a thread that is not known.

    Examples
    --------
    >>> pitch_mm("M6"), pitch_mm("1/4-20"), pitch_mm("M6x0.75")
    (1.0, 1.27, 0.75)
    """
    typed = re.sub(r"\s+", "", thread).upper()
    metric, inch = _METRIC.fullmatch(typed), _INCH.fullmatch(typed)
    travel = 0.0
    if metric is not None:
        own = metric[2]
        travel = float(own.replace(",", ".")) if own else _COARSE_MM.get(metric[1], 0.0)
    elif inch is not None and int(inch[1]) > 0:
        travel = MM_PER_INCH / int(inch[1])
    if travel <= 0.0:
        known = ", ".join(_COARSE_MM)
        raise CalibError(f'thread "{thread}" is not known. Write {known}, M6x0.75 or 1/4-20.')
    return travel


def turns(move_mm: float, thread: str) -> float:
    """Return the turns of a screw for a move, signed as the move is.

    >>> round(turns(0.16, "1/4-20"), 3)
    0.126
    """
    return move_mm / pitch_mm(thread)

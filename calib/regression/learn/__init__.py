"""What the shop taught: the evidence of every mounting, added up on one frozen grid.

Public: `Carried`, `carry`, `through`, `units_of`, `learned`, `Learned`, `GRID_VERSION`.
"""

from __future__ import annotations

from calib.regression.learn.carry import carry, through, units_of
from calib.regression.learn.grid import GRID_VERSION
from calib.regression.learn.state import Carried
from calib.regression.learn.summary import Learned, learned

__all__ = ["GRID_VERSION", "Carried", "Learned", "carry", "learned", "through", "units_of"]

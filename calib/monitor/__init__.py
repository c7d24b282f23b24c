"""Has the setup moved, is it capable, and how long will it hold?

Light to import: scipy is loaded only inside `tolerance_factor`.
"""

from calib.monitor.charts import Cusum, cusum, ewma, ewma_limits
from calib.monitor.holds import Holds, holds_for
from calib.monitor.spread import Capability, capability, tolerance_factor

__all__ = [
    "Capability",
    "Cusum",
    "Holds",
    "capability",
    "cusum",
    "ewma",
    "ewma_limits",
    "holds_for",
    "tolerance_factor",
]

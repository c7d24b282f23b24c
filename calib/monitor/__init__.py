"""Is it capable, how long will it hold, are its chances true, and charts that see a small change?

Whether a setup has moved is weighed with the posterior: `calib.regression.shift`.

Light to import: scipy is loaded only inside `tolerance_factor`.
"""

from calib.monitor.charts import Cusum, cusum, ewma, ewma_limits
from calib.monitor.holds import Holds, holds_for
from calib.monitor.honesty import Honesty, honesty
from calib.monitor.spread import Capability, capability, tolerance_factor

__all__ = [
    "Capability",
    "Cusum",
    "Holds",
    "Honesty",
    "capability",
    "cusum",
    "ewma",
    "ewma_limits",
    "holds_for",
    "honesty",
    "tolerance_factor",
]

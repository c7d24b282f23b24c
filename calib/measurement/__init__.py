"""What a measurement is worth: uncertainty, gauge studies and the chance of lying in a band.

Nothing is loaded before it is asked for: the modules that a cut needs (`derived`, `kinds`, `worth`) do
without numpy.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from calib.measurement.band import probability_in_band
    from calib.measurement.gauge import AnovaLine, GaugeStudy, gauge_study
    from calib.measurement.grade import grade_tolerance
    from calib.measurement.student import f_upper_tail, t_cdf, t_quantile
    from calib.measurement.uncertainty import Combined, TypeA, combine, display_step, type_a, type_b

_HOME = {
    "probability_in_band": "band",
    **dict.fromkeys(("AnovaLine", "GaugeStudy", "gauge_study"), "gauge"),
    "grade_tolerance": "grade",
    **dict.fromkeys(("f_upper_tail", "t_cdf", "t_quantile"), "student"),
    **dict.fromkeys(("Combined", "TypeA", "combine", "display_step", "type_a", "type_b"), "uncertainty"),
}

__all__ = [
    "AnovaLine",
    "Combined",
    "GaugeStudy",
    "TypeA",
    "combine",
    "display_step",
    "f_upper_tail",
    "gauge_study",
    "grade_tolerance",
    "probability_in_band",
    "t_cdf",
    "t_quantile",
    "type_a",
    "type_b",
]


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(f"calib.measurement.{_HOME[name]}"), name)
    raise AttributeError(f"module 'calib.measurement' has no attribute {name!r}")

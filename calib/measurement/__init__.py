"""What a measurement is worth: uncertainty, gauge studies and the chance of lying in a band.

Light to import: numpy only.
"""

from calib.measurement.band import probability_in_band
from calib.measurement.gauge import AnovaLine, GaugeStudy, gauge_study
from calib.measurement.grade import grade_tolerance
from calib.measurement.student import f_upper_tail, t_cdf, t_quantile
from calib.measurement.uncertainty import Combined, TypeA, combine, display_step, type_a, type_b

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

"""The frozen, numbered steps that bring a database from any earlier schema to this one.

`STEPS` names them in order, so that an open can see what is applied without loading anything;
`calib.migrations.steps` holds them for sqlite-utils. A step is never edited once it has been
released: a change is a new step. Each runs in one transaction with the record that it ran.
"""

from __future__ import annotations

#: The set's name in the database's own record of applied steps.
SET = "calib"

#: Names of the steps, oldest first; the number is part of the name and is never used twice.
STEPS: tuple[str, ...] = (
    "m0001_the_log",
    "m0002_advice",
    "m0003_boxes",
    "m0004_gauge_studies",
    "m0005_hands",
    "m0006_scores_and_stocks",
    "m0007_abrasiveness",
    "m0008_learned",
)

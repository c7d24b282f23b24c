"""What a gauge is good for, and what its repeat study found, as text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from calib.present.figures import count, fine_length
from calib.present.layout import paragraph, section, table_or_records

#: What is told of a study, in this order, and how it is called.
_TOLD = (
    ("repeatability", "repeatability"),
    ("reproducibility", "between people"),
    ("gauge", "both together"),
    ("part", "between parts"),
)


def error_lines(errors: Sequence[Any], width: int, units: str) -> list[str]:
    """Return what one reading with a gauge is worth, a line a use."""
    lines = []
    for error in errors:
        u = math.hypot(error.repeat_sd_mm, *error.shared_mm.values())
        source = "from its study" if error.studied else "as its kind; calib gauge study tells better"
        shared = [
            f"{'zero' if name.endswith(', zero') else 'limit of error'} {fine_length(sd, units)}"
            for name, sd in error.shared_mm.items()
        ]
        lines.append(
            f"{error.held}: standard uncertainty {fine_length(u, units)} = "
            f"repeat {fine_length(error.repeat_sd_mm, units)} ({source}) and, in every reading alike, "
            f"{' and '.join(shared)}"
        )
    return section("What one reading is worth", lines, width)


def study_lines(done: Any, width: int, units: str) -> list[str]:
    """Return a study: the answer first, then how it was found."""
    study = done.study
    first = (
        f"{done.gauge}, held {done.held}: one reading by one hand repeats within "
        f"{fine_length(study.hand, units)} (sd, {count(study.hand_dof, 'degree')} of freedom)."
    )
    lines = [*paragraph(first, width), *paragraph(_use_made(done, units), width), ""]
    lines += _spreads(study, width, units)
    size = [
        count(done.parts, "part"),
        "1 person" if done.people == 1 else f"{done.people} people",
        f"{count(done.trials, 'trial')} each",
    ]
    lines += ["", *paragraph(f"Taken from {', '.join(size)}.", width), *_anova(study, width, units)]
    return lines + section("Mind", study.notes, width, "!")


def _use_made(done: Any, units: str) -> str:
    """Say what becomes of it."""
    now, before = fine_length(done.now_mm, units), fine_length(done.before_mm, units)
    if not done.used:
        return f"Too few readings to speak for the gauge: {before} stays. Repeat more parts, or more often."
    was = f"it was {before} before; few readings are taken with a margin"
    if not done.kept:
        return f"Only looked at: kept, it would count as {now} in each reading ({was})."
    return f"From now on each reading with it counts with {now} ({was}). Not so? calib undo"


def _spreads(study: Any, width: int, units: str) -> list[str]:
    """Return each spread with its interval."""
    percent = round(100 * study.confidence)
    rows = []
    for name, word in _TOLD:
        value = getattr(study, name)
        if value is None or name not in study.intervals:
            rows.append([word, "cannot be told", ""])
            continue
        low, high = study.intervals[name]
        rows.append(
            [word, fine_length(value, units), f"{fine_length(low, units)} to {fine_length(high, units)}"]
        )
    return table_or_records(["spread", "sd", f"interval, {percent} %"], rows, width)


def _anova(study: Any, width: int, units: str) -> list[str]:
    """Return the analysis of variance, each F with what it was compared with."""
    scale = 25.4**2 if units == "in" else 1.0
    rows = [
        [
            line.source,
            str(line.dof),
            f"{line.sum_of_squares / scale:.3g}",
            f"{line.mean_square / scale:.3g}",
            "" if line.f is None else f"{line.f:.2f}",
            "" if line.p is None else ("<0.001" if line.p < 0.001 else f"{line.p:.3f}"),
        ]
        for line in study.anova
    ]
    head = ["source", "dof", "sum of sq", "mean sq", "F", "p"]
    compared = [f"F of {line.source} is against {line.against}." for line in study.anova if line.against]
    lines = table_or_records(head, rows, width, right=[1, 2, 3, 4, 5])
    return ["", f"Analysis of variance, {units}^2", *lines, *paragraph(" ".join(compared), width)]

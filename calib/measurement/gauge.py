"""A gauge study: how much of the spread is the gauge, the hand and the part.

Every operator measures every part the same number of times (a crossed, balanced study); parts and
operators are both taken as drawn from many. The sums of squares are split (analysis of variance, AIAG
Measurement Systems Analysis manual, named from memory) and the mean squares solved for variances.

Symbols
-------
p, o, r : number of parts, operators, repeats; P, O, I, E : mean squares of part, operator, interaction, rest.
values : ndarray of shape (p, o, r), mm.

Not handled: unbalanced or nested studies (refused), destructive measuring.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from calib.errors import CalibError
from calib.measurement.components import Share, effective_dof, sd_interval
from calib.measurement.student import f_upper_tail
from calib.normal import Array

#: The interaction stays in the model only when it would arise by chance less often than this (AIAG).
POOLING_LEVEL = 0.25


@dataclass(frozen=True)
class AnovaLine:
    """One line of the table.

    Parameters
    ----------
    source : str
        "part", "operator", "interaction" or "repeat"; "repeat + interaction" when pooled.
    dof : int
    sum_of_squares, mean_square : float, mm^2
    f : float or None
        Ratio to the mean square named by `against`; None on the last line and when that is 0.
    p : float or None
        Probability of a larger ratio by chance.
    against : str or None
        The line whose mean square is the denominator.
    """

    source: str
    dof: int
    sum_of_squares: float
    f: float | None = None
    p: float | None = None
    against: str | None = None

    @property
    def mean_square(self) -> float:
        """Sum of squares per degree of freedom."""
        return self.sum_of_squares / self.dof


@dataclass(frozen=True)
class GaugeStudy:
    """Standard deviations of one measurement, by cause, mm.

    Parameters
    ----------
    repeatability : float
        Same part, same hand.
    reproducibility : float or None
        Between hands: operator and interaction together. None with one operator.
    part : float or None
        Between parts. None with one part.
    operator, interaction : float or None
        The two parts of reproducibility; interaction is None where it was pooled or cannot be told.
    gauge : float
        Repeatability and reproducibility together.
    dof : int
        Degrees of freedom of the repeatability.
    pooled : bool
        True when the interaction was put into the repeatability.
    anova : tuple of AnovaLine
    notes : tuple of str
        What was pooled, set to 0 or cannot be separated.
    intervals : mapping of "repeatability", "operator" ... "gauge" to (low, high)
        Limits of each sd that could be told, see `components`.
    confidence : float
        Of both sides of an interval together.
    hand, hand_dof : float, int
        sd of one measurement by one hand (repeatability and interaction), and its degrees of freedom.
    """

    repeatability: float
    reproducibility: float | None
    part: float | None
    operator: float | None
    interaction: float | None
    dof: int
    pooled: bool
    anova: tuple[AnovaLine, ...]
    notes: tuple[str, ...]
    intervals: Mapping[str, tuple[float, float]] = field(default_factory=lambda: MappingProxyType({}))
    confidence: float = 0.90
    hand: float = 0.0
    hand_dof: int = 1

    @property
    def gauge(self) -> float:
        """Spread of one measurement by any hand."""
        return math.hypot(self.repeatability, self.reproducibility or 0.0)


def gauge_study(rows: Iterable[tuple[Any, Any, float]], confidence: float = 0.90) -> GaugeStudy:
    """Split the spread of repeated measurements into repeatability, reproducibility and part.

    Variances, from the mean squares MS (interaction kept; when pooled, MS_rest takes the place of both
    MS_interaction and MS_repeat, and the interaction is 0)::

        repeat      = MS_repeat
        interaction = (MS_interaction - MS_repeat) / r
        operator    = (MS_operator - MS_interaction) / (p r)
        part        = (MS_part - MS_interaction) / (o r)

    The main effects are tested against the interaction, or against the pooled line; every line of the
    table says against which. A variance estimated below 0 is set to 0, and a note says so.

    Parameters
    ----------
    rows : iterable of (part, operator, value)
        Part and operator are names or numbers; value in mm.
    confidence : float
        Of the intervals.

    Returns
    -------
    GaugeStudy

    Raises
    ------
    CalibError
        When cells are missing or unequal, a value is not finite, or nothing was repeated.

    >>> study = gauge_study([("a", "me", 6.00), ("a", "me", 6.02), ("b", "me", 6.10), ("b", "me", 6.12)])
    >>> round(study.repeatability, 5), round(study.part, 5), study.reproducibility
    (0.01414, 0.07, None)
    """
    values = _as_table(rows)
    parts, operators, repeats = values.shape
    lines = _sums_of_squares(values)
    notes: list[str] = []
    if parts == 1:
        notes.append("one part: the spread between parts cannot be told")
    if operators == 1:
        notes.append(
            "one operator: reproducibility cannot be told from the setting of the gauge; what this hand "
            "always does alike (pressure, place, zero) is in every value and cannot be separated"
        )
    lines, pooled = _pool(lines, repeats, notes)
    table = _with_ratios(lines)
    mean_square = {line.source: line.mean_square for line in table}
    repeat = table[-1]
    against = mean_square.get("interaction", repeat.mean_square)
    interaction = _sd("interaction", mean_square, repeat.mean_square, repeats, notes)
    operator = _sd("operator", mean_square, against, parts * repeats, notes)
    part = _sd("part", mean_square, against, operators * repeats, notes)
    shares = _shares(table, values.shape)
    own = [share for share in shares.get("hand", shares["repeatability"]) if share.coefficient != 0.0]
    return GaugeStudy(
        repeatability=math.sqrt(repeat.mean_square),
        reproducibility=None if operator is None else math.hypot(operator, interaction or 0.0),
        part=part,
        operator=operator,
        interaction=interaction,
        dof=repeat.dof,
        pooled=pooled,
        anova=table,
        notes=tuple(notes),
        intervals=MappingProxyType({n: sd_interval(s, confidence) for n, s in shares.items() if n != "hand"}),
        confidence=confidence,
        hand=math.hypot(math.sqrt(repeat.mean_square), interaction or 0.0),
        hand_dof=effective_dof(own) if (interaction or 0.0) > 0.0 else repeat.dof,
    )


def _shares(table: tuple[AnovaLine, ...], shape: tuple[int, ...]) -> dict[str, list[Share]]:
    """Write each variance as a sum of mean squares; a line that is not there takes the last one's place.

    part = (P - I)/(o r), operator = (O - I)/(p r), interaction = (I - E)/r, one hand = (I + (r - 1) E)/r,
    reproducibility = (O + (p - 1) I - p E)/(p r), gauge = (O + (p - 1) I + p (r - 1) E)/(p r);
    pooled: reproducibility = operator, gauge = (O + (p r - 1) E)/(p r).
    """
    p, o, r = shape
    line = {one.source: one for one in table}
    rest = table[-1]
    crossed = line.get("interaction")

    def share(coefficient: float, of: AnovaLine | None) -> Share:
        found = of or rest
        return Share(coefficient, found.mean_square, found.dof)

    found = {"repeatability": [share(1.0, rest)]}
    if "part" in line:
        found["part"] = [share(1.0 / (o * r), line["part"]), share(-1.0 / (o * r), crossed)]
    if crossed is not None:
        found["interaction"] = [share(1.0 / r, crossed), share(-1.0 / r, rest)]
        found["hand"] = [share(1.0 / r, crossed), share((r - 1.0) / r, rest)]
    if "operator" not in line:
        return {**found, "gauge": found["repeatability"]}
    n = p * r
    found["operator"] = [share(1.0 / n, line["operator"]), share(-1.0 / n, crossed)]
    if crossed is None:
        rests = [share((n - 1.0) / n, rest)]
        found["reproducibility"] = found["operator"]
    else:
        rests = [share((p - 1.0) / n, crossed), share((r - 1.0) / r, rest)]
        found["reproducibility"] = [
            share(1.0 / n, line["operator"]), share((p - 1.0) / n, crossed), share(-1.0 / r, rest)
        ]  # fmt: skip
    found["gauge"] = [share(1.0 / n, line["operator"]), *rests]
    return found


def _as_table(rows: Iterable[tuple[Any, Any, float]]) -> Array:
    cells: dict[tuple[Any, Any], list[float]] = {}
    for number, (part, operator, value) in enumerate(rows, start=1):
        if not math.isfinite(value):
            raise CalibError(f"gauge study: row {number} has value {value}. Measure that part again.")
        cells.setdefault((part, operator), []).append(float(value))
    if not cells:
        raise CalibError("gauge study: there are no rows. Measure each part at least twice.")
    parts = list(dict.fromkeys(part for part, _ in cells))
    operators = list(dict.fromkeys(operator for _, operator in cells))
    repeats = len(next(iter(cells.values())))
    for part in parts:
        for operator in operators:
            found = len(cells.get((part, operator), []))
            if found != repeats:
                raise CalibError(
                    f"gauge study: part {part} by operator {operator} has {found} values where others have "
                    f"{repeats}. Every operator must measure every part equally often."
                )
    if repeats == 1 and (len(parts) == 1 or len(operators) == 1):
        raise CalibError("gauge study: nothing was measured twice. Repeat each part at least once.")
    return np.array([[cells[part, operator] for operator in operators] for part in parts])


def _sums_of_squares(values: Array) -> list[AnovaLine]:
    """Return the lines that have degrees of freedom, repeat last."""
    parts, operators, repeats = values.shape
    centred = values - values.mean()
    centred = centred - centred.mean()  # twice: the digits that all values share must not count
    part = centred.mean(axis=(1, 2), keepdims=True)
    operator = centred.mean(axis=(0, 2), keepdims=True)
    cell = centred.mean(axis=2, keepdims=True)
    crossed = cell - part - operator
    every = [
        AnovaLine("part", parts - 1, operators * repeats * float(np.sum(part**2))),
        AnovaLine("operator", operators - 1, parts * repeats * float(np.sum(operator**2))),
        AnovaLine("interaction", (parts - 1) * (operators - 1), repeats * float(np.sum(crossed**2))),
        AnovaLine("repeat", parts * operators * (repeats - 1), float(np.sum((centred - cell) ** 2))),
    ]
    return [line for line in every if line.dof > 0]


def _pool(lines: list[AnovaLine], repeats: int, notes: list[str]) -> tuple[list[AnovaLine], bool]:
    by_source = {line.source: line for line in lines}
    crossed = by_source.get("interaction")
    if crossed is None:
        return lines, False
    rest, dof = crossed.sum_of_squares, crossed.dof
    if repeats == 1:
        notes.append("no repeats: interaction cannot be told from repeatability, they are taken as one")
    else:
        repeat = by_source["repeat"]
        _, p = _ratio(crossed, repeat)
        if p is not None and p <= POOLING_LEVEL:
            return lines, False
        said = "no spread at all" if p is None else f"p = {p:.2f}"
        notes.append(f"interaction not significant ({said}): pooled with repeatability")
        rest, dof = rest + repeat.sum_of_squares, dof + repeat.dof
    kept = [line for line in lines if line.source in ("part", "operator")]
    return [*kept, AnovaLine("repeat + interaction", dof, rest)], True


def _ratio(line: AnovaLine, against: AnovaLine) -> tuple[float | None, float | None]:
    """Return F and its p; no F over a mean square of 0 (then p is 0, or None when both are 0)."""
    if against.mean_square == 0.0:
        return None, 0.0 if line.mean_square > 0.0 else None
    f = line.mean_square / against.mean_square
    return f, f_upper_tail(f, line.dof, against.dof)


def _with_ratios(lines: list[AnovaLine]) -> tuple[AnovaLine, ...]:
    last = lines[-1]
    crossed = next((line for line in lines if line.source == "interaction"), last)
    table = []
    for line in lines[:-1]:
        against = last if line is crossed else crossed
        f, p = _ratio(line, against)
        table.append(AnovaLine(line.source, line.dof, line.sum_of_squares, f, p, against.source))
    return (*table, last)


def _sd(
    source: str, mean_square: dict[str, float], against: float, count: int, notes: list[str]
) -> float | None:
    if source not in mean_square:
        return None
    variance = (mean_square[source] - against) / count
    if variance < 0.0:
        notes.append(f"{source}: variance estimated below 0 ({variance:.3g}), set to 0")
    return math.sqrt(max(variance, 0.0))

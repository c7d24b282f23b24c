"""Turn a log into rows and columns: one list of terms per block of readings that share adjusters.

Idea
----
The model of one setup is linear in its unknowns, so it is a list of terms. Each term is one column:
a name, a prior and which unknown scale multiplies the prior's sd. What a log adds (another mounting,
another stock, a gauge with a zero error) is one more term and nothing else changes.

Readings that no adjuster links are independent of each other and make *blocks* of their own.

Symbols
-------
n rows, p columns, F readings and A adjusters of the block
X (n, p) features, y (n,) readings less their known part, mm

Signs: as in `calib.shop`. The offset belongs to the reference setting (the first one of the log).
Not handled: backlash (the hand takes it out, see the advice) and slopes that bend.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calib.geometry import JointModel, by_thickness, describe
from calib.regression.footing import Footing, reference_settings
from calib.regression.groups import check, components
from calib.regression.shared import gauge_priors, measured_features, offset_features, offset_priors
from calib.regression.steps import Step
from calib.regression.track import MachineState, Track, walk
from calib.shop import Cut, Interval, Setup

Array = NDArray[np.float64]
ScaledBy = Literal["", "scatter", "move"]

#: A slope that is to be learned: sd of its prior (mm per mm); wide enough for any lever.
LEARNED_SLOPE_SD = 3.0


@dataclass(frozen=True)
class Term:
    """One unknown of the model.

    Parameters
    ----------
    prior_sd : float
        In the term's unit; infinite = nothing is known. A scaled term's sd is a median.
    scaled_by : {"", "scatter", "move"}
        Which unknown scale multiplies it.
    """

    name: str
    prior_sd: float
    scaled_by: ScaledBy = ""


@dataclass(frozen=True)
class Row:
    """One measurement or word on one cut.

    Parameters
    ----------
    cut : int
        Number of the cut (as written on the piece).
    position : int
        Index of the cut in the log.
    scaled_variance_mm2, fixed_variance_mm2 : float, mm^2
        Noise that the scatter scale multiplies (squared), and noise that it does not.
    low_mm, high_mm : float, mm
        For an interval, already less the known part.
    known_mm : float, mm
        The known part that was taken off.
    recession : float, mm per mm
        What the recession of the present edge does to the reading; 0 on an earlier edge, which has a term.
    from_m, to_m : float, m
        Cut by the edge since it was sharp, before the log and before this piece.
    """

    cut: int
    position: int
    reading: int
    features: Mapping[str, float]
    known_mm: float
    recession: float
    from_m: float
    to_m: float
    scaled_variance_mm2: float
    fixed_variance_mm2: float
    value_mm: float = math.nan
    low_mm: float = -math.inf
    high_mm: float = math.inf

    @property
    def is_number(self) -> bool:
        """True for a measured number, False for an interval or a word."""
        return not math.isnan(self.value_mm)


@dataclass(frozen=True, eq=False)
class Block:
    """Readings that share adjusters, with everything the solver needs.

    Parameters
    ----------
    readings, adjusters : tuple of str
    slopes : ndarray of shape (F, A), mm per mm; NaN where it is to be learned
    recession : ndarray of shape (F,), mm per mm
    terms : tuple of Term
    rows : tuple of Row
    track : Track
    steps : tuple of Step
        Shifts that are taken to have happened.
    by_stock_mm : mapping of stock to mapping of reading to mm
        What geometry adds for a stock that is not as thick as the joint says.
    follows : mapping of reading to reading
        The first has the offset of the second, and a rest of its own.
    footing : Footing or None
        None = the log stands alone.
    """

    setup: Setup
    readings: tuple[str, ...]
    adjusters: tuple[str, ...]
    slopes: Array
    recession: Array
    nominal_mm: Array
    reference_mm: Mapping[str, float]
    terms: tuple[Term, ...]
    rows: tuple[Row, ...]
    track: Track
    index: Mapping[str, int] = field(default_factory=dict)
    steps: tuple[Step, ...] = ()
    by_stock_mm: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    follows: Mapping[str, str] = field(default_factory=dict)
    footing: Footing | None = None

    def matrix(self, rows: Sequence[Row]) -> Array:
        """Return the features of some rows as an ndarray of shape (len(rows), p)."""
        return self.features_matrix([row.features for row in rows])

    def features_matrix(self, features: Sequence[Mapping[str, float]]) -> Array:
        """Return named features as an ndarray of shape (len(features), p)."""
        matrix = np.zeros((len(features), len(self.terms)))
        for i, named in enumerate(features):
            for name, value in named.items():
                if name in self.index:
                    matrix[i, self.index[name]] += value
        return matrix


def blocks_of(
    setup: Setup,
    cuts: Sequence[Cut],
    reversed_scales: frozenset[str] = frozenset(),
    steps: Sequence[Step] = (),
    footing: Footing | None = None,
) -> list[Block]:
    """Return the blocks of a setup with the rows of its log.

    Parameters
    ----------
    reversed_scales : frozenset of adjuster names
        Adjusters whose scale is taken to count the other way.
    steps : sequence of Step
        Shifts that are taken to have happened, each of a size to be learned.
    footing : Footing or None
        With one the rows are of a single mounting, and each reading has one offset: the setup's own and
        the mounting's together.

    Raises
    ------
    CalibError
        When a cut has a reading or lacks a setting that the setup does not know.
    """
    check(setup, cuts)
    reference = reference_settings(setup, cuts) if footing is None else footing.reference_mm
    model = describe(setup, reference)
    track = walk(setup, cuts, 0.0 if footing is None else footing.metres_m)
    return [
        _block(setup, cuts, model, reference, track, readings, adjusters, reversed_scales, steps, footing)
        for readings, adjusters in components(setup, model)
    ]


def follows_wear(setup: Setup) -> bool:
    """Say whether any reading of a setup follows the recession of its edge."""
    slopes = describe(setup, reference_settings(setup, ())).recession_slopes
    return any(slopes.values())


def _block(
    setup: Setup,
    cuts: Sequence[Cut],
    model: JointModel,
    reference: Mapping[str, float],
    track: Track,
    readings: tuple[str, ...],
    adjusters: tuple[str, ...],
    reversed_scales: frozenset[str],
    steps: Sequence[Step],
    footing: Footing | None,
) -> Block:
    slopes = np.array([[_slope(model, f, a, reversed_scales) for a in adjusters] for f in readings])
    empty = Block(
        setup, readings, adjusters, slopes.reshape(len(readings), len(adjusters)),
        np.array([model.recession_slopes.get(f, 0.0) for f in readings]),
        np.array([model.nominal_mm[f] for f in readings]),
        reference, (), (), track, steps=tuple(step for step in steps if set(step.effects) & set(readings)),
        by_stock_mm=by_thickness(setup, model, reference),
        follows={f: base for f, base in model.follows.items() if f in readings and base in readings},
        footing=footing,
    )  # fmt: skip
    rows, cut_terms = _rows(empty, cuts)
    terms = (*_terms(empty), *(Term(*prior) for prior in gauge_priors(setup, readings, cuts)), *cut_terms)
    index = {term.name: i for i, term in enumerate(terms)}
    return replace(empty, terms=terms, rows=rows, index=index)


def _slope(model: JointModel, reading: str, adjuster: str, reversed_scales: frozenset[str]) -> float:
    slope = model.slopes.get(reading, {}).get(adjuster, 0.0)
    if slope is None:
        return math.nan
    return -slope if adjuster in reversed_scales else slope


def _terms(block: Block) -> list[Term]:
    """Every unknown of the block except those of single cuts; a prior sd of 0 leaves a term out."""
    known = block.setup.knowledge
    terms: list[Term] = []
    for reading in block.readings:
        spans = None if block.footing is not None else max(block.track.spans, 1)
        offsets = offset_priors(known, reading, spans, block.follows)
        terms += [Term(*prior) for prior in offsets]
        terms.append(Term(f"creep:{reading}", known.scale(reading, "creep_sd_mm")))
        terms.append(Term(f"zero:{reading}", known.scale(reading, "zero_sd_mm")))
        if len(_stocks(block)) > 1 or block.footing is not None:
            stock_sd = known.scale(reading, "stock_sd_mm")
            terms += [Term(f"stock:{reading}:{stock}", stock_sd) for stock in _stocks(block)]
    for a, adjuster in enumerate(block.adjusters):
        terms.append(Term(f"scale:{adjuster}", block.setup.scale_sd(adjuster)))
        for f, reading in enumerate(block.readings):
            if math.isnan(block.slopes[f, a]):
                terms.append(Term(f"slope:{reading}:{adjuster}", LEARNED_SLOPE_SD))
    if np.any(block.recession):  # an earlier edge wore at a rate of its own; the last one is on the grid
        terms += [Term(f"wear:{edge}", known.wear_sd_mm_per_m) for edge in range(block.track.edges - 1)]
    for move in block.track.moves:
        if move.adjuster in block.adjusters:
            terms.append(Term(move.name, block.setup.move_sd_mm(move.adjuster), "move"))
    terms += [Term(step.name, step.prior_sd_mm, "scatter") for step in block.steps]
    return [term for term in terms if term.prior_sd > 0.0]


def persists(term: str) -> bool:
    """Say whether a term (by name) outlives its mounting.

    Errors of moves and of single cuts do not, nor a shift, an earlier edge or what gauges share.
    """
    return term.startswith(("offset:", "rest:", "creep:", "zero:", "stock:", "scale:", "slope:"))


def _stocks(block: Block) -> tuple[str, ...]:
    target = block.setup.stock
    before = () if block.footing is None else block.footing.stocks
    stocks = tuple(dict.fromkeys([*before, *block.track.stocks]))
    if target is None or target in stocks or not stocks:
        return stocks
    return (*stocks, target)


def features_at(block: Block, f: int, state: MachineState) -> Mapping[str, float]:
    """Return the features (by term name) of the true size of reading f for a piece in this state."""
    reading = block.readings[f]
    named = {
        **offset_features(reading, state.span, block.follows),
        f"creep:{reading}": state.pieces_since_move,
        f"stock:{reading}:{state.stock}": 1.0,
    }
    if state.edge < block.track.edges - 1:
        named[f"wear:{state.edge}"] = float(block.recession[f]) * state.metres_m
    for a, adjuster in enumerate(block.adjusters):
        away = state.settings_mm[adjuster] - block.reference_mm[adjuster]
        slope = block.slopes[f, a]
        if math.isnan(slope):
            named[f"slope:{reading}:{adjuster}"] = away
            slope = 1.0  # of a slope not yet known, the errors of its moves are taken one to one
        else:
            named[f"scale:{adjuster}"] = slope * away
        for move in acting_moves(block, adjuster, state):
            named[move] = slope
    for step in block.steps:
        if state.position >= step.position:
            named[step.name] = step.effects.get(reading, 0.0)
    return named


def acting_moves(block: Block, adjuster: str, state: MachineState) -> tuple[str, ...]:
    """Return the moves whose errors act in a state: all of them where they add, the last where they renew."""
    moves = state.moves.get(adjuster, ())
    return moves[-1:] if block.setup.adjuster(adjuster).landing == "renews" else moves


def known_part(block: Block, f: int, state: MachineState) -> float:
    """Return what geometry alone says of reading f in this state, mm."""
    known = float(block.nominal_mm[f]) + block.by_stock_mm.get(state.stock, {}).get(block.readings[f], 0.0)
    for a, adjuster in enumerate(block.adjusters):
        if not math.isnan(block.slopes[f, a]):
            known += block.slopes[f, a] * (state.settings_mm[adjuster] - block.reference_mm[adjuster])
    return known


def _rows(block: Block, cuts: Sequence[Cut]) -> tuple[tuple[Row, ...], list[Term]]:
    """Rows of the log for this block, and a term for each cut on which more than one thing was read."""
    rows: list[Row] = []
    terms: list[Term] = []
    for position, (cut, state) in enumerate(zip(cuts, block.track.states, strict=True)):
        for f, reading in enumerate(block.readings):
            found = _rows_of_cut(block, cut, position, state, f)
            if len(found) > 1:
                name = f"cut:{reading}:{position}"
                cut_sd = block.setup.knowledge.scale(reading, "cut_sd_mm")
                if cut_sd > 0.0:
                    terms.append(Term(name, cut_sd, "scatter"))
            rows += found
    return tuple(rows), terms


def _rows_of_cut(block: Block, cut: Cut, position: int, state: MachineState, f: int) -> list[Row]:
    reading = block.readings[f]
    known = block.setup.knowledge
    values = cut.readings.get(reading, ())
    felt = cut.feel is not None and reading == block.setup.bands[0].name
    shared = len(values) + felt > 1
    numbers = sum(not isinstance(value, Interval) for value in values)
    features = dict(features_at(block, f, state))
    if shared:
        features[f"cut:{reading}:{position}"] = 1.0
    base = known_part(block, f, state)
    worn = float(block.recession[f]) if state.edge == block.track.edges - 1 else 0.0
    edge = (worn, state.from_m, state.edge_m)
    cut_variance = 0.0 if shared else known.scale(reading, "cut_sd_mm") ** 2
    reading_variance = known.scale(reading, "reading_sd_mm") ** 2
    rows = []
    for place, value in enumerate(values):
        worth = cut.worth_of(reading, place)
        measured = {**features, **measured_features(reading, worth)}
        # Repeats of one cut do not speak of the scatter from cut to cut (a display repeats itself
        # exactly), so their own noise is left out of the unknown scale.
        scaled, fixed = cut_variance, reading_variance
        if worth is not None:
            fixed = worth.repeat_sd_mm**2
        elif numbers == 1 and not isinstance(value, Interval):
            scaled, fixed = cut_variance + reading_variance, 0.0
        if isinstance(value, Interval):
            limits = {"low_mm": value.low_mm - base, "high_mm": value.high_mm - base}
        else:
            limits = {"value_mm": float(value) - base}
        rows.append(Row(cut.number, position, f, measured, base, *edge, scaled, fixed, **limits))
    if felt:
        scale = block.setup.feel.of(cut.by)
        low, high = scale.limits_of(str(cut.feel))
        spread = scale.spread_mm**2
        rows.append(
            Row(cut.number, position, f, features, base, *edge, cut_variance, spread,
                low_mm=low - base, high_mm=high - base)
        )  # fmt: skip
    return rows

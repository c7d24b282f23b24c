"""The hypotheses of one block, and the mixture that is left when every cut has spoken.

The steps:

1. hypotheses = scatter x move error x wear x (scales that may count the other way),
2. one exact Gaussian posterior each (`solve`), weighted by its evidence,
3. slips enumerated in closed form (`blunder`),
4. words brought in by expectation propagation, with their evidence (`feel`),
5. what is left is a mixture of Gaussians: `BlockPosterior`.

Symbols
-------
K hypotheses, C components of the mixture (hypothesis x bad readings), p terms, n numeric rows
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.regression import blunder, feel, knowledge, shift, solve
from calib.regression.blockposterior import BlockPosterior
from calib.regression.feelalong import along
from calib.regression.footing import Footing
from calib.regression.recession import WearAxis, prior_axis, unworn
from calib.regression.start import Start
from calib.regression.steps import Step
from calib.regression.terms import Block, Row, blocks_of
from calib.shop import Cut, Setup

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
FeatureList = Callable[[Block], list[Mapping[str, float]]]
#: Mean and sd of a logarithm.
Span = tuple[float, float]

#: A reading that is bad may be off by this many of the median sds of a reading (sd of the slip).
WIDE = 20.0
#: Components below this share of the whole are dropped.
LEAST_SHARE = 1e-6
#: Before words, components this far below the best (in log weight) are not taken on.
_LOG_REACH = 30.0
#: A term that no number speaks of yet is taken to be at most this wide (mm): beyond it words alone, which
#: work on covariances, would drown in rounding.
UNKNOWN_MM = 30.0
#: The shape that words leave is corrected for components this near to the best, in log weight.
_NEAR = 17.0
#: Components are worked out in lots, so that no array of theirs holds more numbers than this.
_LOT = 1 << 21
#: From this many numbers on the scatter nodes are set closer around what the cuts say.
_NARROW_FROM = 8


def variants_of(
    setup: Setup, cuts: Sequence[Cut], steps: Sequence[Step] = (), footing: Footing | None = None
) -> list[list[Block]]:
    """Return, per block, the block as stated and with each scale that may count the other way turned."""
    stated = blocks_of(setup, cuts, steps=steps, footing=footing)
    variants = []
    for b, block in enumerate(stated):
        row = [block]
        for adjuster in doubtful_scales(block):
            row.append(blocks_of(setup, cuts, frozenset([adjuster]), steps, footing)[b])
        variants.append(row)
    return variants


def doubtful_scales(block: Block) -> list[str]:
    """Adjusters that were moved and cut after it, whose scale is not exactly known."""
    setup = block.setup
    used = {name for row in block.rows for name in row.features}
    moved = {move.adjuster for move in block.track.moves if move.name in used and move.change_mm}
    return [
        a
        for k, a in enumerate(block.adjusters)
        if a in moved
        and setup.scale_sd(a) > 0.0
        and not setup.adjuster(a).typed
        and not np.isnan(block.slopes[:, k]).any()
    ]


@dataclass(frozen=True, eq=False)
class _Grid:
    """The hypotheses of a block, flattened: one entry per hypothesis."""

    variant: Indices
    scatter: Array
    move: Array
    wear: Indices
    plain: Indices
    log_prior: Array
    node: Indices | None = None


def wear_axis_of(block: Block) -> WearAxis:
    """Return what is believed of the wear of a block's edge where nothing else has been learned."""
    now = block.track.now
    if now is None or not np.any(block.recession):
        return unworn()
    return prior_axis(block.setup.knowledge.wear_sd_mm_per_m, now.from_m)


def _grid(variants: list[Block], scatter: knowledge.Axis, wear: WearAxis) -> _Grid:
    setup = variants[0].setup
    known = setup.knowledge
    move = knowledge.move_axis(known, [setup.move_sd_mm(a) for a in variants[0].adjusters])
    turned = np.log([1.0] + [knowledge.REVERSED_PROBABILITY] * (len(variants) - 1))
    shape = (len(variants), len(wear), len(scatter.nodes), len(move.nodes))
    v, w, s, m = (side.ravel() for side in np.indices(shape))
    log_prior = turned[v] + wear.log_weight[w] + scatter.log_weight[s] + move.log_weight[m]
    plain = np.ravel_multi_index((v, s, m), (shape[0], shape[2], shape[3]))
    return _Grid(v, scatter.nodes[s], move.nodes[m], w, plain, log_prior)


def _grid_from(variants: list[Block], start: Start, wear: WearAxis) -> _Grid:
    """The hypotheses that earlier mountings left, with those that are not carried: wear and turned scales."""
    chances = [start.turned.get(a, knowledge.REVERSED_PROBABILITY) for a in doubtful_scales(variants[0])]
    turned = np.log([1.0, *(chance / (1.0 - chance) for chance in chances)])
    shape = (len(variants), len(wear), len(start.log_weight))
    v, w, k = (side.ravel() for side in np.indices(shape))
    log_prior = turned[v] + wear.log_weight[w] + start.log_weight[k]
    plain = np.ravel_multi_index((v, k), (shape[0], shape[2]))
    return _Grid(v, start.scatter[k], start.move[k], w, plain, log_prior, k)


def solve_block(
    variants: list[Block],
    wear: WearAxis | None = None,
    begin: Callable[[Span | None], Start] | None = None,
) -> BlockPosterior:
    """Return the mixture of one block; the first variant is the block as stated.

    Parameters
    ----------
    wear : WearAxis, optional
        What is believed of the edge's wear without this log; None = the prior of the setup's knowledge.
    begin : callable, optional
        Gives what earlier mountings left; called with None, then, after many cuts, with (mean, sd) of the
        logarithm of the scatter's factor as the cuts say, to have the hypotheses closer around it.
    """
    axis = wear_axis_of(variants[0]) if wear is None else wear
    if begin is None:
        return Solver(variants, scatter_nodes(variants, axis), axis).mixture()
    solver = Solver(variants, knowledge.known(), axis, begin(None))
    if len(solver.numbers) >= _NARROW_FROM and not variants[0].setup.knowledge.scales_known:
        solver = Solver(variants, knowledge.known(), axis, begin(solver.scatter_now()))
    return solver.mixture()


def scatter_nodes(variants: list[Block], wear: WearAxis) -> knowledge.Axis:
    """Return the nodes of the scatter; with many cuts they are set closer around what the cuts say."""
    known = variants[0].setup.knowledge
    wide = knowledge.scatter_axis(known)
    numbers = sum(row.is_number for row in variants[0].rows)
    if known.scales_known or known.log_sd <= 0.0 or numbers < _NARROW_FROM:
        return wide
    center, narrow = Solver(variants, wide, wear).scatter_narrowed()
    return knowledge.scatter_axis(known, center, narrow) if narrow < 1.0 else wide


class Solver:
    """The working arrays of one block on one grid: an even one, or what earlier mountings left."""

    def __init__(
        self,
        variants: list[Block],
        scatter: knowledge.Axis,
        wear: WearAxis,
        start: Start | None = None,
        most_in_pairs: int | None = None,
    ) -> None:
        self.variants = variants
        self.block = variants[0]
        self.wear = wear
        self.start = start
        self.grid = _grid(variants, scatter, wear) if start is None else _grid_from(variants, start, wear)
        rows = self.block.rows
        self.numbers = [i for i, row in enumerate(rows) if row.is_number]
        self.words = [i for i, row in enumerate(rows) if not row.is_number]
        self.X = np.stack([v.matrix(v.rows) for v in variants])[self.grid.variant]
        self.worn = self._worn()
        self.noise = self._noise()
        self.fit = self._fit()
        self.wide = self._wide()
        known = self.block.setup.knowledge
        chance = known.blunder_probability
        self.candidates = blunder.enumerate_bad(self.fit, self.wide, chance, most_in_pairs)
        self.log_weight = (self.grid.log_prior + self.fit.log_evidence)[:, None] + self.candidates.log_ratio
        self.top = float(self.log_weight.max())

    def _worn(self) -> Array:
        """What the wear of the edge does to each row, shape (K, rows), mm."""
        rows = self.block.rows
        start, end = np.array([row.from_m for row in rows]), np.array([row.to_m for row in rows])
        slope = np.array([row.recession for row in rows])
        worn: Array = (slope * self.wear.recession.between(start, end))[self.grid.wear]
        return worn

    def _noise(self) -> Array:
        scaled = np.array([row.scaled_variance_mm2 for row in self.block.rows])
        fixed = np.array([row.fixed_variance_mm2 for row in self.block.rows])
        noise: Array = scaled * self.grid.scatter[:, None] ** 2 + fixed
        return noise

    def _prior_sd(self) -> Array:
        by = {"": np.ones_like(self.grid.move), "scatter": self.grid.scatter, "move": self.grid.move}
        columns = [term.prior_sd * by[term.scaled_by] for term in self.block.terms]
        prior_sd = np.stack(columns, axis=1) if columns else np.zeros((len(self.grid.move), 0))
        spoken_of = np.any(self.X[:, self.numbers] != 0.0, axis=(0, 1))
        return np.where(spoken_of, prior_sd, np.minimum(prior_sd, UNKNOWN_MM))

    def _fit(self) -> solve.GaussianFit:
        values = np.stack([[v.rows[i].value_mm for i in self.numbers] for v in self.variants])
        self.y = values[self.grid.variant] - self.worn[:, self.numbers]
        first = np.unique(self.grid.plain, return_index=True)[1]  # the wear only takes something off y
        X, noise, prior_sd = self.X[:, self.numbers], self.noise[:, self.numbers], self._prior_sd()
        mean, root = None, None
        if self.start is not None and self.grid.node is not None:
            mean, root = self.start.prior(self.block, self.grid.node, prior_sd)
            self.y = self.y - np.einsum("knp,kp->kn", X, mean)
        self.factors = solve.factor(
            X[first], noise[first], prior_sd[first], None if root is None else root[first]
        )
        alone = len(first) == len(self.y)
        away = solve.explain(self.factors if alone else self.factors.take(self.grid.plain), self.y)
        return away if mean is None else replace(away, mean=away.mean + mean)

    def _wide(self) -> Array:
        known = self.block.setup.knowledge
        sds = [
            WIDE * math.hypot(known.scale(f, "cut_sd_mm"), self.block.setup.reading_sd_mm(f))
            for f in self.block.readings
        ]
        return np.array([max(sds[self.block.rows[i].reading], 1e-6) for i in self.numbers])

    def scatter_narrowed(self) -> tuple[float, float]:
        """Return centre (log) and shrinkage of the scatter nodes that the readings suggest."""
        known = self.block.setup.knowledge
        center, sd = self.scatter_now()
        least = 0.6 / math.sqrt(len(self.numbers))  # the grid itself cannot see narrower than its spacing
        return center, min(1.0, max(sd, least) * 1.15 / known.log_sd)

    def scatter_now(self) -> Span:
        """Return mean and sd of the logarithm of the scatter's factor, as the numbers say."""
        by_node = np.exp(self.log_weight - self.log_weight.max()).sum(axis=1)
        share = by_node / by_node.sum()
        logs = np.log(self.grid.scatter)
        center = float(share @ logs)
        return center, math.sqrt(float(share @ (logs - center) ** 2))

    def mixture(self) -> BlockPosterior:
        """Return the mixture, words included."""
        k, s = self._members()
        log_weight, mean, covariance = self.parts_of(k, s)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        keep = weight > LEAST_SHARE
        k, s, weight = k[keep], s[keep], weight[keep] / weight[keep].sum()
        return BlockPosterior(
            variants=tuple(self.variants),
            variant=self.grid.variant[k],
            weights=weight,
            mean=mean[keep],
            covariance=covariance[keep],
            scatter=self.grid.scatter[k],
            move=self.grid.move[k],
            recession=self.wear.recession.take(self.grid.wear[k]),
            hypothesis=self.grid.plain[k] * len(self.candidates.sets) + s,
            bad=self._bad(weight, s),
            reversed_scales=self._reversed(weight, self.grid.variant[k]),
            shift=self._shift(),
        )

    def _shift(self) -> shift.Shift | None:
        return shift.weigh(
            self.block, self.numbers, self.fit, self.grid.scatter, self.wide, self.candidates, self.log_weight
        )

    def weights_by_wear(self) -> tuple[Indices, Array]:
        """Return the course of wear and the log weight of every component that matters, words included."""
        k, s = self._members()
        return self.grid.wear[k], self.parts_of(k, s)[0]

    def _members(self) -> tuple[Indices, Indices]:
        """Return the components worth taking on: a hypothesis and the number of a set of bad readings."""
        least = -math.log(LEAST_SHARE)
        reach = [_LOG_REACH if self.words and len(bad) < 2 else least for bad in self.candidates.sets]
        s, k = np.nonzero((self.log_weight > self.top - np.array(reach)).T)
        return k, s

    def parts_of(self, k: Indices, s: Indices) -> tuple[Array, Array, Array]:
        """Return log weights, means and covariances of hypotheses k with the readings of sets s bad."""
        largest = max(len(self.words) * max(len(self.words), len(self.block.terms)), 1)
        lot = max(_LOT // largest, 1)
        parts = [self._lot(k[at : at + lot], s[at : at + lot]) for at in range(0, len(k), lot)]
        log_weight, mean, covariance = (np.concatenate([part[at] for part in parts]) for at in range(3))
        return log_weight, mean, covariance

    def _lot(self, k: Indices, s: Indices) -> tuple[Array, Array, Array]:
        log_weight = self.log_weight[k, s]
        mean, covariance = self._without_words(k, s)
        if not self.words:
            return log_weight, mean, covariance
        U = self.X[k][:, self.words]
        cross = covariance @ np.swapaxes(U, 1, 2)
        m = np.einsum("kwp,kp->kw", U, mean)
        S = U @ cross
        low, high = self._limits(k)
        noise = self.noise[k][:, self.words]
        sites = feel.fit_sites(m, S, low, high, noise)
        mean, reduction = feel.condition(mean, cross, m, S, sites)
        covariance = covariance - reduction
        log_weight = log_weight + sites.log_evidence
        # What is far below the best is dropped later or weighs nothing: its sites will do.
        near = np.flatnonzero(log_weight > log_weight.max() - _NEAR)
        some = feel.Sites(*(part[near] for part in sites))
        shift, change, log_gain = along(
            m[near], S[near], cross[near], some, low[near], high[near], noise[near]
        )
        log_weight[near] += log_gain
        mean[near] += shift
        covariance[near] += change
        return log_weight, mean, covariance

    def _without_words(self, k: Indices, s: Indices) -> tuple[Array, Array]:
        p = len(self.block.terms)
        mean, covariance = np.empty((len(k), p)), np.empty((len(k), p, p))
        sizes = np.array([len(bad) for bad in self.candidates.sets])[s]
        for size in sorted(set(sizes.tolist())):
            at = np.flatnonzero(sizes == size)
            bad = np.array([self.candidates.sets[n] for n in s[at]], dtype=np.intp)
            mean[at], covariance[at] = blunder.posterior_without(self.fit, k[at], bad, self.wide)
        return mean, covariance

    def _limits(self, k: Indices) -> tuple[Array, Array]:
        v, worn = self.grid.variant[k], self.worn[k][:, self.words]
        low = np.stack([[block.rows[i].low_mm for i in self.words] for block in self.variants])
        high = np.stack([[block.rows[i].high_mm for i in self.words] for block in self.variants])
        return low[v] - worn, high[v] - worn

    def _bad(self, weight: Array, s: Indices) -> tuple[tuple[Row, float], ...]:
        chance = np.zeros(len(self.numbers))
        shares = np.bincount(s, weights=weight, minlength=len(self.candidates.sets))
        for share, bad in zip(shares, self.candidates.sets, strict=True):
            for i in bad:
                chance[i] += share
        return tuple((self.block.rows[i], float(p)) for i, p in zip(self.numbers, chance, strict=True))

    def _reversed(self, weight: Array, variant: Indices) -> dict[str, float]:
        turned = {}
        for v, adjuster in enumerate(doubtful_scales(self.block), start=1):
            turned[adjuster] = float(weight[variant == v].sum())
        return turned

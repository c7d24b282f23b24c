"""What is carried from mounting to mounting: sums on the frozen grid, and the belief that they make.

The evidence of one mounting, for one hypothesis h, is a Gaussian in the terms that persist (theta): a
constant c, a shift eta and a precision Lambda. Evidences of mountings are added, so neither their order
nor their number matters; the belief follows with the prior when it is asked for:

    precision P = Lambda_prior + sum Lambda,  mean = P^-1 sum eta
    log weight = log prior(h) + sum c + 1/2 mean' P mean - 1/2 log|P| + 1/2 log|Lambda_prior|

Symbols
-------
H hypotheses, p persisting terms (those of the block, and one for each sharpening)
"""

from __future__ import annotations

import base64
import hashlib
import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.errors import CalibError
from calib.regression.hypotheses import UNKNOWN_MM
from calib.regression.learn.grid import GRID_VERSION, Grid
from calib.regression.terms import LEARNED_SLOPE_SD, Block
from calib.shop import Setup

Array = NDArray[np.float64]

#: sd of how far the edge of another sharpening stands from that of an earlier one, radially, mm (common
#: practice, no source: a regrind or another cutter of the same size is a few hundredths off).
EDGE_SD_MM = 0.05


@dataclass(frozen=True, eq=False)
class BlockState:
    """The sums of one block.

    Parameters
    ----------
    terms : tuple of str
    constant : ndarray of shape (H,)
        -inf for a hypothesis that was given up.
    shift : ndarray of shape (H, p); precision : ndarray of shape (H, p, p)
        Without the prior.
    """

    terms: tuple[str, ...]
    constant: Array
    shift: Array
    precision: Array

    def widened(self, terms: tuple[str, ...]) -> BlockState:
        """Return the same sums with more terms, of which nothing has been said."""
        new = tuple(dict.fromkeys([*self.terms, *terms]))
        if new == self.terms:
            return self
        H, p, q = len(self.constant), len(self.terms), len(new)
        shift, precision = np.zeros((H, q)), np.zeros((H, q, q))
        shift[:, :p], precision[:, :p, :p] = self.shift, self.precision
        return BlockState(new, self.constant, shift, precision)

    def without(self, term: str, prior_sd: float) -> BlockState:
        """Return the sums with one term integrated out over its prior."""
        k = self.terms.index(term)
        keep = np.array([i for i in range(len(self.terms)) if i != k])
        own = self.precision[:, k, k] + prior_sd**-2
        cross = self.precision[:, keep, k]
        constant = self.constant + 0.5 * self.shift[:, k] ** 2 / own - 0.5 * np.log(own * prior_sd**2)
        shift = self.shift[:, keep] - cross * (self.shift[:, k] / own)[:, None]
        precision = self.precision[:, keep[:, None], keep]
        precision = precision - cross[:, :, None] * cross[:, None, :] / own[:, None, None]
        return BlockState(tuple(self.terms[i] for i in keep), constant, shift, precision)

    def split(self, parts: int, inner: int) -> BlockState:
        """Return the sums with every `inner` hypotheses repeated in parts that know the same."""
        order = np.arange(len(self.constant)).reshape(-1, 1, inner)
        again = np.repeat(order, parts, axis=1).ravel()
        return BlockState(self.terms, self.constant[again], self.shift[again], self.precision[again])


@dataclass(frozen=True, eq=False)
class Belief:
    """The belief that a state makes with its prior: weight, mean and covariance of every hypothesis."""

    terms: tuple[str, ...]
    weight: Array
    mean: Array
    covariance: Array


@dataclass(frozen=True)
class Carried:
    """What the mountings of a setup so far have taught.

    Parameters
    ----------
    reference_mm : mapping of adjuster to mm
        Settings at which the offsets are defined.
    last_mm : mapping of adjuster to mm
        Where the scales stood last.
    blocks : tuple of BlockState
        In the order of the setup's blocks.
    mountings : tuple of str
        Labels of the mountings that were carried, in order.
    stocks : tuple of str
    edges : tuple of str
        Sharpenings, the latest last.
    metres_m : mapping of sharpening to m cut since the log began
    turned : mapping of adjuster to the probability that its scale counts the other way
    numbers, moves : int
        How many measured numbers and moves it rests on.
    kept : bool
        Some mounting was put back with a kept joint as the gauge.
    grid : str
        Version of the grid.
    believed : str
        Fingerprint of what the setup believed when it was carried (see `fingerprint`).
    """

    reference_mm: Mapping[str, float]
    blocks: tuple[BlockState, ...]
    last_mm: Mapping[str, float] = field(default_factory=dict)
    mountings: tuple[str, ...] = ()
    stocks: tuple[str, ...] = ()
    edges: tuple[str, ...] = ()
    metres_m: Mapping[str, float] = field(default_factory=dict)
    turned: Mapping[str, float] = field(default_factory=dict)
    numbers: int = 0
    moves: int = 0
    kept: bool = False
    grid: str = GRID_VERSION
    believed: str = ""

    def believed_by(self, setup: Setup) -> Carried:
        """Return the same state for a setup that supposes something else of an effect not learned yet."""
        return replace(self, believed=fingerprint(setup))

    def as_dict(self) -> dict[str, Any]:
        """Return the state as JSON can hold it; arrays are packed, exact to the last bit."""
        plain = {
            "grid": self.grid,
            "reference_mm": dict(self.reference_mm),
            "last_mm": dict(self.last_mm),
            "mountings": list(self.mountings),
            "stocks": list(self.stocks),
            "edges": list(self.edges),
            "metres_m": dict(self.metres_m),
            "turned": dict(self.turned),
            "numbers": self.numbers,
            "moves": self.moves,
            "kept": self.kept,
            "believed": self.believed,
        }
        return {**plain, "blocks": [_packed_block(block) for block in self.blocks]}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Carried:
        """Return what `as_dict` gave; `CalibError` when it is of another grid."""
        if data.get("grid") != GRID_VERSION:
            raise CalibError(
                f'carried state: it was added up on grid "{data.get("grid")}", this program has grid '
                f'"{GRID_VERSION}". Add it up again from the log.'
            )
        tuples = {name: tuple(data[name]) for name in ("mountings", "stocks", "edges")}
        names = ("reference_mm", "last_mm", "metres_m", "turned", "numbers", "moves", "kept", "believed")
        same: dict[str, Any] = {**{name: data[name] for name in names}, **tuples}
        return cls(blocks=tuple(_unpacked_block(one) for one in data["blocks"]), **same)


def fingerprint(setup: Setup) -> str:
    """Return a short text that changes when the same cuts would say something else to a setup.

    What is at stake, how many pieces are left and which cutter is in it do not matter.
    """
    known = replace(setup.knowledge, of=MappingProxyType(dict(sorted(setup.knowledge.of.items()))))
    targets = [(b.name, b.target_mm if setup.joint.kind == "plain" else 0.0) for b in setup.bands]
    words = (sorted(setup.feel.words.items()), setup.feel.spread_mm)
    said = repr((setup.joint, targets, setup.adjusters, known, words, setup.metres_per_piece_m))
    return hashlib.sha256(said.encode()).hexdigest()[:16]


def prior_sds(block: Block, terms: tuple[str, ...]) -> Array:
    """Return the prior sd of every persisting term, shape (p,), in the term's unit."""
    known = block.setup.knowledge
    sds = []
    for term in terms:
        kind, _, rest = term.partition(":")
        name = rest.partition(":")[0]
        if kind == "edge":
            sds.append(EDGE_SD_MM)
        elif kind == "slope":
            sds.append(LEARNED_SLOPE_SD)
        elif kind == "rest":
            sds.append(known.rest_sd_mm)
        elif kind == "scale":
            sds.append(block.setup.scale_sd(name))
        else:
            quantity = f"{kind}_sd_mm"
            sds.append(min(known.scale(name, quantity), UNKNOWN_MM))
    return np.maximum(np.array(sds), 1e-6)


def belief(state: BlockState, grid: Grid, prior_sd: Array) -> Belief:
    """Return weight, mean and covariance of every hypothesis."""
    alive = np.isfinite(state.constant)
    precision = state.precision[alive] + np.diag(prior_sd**-2)
    covariance = np.linalg.inv(precision)
    mean = np.einsum("hpq,hq->hp", covariance, state.shift[alive])
    log_weight = grid.log_prior[alive] + state.constant[alive]
    log_weight = log_weight + 0.5 * np.einsum("hp,hp->h", mean, state.shift[alive])
    log_weight = log_weight - 0.5 * np.linalg.slogdet(precision)[1]
    weight = np.zeros(len(alive))
    weight[alive] = np.exp(log_weight - log_weight.max())
    H, p = state.shift.shape
    full_mean, full_covariance = np.zeros((H, p)), np.zeros((H, p, p))
    full_mean[alive], full_covariance[alive] = mean, covariance
    return Belief(state.terms, weight / weight.sum(), full_mean, full_covariance)


def _packed_block(block: BlockState) -> dict[str, Any]:
    arrays = {name: _packed(getattr(block, name)) for name in ("constant", "shift", "precision")}
    return {"terms": list(block.terms), "hypotheses": len(block.constant), **arrays}


def _unpacked_block(data: Mapping[str, Any]) -> BlockState:
    H, p = int(data["hypotheses"]), len(data["terms"])
    shapes = {"constant": (H,), "shift": (H, p), "precision": (H, p, p)}
    arrays = {name: _unpacked(data[name], shape) for name, shape in shapes.items()}
    return BlockState(tuple(data["terms"]), **arrays)


def _packed(values: Array) -> str:
    return base64.b64encode(zlib.compress(np.ascontiguousarray(values, dtype="<f8").tobytes(), 6)).decode()


def _unpacked(text: str, shape: tuple[int, ...]) -> Array:
    values = np.frombuffer(zlib.decompress(base64.b64decode(text)), dtype="<f8")
    if len(values) != math.prod(shape):
        raise CalibError("carried state: its arrays do not fit its terms. Add it up again from the log.")
    return values.reshape(shape).astype(np.float64)

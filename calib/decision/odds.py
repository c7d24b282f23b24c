"""The chance that the next piece, and every piece of the batch, is inside its bands.

What all pieces share (level of each reading, creep) is integrated over; what each piece draws for
itself (its scatter) is independent given that. So for one component of the mixture

    P(all) = E over shared g of  prod_i prod_f  [Phi((high_f - m_fi(g)) / s_f) - Phi((low_f - m_fi(g)) / s_f)]

with m_fi(g) = level_f + i (creep_f + wear_f). One shared number takes the trapezium rule, two a product
rule, more a lattice rule; the probabilities of readings that share an adjuster are therefore joint.

Symbols
-------
C components, F readings of a block, q shared numbers (F levels, then the creeps that vary), N nodes
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib import normal
from calib.regression.lattice import lattice
from calib.regression.prospect import Prospect
from calib.shop import Band

Array = NDArray[np.float64]

_TINY_MM = 1e-9
#: Components below this share of the whole are left out of integrals.
_SMALL = 1e-3
#: Up to so many pieces of a drifting batch are summed one by one; more by a rule with so many nodes.
_ONE_BY_ONE = 12
_BATCH_NODES = 9
#: Levels whose correlation is below this are taken as independent within a component.
_UNCORRELATED = 0.01


class Chance(NamedTuple):
    """Probabilities of the true size: of the next good piece, and of all that are left."""

    next_piece: float
    all_pieces: float


class Shared(NamedTuple):
    """The future of one block at one position, cut down to the components that matter.

    Parameters
    ----------
    weights (C,), mean (C, F), covariance (C, F, F), cut_sd (C, F), drift (C, F), creep_variance (C, F)
        mm and mm^2; drift and creep per piece.
    """

    weights: Array
    mean: Array
    covariance: Array
    cut_sd: Array
    drift: Array
    creep_variance: Array

    def only(self, f: int) -> Shared:
        """Return the future of one reading alone."""
        at = slice(f, f + 1)
        return Shared(
            self.weights,
            self.mean[:, at],
            self.covariance[:, at, at],
            self.cut_sd[:, at],
            self.drift[:, at],
            self.creep_variance[:, at],
        )


def shared_at(prospect: Prospect, change_mm: Array, moved: NDArray[np.bool_]) -> Shared:
    """Return the future at one position; change_mm and moved have shape (A,)."""
    mean, covariance = prospect.after(change_mm[None, :], moved[None, :])
    creep_mean, creep_variance = prospect.creep_after()
    keep = prospect.weights > _SMALL * prospect.weights.max()
    weights = prospect.weights[keep] / prospect.weights[keep].sum()
    return Shared(
        weights,
        mean[keep, 0],
        covariance[keep, 0],
        np.maximum(prospect.cut_sd[keep], _TINY_MM),
        (prospect.drift + creep_mean)[keep],
        creep_variance[keep],
    )


def chance_of(shared: Shared, bands: tuple[Band, ...], pieces: int) -> Chance:
    """Return the chance that the named readings of the next, and of all pieces, are inside their bands.

    Parameters
    ----------
    bands : tuple of Band
        In the order of the block's readings.
    pieces : int
        Good pieces left; with none left the batch is the next piece.
    """
    F = len(bands)
    if F > 1 and _apart(shared):
        return _product([_by_component(shared.only(f), bands[f : f + 1], pieces) for f in range(F)], shared)
    return _product([_by_component(shared, bands, pieces)], shared)


def _apart(shared: Shared) -> bool:
    """Readings whose levels are as good as uncorrelated are independent within a component."""
    sd = np.sqrt(np.maximum(np.diagonal(shared.covariance, axis1=1, axis2=2), 1e-30))
    correlation = np.abs(shared.covariance) / (sd[:, :, None] * sd[:, None, :])
    F = shared.mean.shape[1]
    return bool(np.max(correlation * (1.0 - np.eye(F))) < _UNCORRELATED)


def _product(parts: list[tuple[Array, Array]], shared: Shared) -> Chance:
    first = float(shared.weights @ np.prod([part[0] for part in parts], axis=0))
    every = float(shared.weights @ np.prod([part[1] for part in parts], axis=0))
    return Chance(_below_one(first), _below_one(min(every, first)))


def _by_component(shared: Shared, bands: tuple[Band, ...], pieces: int) -> tuple[Array, Array]:
    """Return the chance of the next piece and of all pieces, each of shape (C,)."""
    creeping = np.flatnonzero(shared.creep_variance.max(axis=0) > _TINY_MM**2)
    F = len(bands)
    nodes, node_weights = _nodes(F, len(creeping), _fineness(shared))
    root = _root(shared.covariance)
    level = shared.mean[:, None, :] + np.einsum("cfg,ng->cnf", root, nodes[:, :F])
    drift = np.broadcast_to(shared.drift[:, None, :], level.shape).copy()
    for k, f in enumerate(creeping):
        drift[:, :, f] += np.sqrt(shared.creep_variance[:, f])[:, None] * nodes[:, F + k]
    inside = _log_inside(shared, bands, level)
    log_all = _log_all(shared, bands, level, drift, max(pieces, 1), inside)
    return np.exp(inside) @ node_weights, np.exp(log_all) @ node_weights


def _fineness(shared: Shared) -> float:
    """Widest level over its cut's scatter: how fine nodes must be to see the edges of a band."""
    sd = np.sqrt(np.maximum(np.diagonal(shared.covariance, axis1=1, axis2=2), 0.0))
    return float(np.max(sd / shared.cut_sd))


def _below_one(probability: float) -> float:
    """Nothing is certain here: the model itself may be wrong once in ten thousand."""
    return float(min(max(probability, 0.0), 0.9999))


def _log_inside(shared: Shared, bands: tuple[Band, ...], level: Array) -> Array:
    """Log probability, given the shared numbers, that one piece is inside every band; shape (C, N)."""
    total = np.zeros(level.shape[:2])
    for f, band in enumerate(bands):
        sd = shared.cut_sd[:, f, None]
        upper, lower = (band.high_mm - level[:, :, f]) / sd, (band.low_mm - level[:, :, f]) / sd
        total += np.log(np.maximum(normal.cdf(upper) - normal.cdf(lower), 1e-300))
    return total


def _log_all(
    shared: Shared, bands: tuple[Band, ...], level: Array, drift: Array, pieces: int, first: Array
) -> Array:
    if float(np.abs(drift).max()) * pieces < 1e-6:
        return pieces * first
    total = np.zeros_like(first)
    for i, weight in zip(*_along(pieces), strict=True):
        total += weight * _log_inside(shared, bands, level + i * drift)
    return total


def _along(pieces: int) -> tuple[Array, Array]:
    """Places and weights that sum a smooth function over pieces 0, 1, ..., n - 1.

    Few pieces are summed one by one. For many, sum = integral from -1/2 to n - 1/2 less
    (slope at the end - slope at the start) / 24 (Euler and Maclaurin), the integral by Gauss and Legendre.
    """
    if pieces <= _ONE_BY_ONE:
        return np.arange(pieces, dtype=np.float64), np.ones(pieces)
    x, w = np.polynomial.legendre.leggauss(_BATCH_NODES)
    ends = np.array([-0.75, -0.25, pieces - 0.75, pieces - 0.25])
    slopes = np.array([-1.0, 1.0, 1.0, -1.0]) / 0.5 / 24.0
    places = np.concatenate([0.5 * pieces * (x + 1.0) - 0.5, ends])
    return places, np.concatenate([0.5 * pieces * w, slopes])


def _root(covariance: Array) -> Array:
    """A root of each covariance, which may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    root: Array = vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]
    return root


def _nodes(levels: int, creeps: int, fineness: float) -> tuple[Array, Array]:
    """Nodes (N, q) and weights (N,) for an expectation over q = levels + creeps standard normals.

    Along a level the nodes stand closer than half a cut's scatter, as far as their number allows.
    """
    q = levels + creeps
    wanted = 2.0 * 10.0 * fineness
    if q == 1:
        line, weight = _line(int(np.clip(wanted, 121, 1601)))
        return line[:, None], weight
    if q == 2:
        first, first_weight = _line(int(np.clip(wanted, 45, 121 if levels == 2 else 401)))
        second, second_weight = _line(int(np.clip(wanted, 45, 121))) if levels == 2 else _line(21)
        x, y = np.meshgrid(first, second, indexing="ij")
        return np.stack([x.ravel(), y.ravel()], axis=1), np.outer(first_weight, second_weight).ravel()
    tent = 1.0 - np.abs(2.0 * lattice(q) - 1.0)  # makes the integrand periodic
    tent = np.clip(tent, 1e-12, 1.0 - 1e-12)
    return normal.quantile(tent), np.full(len(tent), 1.0 / len(tent))


def _line(points: int) -> tuple[Array, Array]:
    line = np.linspace(-5.0, 5.0, points)
    weight = normal.pdf(line)
    return line, weight / weight.sum()

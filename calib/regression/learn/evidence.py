"""What one mounting said by itself: a Gaussian message for every hypothesis.

Symbols
-------
K hypotheses of the start, q terms that persist (z), S spreads, F terms that every mounting draws anew
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib.regression.hypotheses import Solver
from calib.regression.start import Start

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Sets of bad readings below this share of the best one (of the same hypothesis) do not shape its moments.
_LEAST_RATIO = 0.01


class Told(NamedTuple):
    """What one mounting said: constant (J,), shift (J, q) and precision (J, q, q)."""

    constant: Array
    shift: Array
    precision: Array


def told_alone(solver: Solver) -> Told:
    """Return what the cuts alone said of z, for every hypothesis of the solver's start.

    Notes
    -----
    A hypothesis is left with some Gaussians (sets of bad readings, rates of wear, turned scales). Each is
    divided by the prior of the start, in units of that prior: z = mean0 + C e with C C' its covariance,
    so that a posterior N(e1, S) of e says A = S^-1 - I and b = S^-1 e1. Their weighted means A and b are
    what was said, made wider by the spread V of the e1: A' = (I + A V)^-1 A, b' = (I + A V)^-1 b; and

        log evidence = constant + 1/2 b'' (I + A')^-1 b' - 1/2 log|I + A'|

    gives the constant. (Dividing the moments of the whole mixture instead would let a mixture that is as
    wide as its prior, and off its middle, speak for a place far outside either.) With one Gaussian, which
    is what there is without slips, words, wear and turned scales, it is exact.
    """
    start = solver.start
    assert start is not None
    at = np.array([solver.block.index[name] for name in start.terms], dtype=np.intp)
    K, q = start.mean.shape
    node, log_weight, mean, covariance = _parts(solver)
    top = np.full(K, -np.inf)
    np.maximum.at(top, node, log_weight)
    share = np.exp(log_weight - top[node])
    total = np.bincount(node, weights=share, minlength=K)
    share = share / total[node]
    inverse = np.linalg.inv(np.linalg.cholesky(start.covariance))
    own = inverse[node]
    precision = np.linalg.inv(own @ covariance[:, at[:, None], at] @ np.swapaxes(own, 1, 2))
    e = np.einsum("cqp,cp->cq", own, mean[:, at] - start.mean[node])
    pull = _by_node(node, share[:, None] * np.einsum("cqp,cp->cq", precision, e), K)
    said = _by_node(node, share[:, None, None] * (precision - np.eye(q)), K)
    away = e - _by_node(node, share[:, None] * e, K)[node]
    apart = _by_node(node, share[:, None, None] * away[:, :, None] * away[:, None, :], K)
    wider = np.linalg.inv(np.eye(q) + said @ apart)
    said, pull = wider @ said, np.einsum("kqp,kp->kq", wider, pull)
    said = 0.5 * (said + np.swapaxes(said, 1, 2))
    after = np.eye(q) + said
    shifted = np.linalg.solve(after, pull[:, :, None])[:, :, 0]
    constant = top + np.log(total) - 0.5 * np.einsum("kq,kq->k", pull, shifted)
    constant = constant + 0.5 * np.linalg.slogdet(after)[1]
    return _in_the_terms(start, inverse, Told(constant, pull, said))


def _in_the_terms(start: Start, inverse: Array, told: Told) -> Told:
    """Return what was said of e as what was said of z."""
    back = np.swapaxes(inverse, 1, 2)
    precision = back @ told.precision @ inverse
    eta = np.einsum("kqp,kp->kq", back, told.shift)
    m0 = start.mean
    constant = told.constant - np.einsum("kq,kq->k", eta, m0)
    constant = constant - 0.5 * np.einsum("kq,kqp,kp->k", m0, precision, m0)
    return Told(constant, eta + np.einsum("kqp,kp->kq", precision, m0), precision)


def _by_node(node: Indices, values: Array, nodes: int) -> Array:
    total = np.zeros((nodes, *values.shape[1:]))
    np.add.at(total, node, values)
    return total


def _parts(solver: Solver) -> tuple[Indices, Array, Array, Array]:
    """Return node, log weight, mean, covariance of every hypothesis with a set of bad readings that matters.

    What the sets that do not matter weigh is shared out among those that do.
    """
    assert solver.grid.node is not None
    best = solver.log_weight.max(axis=1, keepdims=True)
    ratio = np.exp(solver.log_weight - best)
    matters = ratio > _LEAST_RATIO
    more = np.log(ratio.sum(axis=1) / np.where(matters, ratio, 0.0).sum(axis=1))
    bad, k = np.nonzero(matters.T)
    log_weight, mean, covariance = solver.parts_of(k, bad)
    return solver.grid.node[k], log_weight + more[k], mean, covariance


def spread_out(told: Told, redrawn: NDArray[np.bool_], spreads: Array) -> Told:
    """Integrate out what the mounting drew for itself, for every spread; from (K, ...) to (K S, ...).

    Parameters
    ----------
    redrawn : ndarray of shape (q,), bool
        Which terms every mounting draws anew; F of them.
    spreads : ndarray of shape (S, F)
        Their sd around the setup's own.
    """
    q = told.shift.shape[1]
    cross = told.precision[:, :, redrawn]
    own = np.eye(spreads.shape[1]) * spreads[:, None, :] ** -2
    inner = told.precision[:, redrawn][:, :, redrawn][:, None] + own
    gain = np.linalg.inv(inner)
    eta = told.shift[:, redrawn]
    constant = told.constant[:, None] + 0.5 * np.einsum("kf,ksfg,kg->ks", eta, gain, eta)
    constant = constant - 0.5 * np.linalg.slogdet(inner)[1] - np.log(spreads).sum(axis=1)
    shift = told.shift[:, None] - np.einsum("kqf,ksfg,kg->ksq", cross, gain, eta, optimize=True)
    precision = told.precision[:, None] - cross[:, None] @ gain @ np.swapaxes(cross, 1, 2)[:, None]
    return Told(constant.ravel(), shift.reshape(-1, q), precision.reshape(-1, q, q))

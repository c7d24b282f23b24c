"""Where a block starts when earlier mountings have taught something: hypotheses with a Gaussian each.

Without a history the terms are independent and the hypotheses an even grid (`knowledge`). With one,
every hypothesis brings its own mean and covariance of the terms that outlive a mounting; the errors
of moves and of single cuts are drawn anew and keep their priors.

Symbols
-------
K hypotheses of the start, G hypotheses of a grid made from them, p terms of the block, q that persist
T lower triangular with T' T = precision
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.regression.terms import Block, persists

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Variance (unit of the term, squared) below which a term is taken as this well known and no better.
_LEAST_VARIANCE = 1e-18


@dataclass(frozen=True, eq=False)
class Start:
    """The belief before the first cut of a mounting.

    Parameters
    ----------
    terms : tuple of str
        Names of the terms that persist, in the order of the columns below.
    log_weight, scatter, move : ndarray of shape (K,)
    mean : ndarray of shape (K, q)
    covariance : ndarray of shape (K, q, q)
    turned : mapping of adjuster to the probability that its scale counts the other way
    """

    terms: tuple[str, ...]
    log_weight: Array
    scatter: Array
    move: Array
    mean: Array
    covariance: Array
    turned: Mapping[str, float]

    def prior(self, block: Block, node: Indices, prior_sd: Array) -> tuple[Array, Array]:
        """Return prior means (G, p) and roots T (G, p, p) of all terms of a block.

        Parameters
        ----------
        node : ndarray of shape (G,)
            Which hypothesis of the start each one of the grid comes from.
        prior_sd : ndarray of shape (G, p)
            Of the terms that do not persist.
        """
        at = np.array([block.index[name] for name in self.terms if name in block.index], dtype=np.intp)
        have = np.array([k for k, name in enumerate(self.terms) if name in block.index], dtype=np.intp)
        mean = np.zeros(prior_sd.shape)
        root = (1.0 / prior_sd)[:, :, None] * np.eye(prior_sd.shape[1])
        if len(at):
            mean[:, at] = self.mean[node][:, have]
            inner = precision_root(self.covariance[:, have[:, None], have])
            root[:, at[:, None], at] = inner[node]
        return mean, root


def precision_root(covariance: Array) -> Array:
    """Return T (K, q, q), lower triangular, with T' T the inverse of a covariance (K, q, q)."""
    q = covariance.shape[-1]
    return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance + _LEAST_VARIANCE * np.eye(q))))


def persisting(block: Block) -> tuple[str, ...]:
    """Return the names of a block's terms that outlive a mounting."""
    return tuple(term.name for term in block.terms if persists(term.name))

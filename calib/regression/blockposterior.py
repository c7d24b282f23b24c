"""What is left of one block when every cut has spoken: a mixture of Gaussians over its terms.

Symbols
-------
C components of the mixture (hypothesis x bad readings), p terms, F readings, A adjusters
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calib.regression.mixture import Mixture
from calib.regression.recession import Recession
from calib.regression.shift import Shift
from calib.regression.terms import Block, Row

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
FeatureList = Callable[[Block], list[Mapping[str, float]]]


@dataclass(frozen=True, eq=False)
class BlockPosterior:
    """The mixture of one block.

    Parameters
    ----------
    variants : tuple of Block
        The block as the setup states it, then with each scale that may count the other way turned.
    variant : ndarray of shape (C,)
        Which of them a component believes.
    weights : ndarray of shape (C,), sums to 1
    mean : ndarray of shape (C, p)
        Of the terms, in the order of `names`.
    covariance : ndarray of shape (C, p, p)
    scatter, move : ndarray of shape (C,)
        Factors on the medians.
    recession : Recession
        The course of the edge's wear that each component believes.
    hypothesis : ndarray of shape (C,)
        Components that differ in nothing but the wear have the same number.
    bad : tuple of (Row, float)
        Every number with the probability that it is a slip.
    reversed_scales : mapping of adjuster to the probability that its scale counts the other way
    shift : Shift or None
        Whether the readings have shifted in this mounting; the mixture itself takes it that they have not.
    """

    variants: tuple[Block, ...]
    variant: Indices
    weights: Array
    mean: Array
    covariance: Array
    scatter: Array
    move: Array
    recession: Recession
    hypothesis: Indices
    bad: tuple[tuple[Row, float], ...]
    reversed_scales: dict[str, float]
    shift: Shift | None = None

    @property
    def block(self) -> Block:
        """The block as the setup states it."""
        return self.variants[0]

    @property
    def slopes(self) -> Array:
        """Slopes that each component believes, shape (C, F, A), mm per mm; NaN where to be learned."""
        return np.stack([v.slopes for v in self.variants])[self.variant]

    @property
    def worn_mm(self) -> Array:
        """Recession of the present edge since the log began, shape (C,), mm."""
        now = self.block.track.now
        return np.zeros(len(self.weights)) if now is None else self.recession.between(now.from_m, now.edge_m)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the terms."""
        return tuple(term.name for term in self.block.terms)

    @cached_property
    def mixed_mean(self) -> Array:
        """Mean of the terms over the mixture, shape (p,)."""
        mean: Array = self.weights @ self.mean
        return mean

    @cached_property
    def mixed_covariance(self) -> Array:
        """Covariance of the terms over the mixture, shape (p, p)."""
        away = self.mean - self.mixed_mean
        within = np.einsum("c,cpq->pq", self.weights, self.covariance)
        covariance: Array = within + np.einsum("c,cp,cq->pq", self.weights, away, away)
        return covariance

    def linear(self, functions: FeatureList) -> tuple[Array, Array]:
        """Return mean (C, q) and covariance (C, q, q) of q linear functions of the terms.

        Parameters
        ----------
        functions : callable from a Block to a list of q mappings of term name to factor
            Called once per variant, because a turned scale turns the features too.
        """
        L = np.stack([v.features_matrix(functions(v)) for v in self.variants])[self.variant]
        mean = np.einsum("cqp,cp->cq", L, self.mean)
        return mean, L @ self.covariance @ np.swapaxes(L, 1, 2)

    def one(self, function: FeatureList) -> Mixture:
        """Return the mixture of a single linear function of the terms."""
        mean, covariance = self.linear(function)
        return Mixture(self.weights, mean[:, 0], np.sqrt(np.maximum(covariance[:, 0, 0], 0.0)))

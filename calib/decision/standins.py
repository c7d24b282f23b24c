"""A few hypotheses that stand in for a whole mixture, so that the plan can be solved for each.

The components are grouped by scatter (three parts) and by the error of a move (two), each part of like
weight; a group is represented by the weighted means of its sds. Every component keeps its own mean and
variance; only the plan that it looks them up in is shared.

Symbols
-------
C components, H groups
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from calib.regression.prospect import Prospect

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

_SCATTER_PARTS = 3
_LANDING_PARTS = 2
_TINY = 1e-9
_WEAR_PARTS = 3
#: Courses of wear are hardly apart when they differ, along the batch, by less than so many sds of a cut.
_HARDLY_APART = 0.3


@dataclass(frozen=True, eq=False)
class StandIns:
    """Groups of components.

    Parameters
    ----------
    weights : ndarray of shape (C,)
    of : ndarray of shape (C,)
        Group of each component.
    members : tuple of ndarray
        Components of each group.
    """

    weights: Array
    of: Indices
    members: tuple[Indices, ...]

    def mean(self, values: Array) -> Array:
        """Return the weighted mean of values (C, ...) over each group, shape (H, ...)."""
        return np.stack([np.average(values[m], axis=0, weights=self.weights[m]) for m in self.members])


def stand_ins(weights: Array, scatter: Array, landing: Array | None) -> StandIns:
    """Group components by scatter and by the error of a move.

    Parameters
    ----------
    weights, scatter : ndarray of shape (C,), scatter in mm
    landing : ndarray of shape (C,), mm, or None when nothing can be moved
    """
    label = split(np.log(np.maximum(scatter, _TINY)), weights, _SCATTER_PARTS)
    if landing is not None:
        errors = np.log(np.maximum(landing, _TINY))
        for g in sorted(set(label.tolist())):
            members = np.flatnonzero(label == g)
            label[members] += 10 * split(errors[members], weights[members], _LANDING_PARTS)
    names, of = np.unique(label, return_inverse=True)
    return StandIns(weights, of, tuple(np.flatnonzero(of == g) for g in range(len(names))))


def alike(weights: Array, times: int) -> StandIns:
    """Return groups that each hold every component: one average shop, so many times."""
    whole = np.arange(len(weights))
    return StandIns(weights, np.zeros_like(whole), (whole,) * times)


def split(values: Array, weights: Array, parts: int) -> Indices:
    """Cut a weighted line of values into parts of like weight; equal values stay together.

    >>> split(np.array([1.0, 1.0, 2.0, 3.0]), np.full(4, 0.25), 2)
    array([0, 0, 1, 1])
    """
    _, inverse = np.unique(np.round(values, 9), return_inverse=True)
    share = np.bincount(inverse, weights=weights) / weights.sum()
    middle = np.cumsum(share) - 0.5 * share
    label = np.minimum((middle * parts).astype(np.intp), parts - 1)
    result: Indices = label[inverse]
    return result


def heaviest(future: Prospect, least_share: float) -> Prospect:
    """Drop the components whose weight is below this share of the heaviest one's."""
    keep = future.weights > least_share * future.weights.max()
    weights = future.weights[keep]
    return replace(
        future,
        weights=weights / weights.sum(),
        slopes=future.slopes[keep],
        mean=future.mean[keep],
        covariance=future.covariance[keep],
        cut_sd=future.cut_sd[keep],
        reading_sd=future.reading_sd[keep],
        move_sd=future.move_sd[keep],
        drift=future.drift[keep],
        hypothesis=future.hypothesis[keep],
        edge=replace(future.edge, recession=future.edge.recession.take(keep)),
    )


def lean(future: Prospect, pieces: int) -> Prospect:
    """Merge the courses of wear: into one where the batch is too short to tell them apart, else three."""
    away = future.drift - future.weights @ future.drift
    spread = np.sqrt(future.weights @ away**2) * pieces
    if np.all(spread < _HARDLY_APART * (future.weights @ future.cut_sd)):
        return merged_wear(future)
    return merged_wear(future, split(np.abs(future.drift).sum(axis=1), future.weights, _WEAR_PARTS))


def merged_wear(future: Prospect, part: Indices | int = 0) -> Prospect:
    """Return a future in which courses of wear that differ in nothing else are one normal component.

    What they disagree on goes into its covariance; its drift along the batch is their mean. The plan needs
    no more, and would take several times as long. With `part` (C,) only those of one part are merged.
    """
    label = future.hypothesis * _WEAR_PARTS + part
    _, first, of = np.unique(label, return_index=True, return_inverse=True)
    if len(first) == len(future.weights):
        return future
    weights: Array = np.bincount(of, weights=future.weights).astype(np.float64)
    share = future.weights / weights[of]

    def mean(values: Array) -> Array:
        total = np.zeros((len(first), *values.shape[1:]))
        np.add.at(total, of, share.reshape(-1, *[1] * (values.ndim - 1)) * values)
        return total

    middle = mean(future.mean)
    away = future.mean - middle[of]
    spread = mean(future.covariance + away[:, :, None] * away[:, None, :])
    return replace(
        future, weights=weights, slopes=future.slopes[first], mean=middle, covariance=spread,
        cut_sd=future.cut_sd[first], reading_sd=future.reading_sd[first], move_sd=future.move_sd[first],
        drift=mean(future.drift), hypothesis=future.hypothesis[first],
        edge=replace(future.edge, recession=future.edge.recession.take(first)),
    )  # fmt: skip

"""What is believed of the unknown scales: the grid of hypotheses and its prior weights.

Scatter and move error are both unknown and a few cuts cannot pin them down, so neither is ever
plugged in. Each is a lognormal factor on its median; the grid holds seven scatters and five move
errors, evenly spaced in the logarithm, weighted by the prior density. (Seven by five covers as a
finer grid does; a plug-in covers 82 % at a nominal 90 %, see tests/benchmarks.)

Wear has an axis of its own, see `recession`.

Symbols
-------
lambda factor on the scatter, tau factor on the error of a move
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.shop import Knowledge

Array = NDArray[np.float64]

SCATTER_NODES = 7
MOVE_NODES = 5
#: How far the nodes reach, in prior log-sds: far enough for a shop 2.5 times off the median and more.
SCATTER_REACH = 2.6
MOVE_REACH = 2.2
#: Prior probability that a scale counts the other way; only weighed once a move has been cut.
REVERSED_PROBABILITY = 0.01


@dataclass(frozen=True, eq=False)
class Axis:
    """Nodes of one unknown scale and their log prior weights (they sum to 1 when exponentiated)."""

    nodes: Array
    log_weight: Array


def known(value: float = 1.0) -> Axis:
    """Return an axis of a single node."""
    return Axis(np.array([value]), np.zeros(1))


def lognormal_axis(log_sd: float, nodes: int, reach: float, center: float = 0.0, narrow: float = 1.0) -> Axis:
    """Return nodes evenly spaced in the logarithm with lognormal prior weights (median 1).

    Parameters
    ----------
    center, narrow : float
        Centre (in log) and shrinkage of the nodes when the readings have already narrowed the scale
        down; the prior weights stay those of the prior.
    """
    logs = center + narrow * np.linspace(-reach, reach, nodes) * log_sd
    log_weight = -0.5 * (logs / log_sd) ** 2
    return Axis(np.exp(logs), log_weight - np.log(np.exp(log_weight).sum()))


def scatter_axis(knowledge: Knowledge, center: float = 0.0, narrow: float = 1.0) -> Axis:
    """Return the axis of the scatter's scale."""
    if knowledge.scales_known or knowledge.log_sd <= 0.0:
        return known()
    return lognormal_axis(knowledge.log_sd, SCATTER_NODES, SCATTER_REACH, center, narrow)


def move_axis(knowledge: Knowledge, move_sds_mm: list[float]) -> Axis:
    """Return the axis of the scale of the moves; one node when no adjuster of the block errs."""
    if knowledge.scales_known or knowledge.log_sd <= 0.0 or not any(sd > 0.0 for sd in move_sds_mm):
        return known()
    return lognormal_axis(knowledge.log_sd, MOVE_NODES, MOVE_REACH)

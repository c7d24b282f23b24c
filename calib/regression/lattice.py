"""Evenly spread points for integrals over several numbers: a lattice rule, the same points every time.

Source: rank-1 lattice of Korobov 1959 (M); the number of points and its generator were chosen here (D).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

POINTS = 2053
_GENERATOR = 571


def lattice(dimensions: int) -> NDArray[np.float64]:
    """Return POINTS points inside the unit cube, shape (POINTS, dimensions); none lies on its faces.

    >>> lattice(2).shape
    (2053, 2)
    """
    generator = np.array([pow(_GENERATOR, k, POINTS) for k in range(dimensions)])
    points: NDArray[np.float64] = (np.outer(np.arange(POINTS), generator) / POINTS + 0.5 / POINTS) % 1.0
    return points

"""A mixture of normal distributions: what every answer of the model is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib import normal

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Mixture:
    """A quantity as believed: C normal components.

    Parameters
    ----------
    weights : ndarray of shape (C,), sums to 1
    mean, sd : ndarray of shape (C,), in the quantity's unit
    """

    weights: Array
    mean: Array
    sd: Array

    @property
    def expected(self) -> float:
        """Mean of the mixture."""
        return float(self.weights @ self.mean)

    @property
    def u(self) -> float:
        """Standard uncertainty: the sd of the mixture."""
        away = self.mean - self.expected
        return float(np.sqrt(self.weights @ (self.sd**2 + away**2)))

    def cdf(self, value: float) -> float:
        """Return the probability of being below a value."""
        sd = np.maximum(self.sd, 1e-12)
        return float(self.weights @ normal.cdf((value - self.mean) / sd))

    def quantile(self, probability: float) -> float:
        """Return the value below which the quantity lies with this probability (bisection, 1e-12 of u)."""
        reach = 40.0 * np.maximum(self.sd, 1e-12)
        low, high = float(np.min(self.mean - reach)), float(np.max(self.mean + reach))
        tolerance = 1e-10 * (self.u + 1e-12)
        while high - low > tolerance:
            middle = 0.5 * (low + high)
            if middle in (low, high):
                break
            if self.cdf(middle) < probability:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)

    def interval(self, coverage: float) -> tuple[float, float]:
        """Return the equal-tailed interval of this coverage."""
        tail = 0.5 * (1.0 - coverage)
        return self.quantile(tail), self.quantile(1.0 - tail)

"""Convolution with Gaussians by FFT, many rows at once.

Symbols
-------
H hypotheses, S states, N grid points
"""

from __future__ import annotations

from copy import copy

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

#: Lengths of an FFT that have small factors only.
_FFT_LENGTHS = (256, 320, 384, 432, 512, 576, 640, 768, 900, 1024, 1280, 1536, 1800, 2048, 2560, 3072, 4096)
#: A Gaussian is cut off at this many sds.
_REACH = 4.5


class Blur:
    """Convolution of rows with Gaussians; beyond the grid the values go on flat.

    Parameters
    ----------
    spread : ndarray of shape (H, S)
        sds in grid points.
    points : int
    """

    def __init__(self, spread: Array, points: int) -> None:
        wanted = points + 2 * _REACH * float(spread.max())
        self.points = points
        self.length = next((n for n in _FFT_LENGTHS if n >= wanted), _FFT_LENGTHS[-1])
        frequency = 2.0 * np.pi * np.arange(self.length // 2 + 1) / self.length
        self.factors: Array = np.exp(-0.5 * (spread[:, :, None] * frequency) ** 2)

    def of(self, h: Indices) -> Blur:
        """Return the blur of some hypotheses alone."""
        part = copy(self)
        part.factors = self.factors[h]
        return part

    def apply(self, values: Array, states: slice) -> Array:
        """Convolve values (H, states, N), each with the Gaussian of its state."""
        pad = self.length - self.points
        padded = np.empty((*values.shape[:-1], self.length))
        padded[..., : self.points] = values
        padded[..., self.points : self.points + pad // 2] = values[..., -1:]
        padded[..., self.points + pad // 2 :] = values[..., :1]
        smooth = np.fft.irfft(np.fft.rfft(padded) * self.factors[:, states], n=self.length)
        result: Array = smooth[..., : self.points]
        return result

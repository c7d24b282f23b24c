"""How much a test will tell the maker who has only a hand, or a hand beside the gauge.

The plan weighs tests by the noise of their readings. Near the target a word is worth a reading of sd
1/sqrt(information), where the information of ordered words on a size c is

    I(c) = sum_k (dP_k / dc)^2 / P_k,   P_k = Phi((t_k - c) / w) - Phi((t_{k-1} - c) / w)

and information adds up. Far from the target the same word is heard again and again and
tells nothing: there another test without a move is worth less. What a test will be like is read off the last
one.

Source: Fisher's information of a multinomial; the words are those of McKelvey and Zavoina 1975 (M).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from calib.regression.feel import interval_moments
from calib.regression.prospect import Prospect
from calib.shop import Band, Cut, FeelScale, Setup

Array = NDArray[np.float64]

#: Measuring a cut once more, as a share of the minutes of a test cut (common practice, no source).
AGAIN_SHARE = 0.5
#: More readings of one cut than this are not asked for.
MOST_TIMES = 6


def word_sd_mm(scale: FeelScale, size_mm: float) -> float:
    """Return the sd of a measurement that tells as much of a size as a word does, mm; infinite for none.

    Examples
    --------
    >>> scale = FeelScale({"tight": (-math.inf, 0.0), "loose": (0.0, math.inf)}, 0.04)
    >>> round(word_sd_mm(scale, 0.0) / 0.04, 3)  # sqrt(pi / 2)
    1.253
    """
    ends = _ends(scale)
    size, variance = np.full(len(ends), size_mm), np.full(len(ends), max(scale.spread_mm, 1e-6) ** 2)
    found = interval_moments(size, variance, ends[:, 0], ends[:, 1])
    information = float(np.exp(found.log_probability) @ found.slope**2)
    return 1.0 / math.sqrt(information) if information > 0.0 else math.inf


def _ends(scale: FeelScale) -> Array:
    """Return the limits of the words, shape (K, 2), tight first: what words are called must not matter."""
    return np.array(sorted(map(scale.limits_of, scale.all_said())), dtype=float).reshape(-1, 2)


def blunter(scale: FeelScale, mean_mm: float, sd_mm: float, target_mm: float, cut_sd_mm: float) -> float:
    """Return how many times blunter the words are around a mean than around the target; 1 or more.

    Notes
    -----
    A word that is expected anyway ("rattles", far out) tells nothing. Of a belief N(m, v) a word leaves the
    variance v' = sum_k P_k var_k, as a reading of variance v v' / (v - v') would; the answer is the square
    root of that at the mean over that at the target.
    """
    v, noise = max(sd_mm, 1e-6) ** 2, scale.spread_mm**2 + cut_sd_mm**2
    ends = _ends(scale)

    def variance_like(at: float) -> float:
        there, wide = np.full(len(ends), at), np.full(len(ends), v + noise)
        found = interval_moments(there, wide, ends[:, 0], ends[:, 1])
        less = -(v**2) * float(np.exp(found.log_probability) @ found.curvature)
        return v * (v - less) / max(less, 1e-12 * v)

    return math.sqrt(max(variance_like(mean_mm) / variance_like(target_mm), 1.0))


def worth_measuring(cut_sd_mm: float, reading_sd_mm: float, again_share: float = AGAIN_SHARE) -> int:
    """Return how often a test cut is worth measuring before the next one is made.

    Parameters
    ----------
    cut_sd_mm, reading_sd_mm : float, mm
        How much cuts scatter, and readings of one cut.
    again_share : float
        Of the minutes of a test cut, what measuring once more costs.

    Notes
    -----
    What a minute tells is 1 / (price variance), with price 1 + (m - 1) again_share and variance
    cut^2 + reading^2 / m; the least m within a fiftieth of the best is taken.

    Examples
    --------
    >>> worth_measuring(0.02, 0.015), worth_measuring(0.01, 0.05)
    (1, 4)
    """
    m = np.arange(1, MOST_TIMES + 1)
    prices = (1.0 + (m - 1) * again_share) * (cut_sd_mm**2 + reading_sd_mm**2 / m)
    return int(m[np.argmax(prices <= 1.02 * prices.min())])


def last_sensed(rows: Sequence[Cut]) -> Cut | None:
    """Return the last cut on which anything was measured or felt."""
    return next((cut for cut in reversed(rows) if cut.readings or cut.feel), None)


def as_sensed(
    setup: Setup, rows: Sequence[Cut], futures: Sequence[Prospect]
) -> tuple[list[Prospect], list[Prospect] | None]:
    """Return the futures with the noise of the tests to come as the last one was sensed.

    Parameters
    ----------
    rows : sequence of Cut
    futures : sequence of Prospect
        Their `reading_sd` is that of the gauge.

    Returns
    -------
    list of Prospect
        For tests near the target.
    list of Prospect or None
        For another test where the machine stands, when only the hand tells; None: no different.
    """
    last = last_sensed(rows)
    band = setup.bands[0]
    if last is None or last.feel is None:
        return list(futures), None
    scale = setup.feel.of(last.by)
    word, measured = word_sd_mm(scale, band.target_mm), band.name in last.readings
    there = [_sensed(future, band.name, word, measured) for future in futures]
    if measured:
        return there, None
    blunt = [word * _blunter_here(future, band, scale) for future in futures]
    return there, [_sensed(future, band.name, sd, False) for future, sd in zip(futures, blunt, strict=True)]


def _blunter_here(future: Prospect, band: Band, scale: FeelScale) -> float:
    """Return how blunt the words are where the machine stands."""
    if band.name not in future.readings:
        return 1.0
    f, A = future.readings.index(band.name), len(future.adjusters)
    mean, covariance = future.after(np.zeros((1, A)), np.zeros((1, A), dtype=bool))
    at = float(future.weights @ mean[:, 0, f])
    spread = float(future.weights @ (covariance[:, 0, f, f] + (mean[:, 0, f] - at) ** 2))
    cut_sd = float(future.weights @ future.cut_sd[:, f])
    return blunter(scale, at, math.sqrt(spread), band.target_mm, cut_sd)


def _sensed(future: Prospect, reading: str, word_sd: float, measured: bool) -> Prospect:
    if reading not in future.readings or math.isinf(word_sd):
        return future
    f = future.readings.index(reading)
    sd = future.reading_sd.copy()
    both = 1.0 / np.sqrt(1.0 / word_sd**2 + 1.0 / np.maximum(sd[:, f], 1e-9) ** 2)
    sd[:, f] = both if measured else word_sd
    return replace(future, reading_sd=sd)

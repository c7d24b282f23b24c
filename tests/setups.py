"""Plain setups and logs for the tests of the posterior, and the referee that they share.

Unless a test says otherwise every scale is exactly known and nothing is a slip, so that there is one
hypothesis and one Gaussian answer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from calib.regression.mixture import Mixture
from calib.shop import Adjuster, Band, Cut, FeelScale, Joint, Knowledge, Setup

GAP = Band("gap", 0.0, -0.1, 0.1)
RISE = Band("rise", 0.5, 0.4, 0.6)
LEVER = Adjuster("lever", moves={"gap": -1.0})
CUT_SD, READING_SD, OFFSET_SD = 0.06, 0.03, 0.2
NOISE = CUT_SD**2 + READING_SD**2
EXACT = {
    "offset_sd_mm": OFFSET_SD, "move_sd_mm": 0.0, "cut_sd_mm": CUT_SD, "reading_sd_mm": READING_SD,
    "scale_sd": 0.0, "blunder_probability": 0.0, "scales_known": True,
}  # fmt: skip

#: Six cuts of one lever: where it stood and what the gap was (moved before cuts 2, 3, 5 and 6).
X = [0.0, 0.25, 0.22, 0.22, 0.31, 0.28]
Y = [0.30, -0.02, 0.09, 0.05, -0.03, 0.01]
MOVES_BEFORE = [0, 1, 2, 2, 3, 4]


def plain(
    *adjusters: Adjuster, bands: tuple[Band, ...] = (GAP,), feel: FeelScale | None = None, **known: Any
) -> Setup:
    """Return a plain setup: a lever that closes the gap one to one, unless told otherwise."""
    return Setup(
        "gaps", Joint("plain"), bands, adjusters or (LEVER,),
        knowledge=Knowledge(**{**EXACT, **known}), feel=feel or FeelScale(),
    )  # fmt: skip


def gap_log(settings: Sequence[float] = X, gaps: Sequence[float] = Y, **more: Any) -> list[Cut]:
    """Return one test cut for each setting of the lever and its gap."""
    pairs = zip(settings, gaps, strict=True)
    return [Cut(n, "test", {"lever": x}, {"gap": (y,)}, **more) for n, (x, y) in enumerate(pairs, 1)]


def standing_at(lever: float, **more: Any) -> Cut:
    """Return the row that says where the lever stands now: no piece, no reading."""
    return Cut(0, "test", {"lever": lever}, pieces=0, **more)


class Conditioned(NamedTuple):
    """A joint normal distribution of unknowns, given what was read."""

    mean: np.ndarray
    covariance: np.ndarray
    log_density: float


def condition_densely(H: Any, prior_sd: Any, noise: Any, y: Any) -> Conditioned:
    """Condition unknowns ~ N(0, prior_sd^2) on y = H unknowns + noise, by inverting the covariance of y.

    Textbook formula (D), the very thing that the program avoids; `noise` is a variance (mm^2).
    """
    H, y = np.asarray(H, dtype=float), np.asarray(y, dtype=float)
    prior = np.diag(np.asarray(prior_sd, dtype=float) ** 2)
    V = H @ prior @ H.T + np.asarray(noise) * np.eye(len(y))
    gain = prior @ H.T @ np.linalg.inv(V)
    spread = np.linalg.slogdet(V)[1] + len(y) * math.log(2 * math.pi)
    log_density = float(-0.5 * (spread + y @ np.linalg.solve(V, y)))
    return Conditioned(gain @ y, prior - gain @ H @ prior, log_density)


def of_sum(found: Conditioned, factors: Any, more_variance: float = 0.0) -> tuple[float, float]:
    """Return mean and sd of a weighted sum of the unknowns."""
    at = np.asarray(factors, dtype=float)
    return float(at @ found.mean), math.sqrt(float(at @ found.covariance @ at) + more_variance)


def assert_same(one: Mixture, other: Mixture, rtol: float = 1e-9) -> None:
    """Check that two mixtures have the same mean, uncertainty and 90 % interval."""
    np.testing.assert_allclose(
        [one.expected, one.u, *one.interval(0.9)],
        [other.expected, other.u, *other.interval(0.9)],
        rtol=rtol,
        atol=1e-9,  # of the bisection for the interval; a nanometre's thousandth
    )

"""Brute force for two readings that share test cuts, each with an adjuster of its own; everything known.

One dynamic program over both beliefs at once: values on a grid (P1, P2, z1, z2). A test cut blurs both
means, a move of either adjuster shifts its mean anywhere and adds its landing. Landing adds, positions
are continuous. The program plans each reading alone and lets them share the price of a test; this is
what that costs.

Symbols
-------
z mean and P variance of a level, q landing, s^2 noise, W value of cutting or testing, V of anything
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.decision.loss import BatchLoss
from calib.shop import Cut, Setup
from calib.simulate import Action

_TOLERANCE_MIN = 0.005
_MOST_SWEEPS = 80
_LOOKS = 25


@dataclass(frozen=True)
class _Side:
    """One reading with its adjuster."""

    reading: str
    adjuster: str
    slope: float
    target: float
    prior: float
    noise: float
    landing: float
    cut_variance: float
    price: BatchLoss
    grid: np.ndarray
    P: np.ndarray
    blur: np.ndarray  # (J, N, N)
    tested: tuple[np.ndarray, np.ndarray, np.ndarray]
    moved: tuple[np.ndarray, np.ndarray, np.ndarray]

    def loss(self, z: np.ndarray, P: np.ndarray) -> np.ndarray:
        return self.price.minutes(z, P + self.cut_variance)

    def place(self, P: float) -> tuple[int, float]:
        """Return the rung below a variance and the share of the one above (linear in the sd)."""
        low, _, share = _place(np.array([P]), self.P)
        return int(low[0]), float(share[0])


def _place(P: np.ndarray, rungs: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    sd, ladder = np.sqrt(P), np.sqrt(rungs)
    low = np.clip(np.searchsorted(ladder, sd) - 1, 0, len(ladder) - 2)
    share = np.clip((sd - ladder[low]) / (ladder[low + 1] - ladder[low]), 0.0, 1.0)
    return low, low + 1, share


def _blur(grid: np.ndarray, spread: float) -> np.ndarray:
    """Matrix of a Gaussian blur; beyond the grid the values go on flat."""
    h, N = grid[1] - grid[0], len(grid)
    reach = int(np.ceil(6.0 * spread / h)) + 1
    at = np.arange(-reach, N + reach)
    weight = np.exp(-0.5 * ((at[None, :] - np.arange(N)[:, None]) * h / spread) ** 2)
    weight /= weight.sum(axis=1, keepdims=True)
    inside = weight[:, reach : reach + N].copy()
    inside[:, 0] += weight[:, :reach].sum(axis=1)
    inside[:, -1] += weight[:, reach + N :].sum(axis=1)
    return inside


def _side(setup: Setup, f: int, points: int, rungs: int) -> _Side:
    band, known = setup.bands[f], setup.knowledge
    adjuster = next(a for a in setup.adjusters if float(a.moves[band.name]) != 0.0)
    slope = float(adjuster.moves[band.name])
    cut = known.scale(band.name, "cut_sd_mm") ** 2
    noise = cut + known.scale(band.name, "reading_sd_mm") ** 2
    landing = (slope * known.scale(adjuster.name, "move_sd_mm")) ** 2
    prior = known.scale(band.name, "offset_sd_mm") ** 2
    half = 0.5 * (band.high_mm - band.low_mm) + 4.0 * np.sqrt(cut) + 3.0 * np.sqrt(noise + landing)
    grid = 0.5 * (band.high_mm + band.low_mm) + np.linspace(-half, half, points)
    P = np.exp(np.linspace(np.log(noise / 30.0), np.log(1.05 * max(prior, 4 * (noise + landing))), rungs))
    after = P * noise / (P + noise)
    return _Side(
        band.name,
        adjuster.name,
        slope,
        band.target_mm,
        prior,
        noise,
        landing,
        cut,
        BatchLoss(band, setup.stakes.of(band.name), setup.pieces_left),
        grid,
        P,
        np.stack([_blur(grid, s) for s in np.sqrt(P - after)]),
        _place(after, P),
        _place(P + landing, P),
    )


class Joint:
    """The joint plan of a setup with two readings, as a rule."""

    def __init__(self, setup: Setup, points: int = 81, rungs: int = 20) -> None:
        self.setup = setup
        self.sides = [_side(setup, f, points, rungs) for f in range(2)]
        self.test_min, self.move_min = setup.stakes.test_cut_min, setup.stakes.move_min
        one, two = self.sides
        loss = (
            one.loss(one.grid, one.P[:, None])[:, None, :, None]
            + two.loss(two.grid, two.P[:, None])[None, :, None, :]
        )
        self.value, self.test = self._sweep(loss)

    def _sweep(self, loss: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        one, two = self.sides
        value, test = loss.copy(), loss
        for _ in range(_MOST_SWEEPS):
            ahead = _mix(_mix(value, one.tested, 0), two.tested, 1)
            blurred = one.blur[:, None] @ ahead @ np.swapaxes(two.blur, 1, 2)[None]
            test = self.test_min + blurred
            W = np.minimum(loss, test)
            first, second = W.min(axis=2, keepdims=True), W.min(axis=3, keepdims=True)
            both = first.min(axis=3, keepdims=True)
            new = np.minimum(W, self.move_min + _mix(first, one.moved, 0))
            np.minimum(new, self.move_min + _mix(second, two.moved, 1), out=new)
            np.minimum(new, 2 * self.move_min + _mix(_mix(both, one.moved, 0), two.moved, 1), out=new)
            change = float(np.max(np.abs(new - value)))
            value = new
            if change < _TOLERANCE_MIN:
                break
        return value, test

    def start_value(self) -> float:
        """Return the expected minutes of the whole dial-in, before any cut."""
        one, two = self.sides
        at = np.array([one.target]), np.array([two.target])
        return float(self._look(self.value, at, (one.prior, two.prior))[0, 0])

    def _look(
        self, table: np.ndarray, z: tuple[np.ndarray, np.ndarray], P: tuple[float, float]
    ) -> np.ndarray:
        """Interpolate in all four; return (len z1, len z2)."""
        (i, u), (j, v) = (side.place(p) for side, p in zip(self.sides, P, strict=True))
        slab = (1 - u) * ((1 - v) * table[i, j] + v * table[i, j + 1])
        slab = slab + u * ((1 - v) * table[i + 1, j] + v * table[i + 1, j + 1])
        for axis, (side, at) in enumerate(zip(self.sides, z, strict=True)):
            h = side.grid[1] - side.grid[0]
            place = np.clip((at - side.grid[0]) / h, 0.0, len(side.grid) - 1.000001)
            n = place.astype(int)
            share = np.expand_dims(place - n, 1 - axis)
            slab = (1 - share) * slab.take(n, axis=axis) + share * slab.take(n + 1, axis=axis)
        return slab

    def __call__(self, setup: Setup, cuts: Sequence[Cut]) -> Action:
        """Return the joint plan's next step."""
        beliefs = [_belief(side, cuts) for side in self.sides]
        options = []
        for moves in ((False, False), (True, False), (False, True), (True, True)):
            spots, variances = [], []
            for side, (z, P), moved in zip(self.sides, beliefs, moves, strict=True):
                width = side.price.band.high_mm - side.price.band.low_mm
                spots.append(side.target + np.linspace(-width, width, _LOOKS) / 2 if moved else np.array([z]))
                variances.append(P + side.landing * moved)
            price = self.move_min * sum(moves)
            cut = [
                side.loss(at, np.array(P)) for side, at, P in zip(self.sides, spots, variances, strict=True)
            ]
            for step, table in (
                ("cut", cut[0][:, None] + cut[1][None, :]),
                ("test", self._look(self.test, (spots[0], spots[1]), (variances[0], variances[1]))),
            ):
                i, j = np.unravel_index(int(np.argmin(table)), table.shape)
                options.append((float(table[i, j]) + price, step, moves, (spots[0][i], spots[1][j])))
        _, step, moves, to = min(options, key=lambda option: option[0])
        settings = dict(cuts[-1].settings_mm)
        for side, (z, _), moved, there in zip(self.sides, beliefs, moves, to, strict=True):
            if moved:
                settings[side.adjuster] += float(there - z) / side.slope
        name = {"cut": "cut_good", "test": "test_again"}
        if any(moves):
            name = {"cut": "move_and_cut_good", "test": "move_and_test"}
        return Action(name[step], settings)  # type: ignore[arg-type]


def _mix(table: np.ndarray, where: tuple[np.ndarray, np.ndarray, np.ndarray], axis: int) -> np.ndarray:
    low, high, share = where
    shape = [1] * table.ndim
    shape[axis] = len(share)
    u = share.reshape(shape)
    return (1 - u) * table.take(low, axis=axis) + u * table.take(high, axis=axis)


def _belief(side: _Side, cuts: Sequence[Cut]) -> tuple[float, float]:
    """Return mean and variance of the level where the machine stands (the first row was not cut)."""
    z, P, at = side.target, side.prior, cuts[0].settings_mm[side.adjuster]
    for cut in cuts:
        to = cut.settings_mm[side.adjuster]
        if abs(to - at) > 1e-9:
            z, P, at = z + side.slope * (to - at), P + side.landing, to
        if side.reading in cut.readings:
            gain = P / (P + side.noise)
            z, P = z + gain * (cut.readings[side.reading][0] - z), (1.0 - gain) * P  # type: ignore[operator]
    return z, P

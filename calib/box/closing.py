"""The chance that a box closes, holds its panel all round, and never pinches it over a season.

The idea: everything that is not known is one normal number each; fingers, grooves and panel are simple sums
of them. Questions about one direction of the panel are linear and answered by the normal law, the rest (two
settings, four corners at once, everything together) by seeded draws. The same draws serve every "what if",
so improvements are compared without noise of their own.

Symbols
-------
c  clearance of a corner;  dp  pitch of A less pitch of B;  N  slots a board;  I  inside;  d  groove depth
P  panel;  x  along the box's length, y along its width;  q  how far the panel is out of square, mm per mm

Play of a corner: c + |dp|/2 - (N - 1)|dp|, the mean clearance of both boards in c (`play_of_two_boards`).
Float: I + d1 + d2 - P - |q| P_other. Least hold: P - |q| P_other - I - (the deeper groove).
Assumed: rigid wood; errors normal and, but for what is named common, independent. How far the box itself
is out of square counts with the panel's: only their difference matters.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from calib import normal
from calib.errors import CalibError

Array = NDArray[np.float64]
DRAWS = 20_000
_CORNERS = 4


class Uncertain(NamedTuple):
    """A number with its standard uncertainty."""

    mean: float
    sd: float = 0.0


_NOTHING = Uncertain(0.0)
_SOME_PLAY = Uncertain(0.2)


@dataclass(frozen=True)
class BoxBelief:
    """What is believed of a box before it is glued; lengths mm.

    Parameters
    ----------
    clearance : Uncertain
        Mean pair clearance of a corner on the setting, common to the four corners.
    clearance_scatter : float
        sd from corner to corner.
    pitch_difference : Uncertain
        Of A and B boards: 0 when both are cut on one setting.
    pitch_with_clearance : float
        Correlation of that difference with the clearance, -1 to 1: one setup may be known less well.
    slots : int
    inside_x, inside_y : Uncertain
        Between inside faces along length and width.
    proud_error, proud_error_y : Uncertain
        Error of the finger depth; every mm takes 2 mm from an inside. `proud_error_y` None: one setting,
        one error both ways; else the first is that of the length, the second that of the width.
    depth : Uncertain
        Common groove depth.
    depth_scatter, setback_scatter : float
        sd from board to board.
    groove_play : Uncertain
        Groove width less panel thickness.
    panel_x, panel_y : Uncertain
        As made.
    panel_square : Uncertain
        Panel against box, out of square, mm per mm.
    coefficient_x, coefficient_y : float
        Change per size and 1 % moisture.
    up, down : Uncertain
        Rise to the wettest and fall to the driest moisture, both above 0, percentage points.
    least_hold : float
        What the panel must still be held by when it is pushed over on its driest day.
    deeper_by_most : float
        How much deeper the groove may be cut at most.
    """

    clearance: Uncertain
    inside_x: Uncertain
    inside_y: Uncertain
    depth: Uncertain
    panel_x: Uncertain
    panel_y: Uncertain
    groove_play: Uncertain = _SOME_PLAY
    slots: int = 8
    clearance_scatter: float = 0.0
    pitch_difference: Uncertain = _NOTHING
    pitch_with_clearance: float = 0.0
    proud_error: Uncertain = _NOTHING
    proud_error_y: Uncertain | None = None
    depth_scatter: float = 0.0
    setback_scatter: float = 0.0
    panel_square: Uncertain = _NOTHING
    coefficient_x: float = 0.0
    coefficient_y: float = 0.0
    up: Uncertain = _NOTHING
    down: Uncertain = _NOTHING
    least_hold: float = 1.0
    deeper_by_most: float = 0.5


@dataclass(frozen=True)
class Chance:
    """Probabilities over the draws, and the standard error of the joint one.

    Parameters
    ----------
    corners : float
        All four corners go together.
    fits : float
        The panel lets the corners close at the dry fit: room both ways, and grooves in line.
    held : float
        Held on all four sides on the driest day.
    free : float
        Never bottoms out, on the wettest day.
    closes : float
        All of them.
    """

    corners: float
    fits: float
    held: float
    free: float
    closes: float
    closes_u: float
    draws: int


@dataclass(frozen=True, eq=False)
class Draws:
    """Standard normal draws by name, shared by every question.

    Parameters
    ----------
    of : mapping of name to ndarray of shape (n,) or (4, n)
    """

    count: int
    of: Mapping[str, Array] = field(default_factory=lambda: MappingProxyType({}))


_SINGLE = ("clearance", "pitch_difference", "inside_x", "inside_y", "proud_error", "depth", "groove_play")
_SINGLE_TOO = ("panel_x", "panel_y", "panel_square", "up", "down")
_SECOND = ("proud_error_y",)
_FOURFOLD = ("clearance_scatter", "depth_scatter", "setback_scatter")


def draw(rng: np.random.Generator, count: int = DRAWS) -> Draws:
    """Return standard normal draws for every uncertain number of a box."""
    if count < 100:
        raise CalibError(f"{count} draws are too few to count on. Take 100 or more.")
    found = {name: rng.standard_normal(count) for name in (*_SINGLE, *_SINGLE_TOO)}
    found.update({name: rng.standard_normal((_CORNERS, count)) for name in _FOURFOLD})
    found.update({name: rng.standard_normal(count) for name in _SECOND})
    return Draws(count, MappingProxyType(found))


def closing_chance(belief: BoxBelief, draws: Draws) -> Chance:
    """Return the chance that the box closes, holds and stays free."""
    corners, fits, held, free = _events(belief, draws)
    every = corners & fits & held & free
    share = float(every.mean())
    return Chance(
        float(corners.mean()),
        float(fits.mean()),
        float(held.mean()),
        float(free.mean()),
        share,
        float(np.sqrt(share * (1.0 - share) / draws.count)),
        draws.count,
    )


def free_one_way(belief: BoxBelief, way: str) -> float:
    """Return the probability that the panel does not bottom out along x or y on the wettest day.

    Linear in every number but |q|: the normal law, averaged over q. P C up is taken to first order.
    """
    inside, panel, other, rate = _along(belief, way)
    grow = 1.0 + rate * belief.up.mean
    proud, _ = _proud(belief, way)
    mean = inside.mean - 2.0 * proud.mean + 2.0 * belief.depth.mean - panel.mean * grow
    sd = np.sqrt(
        inside.sd**2
        + (2.0 * proud.sd) ** 2
        + (2.0 * belief.depth.sd) ** 2
        + 2.0 * belief.depth_scatter**2
        + (panel.sd * grow) ** 2
        + (panel.mean * rate * belief.up.sd) ** 2
    )
    z = np.linspace(-8.0, 8.0, 1601)
    weights = normal.pdf(z) / normal.pdf(z).sum()
    lost = np.abs(belief.panel_square.mean + belief.panel_square.sd * z) * other.mean
    return float(weights @ normal.cdf((mean - lost) / max(float(sd), 1e-12)))


def corners_on_one_setting(belief: BoxBelief) -> float:
    """Return the probability that all four corners go together when A and B share one setting.

    The common clearance is averaged over: integral of Phi((c + z u)/scatter)^4 phi(z) dz.
    """
    if belief.pitch_difference != (0.0, 0.0):
        raise CalibError("corners cut on two settings have no closed form. Draw them.")
    z = np.linspace(-8.0, 8.0, 3201)
    weights = normal.pdf(z) / normal.pdf(z).sum()
    at = belief.clearance.mean + belief.clearance.sd * z
    return float(weights @ normal.cdf(at / max(belief.clearance_scatter, 1e-12)) ** _CORNERS)


def _events(belief: BoxBelief, draws: Draws) -> tuple[NDArray[np.bool_], ...]:
    """The four events, each of shape (n,)."""
    z = draws.of
    r = belief.pitch_with_clearance
    z_pitch = r * z["clearance"] + math.sqrt(1.0 - r**2) * z["pitch_difference"]
    dp = np.abs(_drawn(belief.pitch_difference, z_pitch))
    clearance = _drawn(belief.clearance, z["clearance"]) + belief.clearance_scatter * z["clearance_scatter"]
    corners = (clearance + dp * (0.5 - (belief.slots - 1))).min(axis=0) >= 0.0
    depths = _drawn(belief.depth, z["depth"]) + belief.depth_scatter * z["depth_scatter"]
    setbacks = belief.setback_scatter * z["setback_scatter"]
    fits = _drawn(belief.groove_play, z["groove_play"]) >= np.ptp(setbacks, axis=0)
    held, free = np.ones(draws.count, dtype=bool), np.ones(draws.count, dtype=bool)
    for way, pair in (("x", depths[:2]), ("y", depths[2:])):
        made, driest, wettest, inside = _panel(belief, draws, way)
        fits &= inside + pair.sum(axis=0) - made >= 0.0
        free &= inside + pair.sum(axis=0) - wettest >= 0.0
        held &= driest - inside - pair.max(axis=0) >= belief.least_hold
    return corners, fits, held, free


def _panel(belief: BoxBelief, draws: Draws, way: str) -> tuple[Array, Array, Array, Array]:
    """Room taken one way when made, on the driest and on the wettest day; the inside; each of shape (n,)."""
    z = draws.of
    inside, panel, other, rate = _along(belief, way)
    name = "xy"[way == "y"]
    made = _drawn(panel, z[f"panel_{name}"])
    lost = np.abs(_drawn(belief.panel_square, z["panel_square"])) * other.mean
    proud, its_draws = _proud(belief, way)
    within = _drawn(inside, z[f"inside_{name}"]) - 2.0 * _drawn(proud, z[its_draws])
    dry = made * (1.0 - rate * _drawn(belief.down, z["down"]))
    wet = made * (1.0 + rate * _drawn(belief.up, z["up"]))
    return made + lost, dry - lost, wet + lost, within


def _along(belief: BoxBelief, way: str) -> tuple[Uncertain, Uncertain, Uncertain, float]:
    if way == "x":
        return belief.inside_x, belief.panel_x, belief.panel_y, belief.coefficient_x
    return belief.inside_y, belief.panel_y, belief.panel_x, belief.coefficient_y


def _proud(belief: BoxBelief, way: str) -> tuple[Uncertain, str]:
    """Error of the fingers that set one inside, and the name of its draws."""
    if way == "y" and belief.proud_error_y is not None:
        return belief.proud_error_y, "proud_error_y"
    return belief.proud_error, "proud_error"


def _drawn(value: Uncertain, z: Array) -> Array:
    return value.mean + value.sd * z

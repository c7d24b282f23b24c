"""Finger joint cut on a keyed jig, slot after slot.

The idea: the last slot is dropped over the key, pushed to its seat, and the next one is cut. ::

      looking at the fence face, the board on its end; +x to the right
                key                    cutter
           |<--- k --->|<----- g ---->|<--- s --->|
      -----+===========+--------------+~~~~~~~~~~~+-----   base
          -k           0              g          g+s

Symbols
-------
g  gap, near face of the key to the near edge of the cutter
s  slot as cut;  k  key width, k <= s;  e = s - k  slack of the slot on the key
p  pitch;  f  finger;  c  pair clearance, slot less finger;  h  height of the cutter;  t  thickness
r  radial recession of the cutting edge

Seat AWAY: the board is pushed away from the cutter. Seat TOWARD: it is pushed toward it, and only the
first finger, cut from the board's edge, is g wide.

Signs: clearance and play above 0 are room. A gap that grows makes both smaller, one for one. *Clearance*
is what callipers read on a later pair, *play* what hand and side float tell: they differ by e on seat
TOWARD and are two readings.

Assumed: rigid wood; both boards on one seat; the cutter wears evenly along the engaged edge, not at its
end, so depth and proud do not follow recession. Not handled: seating left to chance, other than its spread.
All of it derived here and checked by cutting slot after slot in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal, NamedTuple

from calib.errors import CalibError
from calib.geometry.model import Known
from calib.shop import Joint

Seat = Literal["away", "toward"]
Holds = Literal["axis", "gap"]

ADJUSTERS = ("key", "height")

# A nominal width is only nominal, and runout cuts wider: a key a little above it may still enter.
_KEY_OVER_NOMINAL_MM = 0.5

_SLOPES: dict[str, dict[str, float]] = {
    "slot": {},
    "pitch": {"key": 1.0},
    "finger": {"key": 1.0},
    "clearance": {"key": -1.0},
    "play": {"key": -1.0},
    "proud": {"height": 1.0},
    "depth": {"height": 1.0},
}


class DepthFit(NamedTuple):
    """How far fingers stand proud, and the outer and inner size of the joined box side, mm."""

    proud_mm: float
    outer_mm: float
    inner_mm: float


def check_key(slot: float, key: float) -> float:
    """Return the slack e = s - k; raise `CalibError` when the key does not enter the slot.

    >>> round(check_key(9.60, 9.55), 3)
    0.05
    """
    if not 0.0 < key <= slot:
        raise CalibError(
            f"key {key:g} mm does not enter a slot of {slot:g} mm. Thin the key, or use a wider cutter."
        )
    return slot - key


def pitch(gap: float, slot: float, key: float, seat: Seat = "away") -> float:
    """Return the distance from slot to slot, mm: p = g + s (AWAY) or g + k (TOWARD)."""
    check_key(slot, key)
    return gap + (slot if seat == "away" else key)


def finger_width(gap: float, slot: float, key: float, seat: Seat = "away") -> float:
    """Return the width of a later finger, mm: f = g (AWAY) or g - e (TOWARD, where the first one is g)."""
    return pitch(gap, slot, key, seat) - slot


def pair_clearance(gap: float, slot: float, key: float, seat: Seat = "away") -> float:
    """Return slot less finger of a later pair, mm, as callipers read it; above 0 is room.

    c = s - g (AWAY) or 2s - g - k (TOWARD; there the first pair has s - g).

    >>> round(pair_clearance(9.45, 9.60, 9.55), 3), round(pair_clearance(9.45, 9.60, 9.55, "toward"), 3)
    (0.15, 0.2)
    """
    return slot - finger_width(gap, slot, key, seat)


def play(gap: float, slot: float) -> float:
    """Return the side float of the dry joint, mm, on either seat: s - g; below 0 it does not go together."""
    return slot - gap


def assembles(play_mm: float) -> bool:
    """Say whether rigid wood would go together: the play is not below 0."""
    return play_mm >= 0.0


def key_move(measured: float, target: float) -> float:
    """Return the correction of the gap for a measured clearance or play, mm.

    Parameters
    ----------
    measured, target : float, mm

    Returns
    -------
    float, mm
        dg = measured - target; above 0: move the key away from the cutter.

    Examples
    --------
    >>> round(key_move(-0.06, 0.10), 3)
    -0.16
    """
    return measured - target


def depth_fit(length: float, thickness: float, height: float) -> DepthFit:
    """Return proud h - t, and the outer L - 2(h - t) and inner L - 2h size of a seated board of length L, mm.

    >>> [round(mm, 3) for mm in depth_fit(250.0, 12.0, 12.4)]
    [0.4, 249.2, 225.2]
    """
    proud = height - thickness
    return DepthFit(proud, length - 2.0 * proud, length - 2.0 * height)


def recession_slopes(seat: Seat = "away", holds: Holds = "axis") -> Mapping[str, float]:
    """Return the change of every reading per mm of radial recession.

    Parameters
    ----------
    seat : {"away", "toward"}
    holds : {"axis", "gap"}
        What stays: the distance from key to cutter axis (key untouched; the slot narrows by 2r and the gap
        grows by r), or the gap (re-set with a block).

    Returns
    -------
    mapping of reading name to float, mm per mm

    Examples
    --------
    >>> recession_slopes("toward", "axis")["clearance"]
    -5.0
    """
    slot = -2.0
    gap = 1.0 if holds == "axis" else 0.0
    step = gap + (slot if seat == "away" else 0.0)
    return {
        "slot": slot,
        "pitch": step,
        "finger": step - slot,
        "clearance": 2.0 * slot - step,
        "play": slot - gap,
        "proud": 0.0,
        "depth": 0.0,
    }


def play_less_clearance(joint: Joint, cutter_mm: float) -> float:
    """Return what geometry tells of play less pair clearance, mm; NaN when it needs a size that is missing.

    0 on seat AWAY, -e on seat TOWARD, where later pairs have more room than the first.

    >>> round(play_less_clearance(Joint("finger", "toward", key_width_mm=5.95), 6.0), 3)
    -0.05
    """
    if joint.seat == "away":
        return 0.0
    return math.nan if joint.key_width_mm is None else joint.key_width_mm - cutter_mm


def known_readings(joint: Joint, cutter_mm: float, at: Mapping[str, float]) -> dict[str, Known]:
    """Return what geometry knows of each reading of a finger joint.

    Parameters
    ----------
    joint : Joint
    cutter_mm : float, mm
        Nominal width; NaN when it is not known.
    at : mapping of adjuster to mm
        Where the scales stand, NaN without a scale: ``key`` reads the gap to a cutter of nominal width,
        ``height`` the cutter above the base.

    Raises
    ------
    CalibError
        When the key is much wider than the cutter, which can only be a slip.
    """
    away = joint.seat == "away"
    key = math.nan if joint.key_width_mm is None else joint.key_width_mm
    thickness = math.nan if joint.thickness_mm is None else joint.thickness_mm
    if key > cutter_mm + _KEY_OVER_NOMINAL_MM:
        raise CalibError(
            f"joint: key_width {key:g} mm does not enter the slot of a {cutter_mm:g} mm cutter. Check both."
        )
    step = at["key"] + (cutter_mm if away else key)
    nominal = {
        "slot": cutter_mm,
        "pitch": step,
        "finger": step - cutter_mm if not away else at["key"],
        "clearance": 2.0 * cutter_mm - step,
        "play": cutter_mm - at["key"],
        "proud": at["height"] - thickness,
        "depth": at["height"],
    }
    wear = recession_slopes(joint.seat, joint.holds)
    return {name: Known(mm, _SLOPES[name], wear[name]) for name, mm in nominal.items()}

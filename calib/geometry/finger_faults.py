"""Finger joint: what a bad seat, chance and lean do to it.

Symbols and signs as in `calib.geometry.finger`; q thickness of a chip, N steps along the board,
sigma sd of one step.
"""

from __future__ import annotations

import math

from calib.geometry.finger import Seat, check_key, finger_width, pair_clearance, play


def chipped_seat(
    gap: float, slot: float, key: float, chip: float, seat: Seat = "away"
) -> tuple[float, float]:
    """Return that finger's width and the joint's play when a chip lay under one seat.

    Parameters
    ----------
    gap, slot, key, chip : float, mm
        `chip` is q, the thickness of what lay between slot wall and key.

    Returns
    -------
    finger, play : float, mm
        AWAY: the finger is q narrower and play is s - g - q. TOWARD: the finger is q wider and play is
        the least of s - g and 2s - g - k - q.

    Examples
    --------
    >>> [round(mm, 3) for mm in chipped_seat(9.45, 9.60, 9.55, 0.08)]
    [9.37, 0.07]
    """
    finger = finger_width(gap, slot, key, seat)
    if seat == "away":
        return finger - chip, play(gap, slot) - chip
    return finger + chip, min(play(gap, slot), pair_clearance(gap, slot, key, seat) - chip)


def seating_sd(sd_per_step: float, steps: int) -> float:
    """Return the sd, mm, of one board against the other at step N: sigma sqrt(2 N), both seated at random.

    >>> round(seating_sd(0.015, 10), 4)
    0.0671
    """
    return sd_per_step * math.sqrt(2.0 * steps)


def seat_left_to_chance(slot: float, key: float) -> float:
    """Return the sd of a seat left to chance, mm per step: e / sqrt(12), pitch anywhere in g + k .. g + s."""
    return check_key(slot, key) / math.sqrt(12.0)


def play_when_leaning(
    play_mm: float, thickness_a: float, thickness_b: float, lean_a_deg: float, lean_b_deg: float
) -> float:
    """Return what is left of the play when boards leaned in the fence plane while they were cut.

    Parameters
    ----------
    play_mm, thickness_a, thickness_b : float, mm
    lean_a_deg, lean_b_deg : float, degrees
        Out of vertical, either way.

    Returns
    -------
    float, mm
        play - t_B tan|a_A| - t_A tan|a_B|.

    Examples
    --------
    >>> round(play_when_leaning(0.15, 12.0, 12.0, 0.25, 0.25), 4)
    0.0453
    """
    lost_a = thickness_b * math.tan(math.radians(abs(lean_a_deg)))
    lost_b = thickness_a * math.tan(math.radians(abs(lean_b_deg)))
    return play_mm - lost_a - lost_b

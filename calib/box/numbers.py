"""What a box is planned from: the numbers of corners, groove and panel, each with its uncertainty.

The idea: everything that the shop believes comes in here; nothing asks where it is from.

Symbols: s  slot;  p  pitch;  c  clearance;  c = 2 s - p (seat AWAY).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from calib.box.boards import Sizes
from calib.box.closing import Uncertain
from calib.box.panel import USUAL_SLACK_MM, Season


@dataclass(frozen=True)
class CornerNumbers:
    """One setup that cuts corners, as its log knows it; mm.

    Parameters
    ----------
    slot, clearance, proud : Uncertain
    proud_wanted : float
        The allowance that board lengths are cut for.
    clearance_scatter : float
        sd from corner to corner.
    pitch : Uncertain or None
        As read; None = 2 s - c.
    cutter : str
        Its name: two setups with one cutter share its width.
    """

    slot: Uncertain
    clearance: Uncertain
    proud: Uncertain
    proud_wanted: float
    clearance_scatter: float = 0.02
    pitch: Uncertain | None = None
    cutter: str = ""

    @property
    def pitch_as_cut(self) -> Uncertain:
        """From slot to slot.

        >>> some = Uncertain(0.1, 0.05)
        >>> CornerNumbers(Uncertain(6.0, 0.02), Uncertain(0.07, 0.03), some, 0.1).pitch_as_cut
        Uncertain(mean=11.93, sd=0.05)
        """
        if self.pitch is not None:
            return self.pitch
        return Uncertain(
            2.0 * self.slot.mean - self.clearance.mean, math.hypot(2.0 * self.slot.sd, self.clearance.sd)
        )


@dataclass(frozen=True)
class GivenPanel:
    """A panel that is there already, mm: along the box, across it, and the standard uncertainty of both."""

    along_mm: float
    across_mm: float
    u_mm: float = 0.05


@dataclass(frozen=True)
class BoxNumbers:
    """What a box is planned from; lengths mm.

    Parameters
    ----------
    corner : CornerNumbers
    second : CornerNumbers or None
        Of the setup that cuts the B boards, when they have one of their own.
    depth, setback, groove : Uncertain
        As cut; `groove` is its width.
    depth_scatter, setback_scatter : float
        sd from piece to piece.
    panel_thickness : Uncertain
    coefficient : float
        Of the panel across its grain, per 1 % of moisture; along it 0. Of a sheet: both ways.
    sheet : bool
    slack : float
        Play to leave across each direction on the wettest day.
    given_panel : GivenPanel or None
        None: the panel is still to be made.
    sides_coefficient : float
        Of the sides across their grain; 0 = not asked.
    lid_height : float or None
        None: the box is not sawn open.
    """

    sizes: Sizes
    thickness_a: float
    thickness_b: float
    corner: CornerNumbers
    depth: Uncertain
    setback: Uncertain
    groove: Uncertain
    panel_thickness: Uncertain
    season: Season
    second: CornerNumbers | None = None
    depth_scatter: float = 0.02
    setback_scatter: float = 0.02
    coefficient: float = 0.0
    sheet: bool = True
    slack: float = USUAL_SLACK_MM
    given_panel: GivenPanel | None = None
    sides_coefficient: float = 0.0
    lid_height: float | None = None
    kerf: float = 1.0

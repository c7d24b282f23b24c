"""Inlays: what the log knows of the gap goes into what to type in for pocket and insert."""

from __future__ import annotations

from dataclasses import dataclass

from calib.box.closing import Uncertain
from calib.box.inlay import USUAL_ALLOWANCE_MM, InlayNumbers, InlayPlan, plan_inlay
from calib.decision.cautions import cautions_for_kinds
from calib.errors import CalibError
from calib.geometry.inlay import ADJUSTERS, ALIASES, Recut
from calib.shop import Setup
from calib.workflow.boxsources import Source, source
from calib.workflow.shopfloor import Shop

#: Of the gap when nothing was cut: cutters are seldom what their label says; common practice, no source.
UNREAD_GAP_U_MM = 0.1
#: Wanted when nobody says: two good glue lines (G. Wengert, trade column), and what will do, total gap in mm.
USUAL_GAP_MM, USUAL_BAND_MM = 0.16, (0.10, 0.26)
_READINGS = ("gap", "gap_x", "gap_y")


@dataclass(frozen=True)
class InlayQuestion:
    """What the maker says of an inlay; lengths mm, None = from the setup or as usual.

    Parameters
    ----------
    length, width, depth : float
        Of the pocket, as drawn.
    cutter : float or None
        Nominal diameter, when no setup is named.
    gap : float or None
        Total gap wanted: both glue lines.
    """

    length: float
    width: float
    depth: float = 3.0
    setup: str | None = None
    cutter: float | None = None
    corner: float = 0.0
    gap: float | None = None
    allowance: float = USUAL_ALLOWANCE_MM
    recut: Recut | None = None


@dataclass(frozen=True)
class PlannedInlay:
    """The plan of an inlay, where its numbers come from, which are assumptions, and the cautions."""

    plan: InlayPlan
    known: tuple[str, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]


def plan(shop: Shop | None, asked: InlayQuestion) -> PlannedInlay:
    """Return what to type in for both parts; `shop` None when no setup is named."""
    found = source(shop, asked.setup, "inlay")
    numbers = _numbers(asked, found)
    return PlannedInlay(
        plan_inlay(numbers), tuple(found.known), tuple(found.assumed), cautions_for_kinds(("inlay",))
    )


def _numbers(asked: InlayQuestion, found: Source) -> InlayNumbers:
    setup = found.setup
    typed, step = _typed(asked, found)
    reading = _reading(setup)
    gap = None if reading is None else found.logged(reading)
    drawn = 0.0 if setup is None else setup.joint.drawn_gap_mm
    target, (low, high) = USUAL_GAP_MM, USUAL_BAND_MM
    if setup is not None and reading is not None:
        band = setup.band(reading)
        target, low, high = band.target_mm, band.low_mm, band.high_mm
    else:
        found.assumed.append(f"gap wanted {target:.2f} mm, {low:.2f} to {high:.2f} mm will do")
    if gap is None:
        gap = Uncertain(drawn, UNREAD_GAP_U_MM)
        found.assumed.append(
            f"the cutter cuts the {typed:.3f} mm that are typed in, which gives a gap of {drawn:.3f} mm, "
            f"u {gap.sd:.3f} mm: cut a small pocket and insert first"
        )
    return InlayNumbers(
        length=asked.length,
        width=asked.width,
        depth=asked.depth,
        typed=typed,
        gap=gap,
        target=target if asked.gap is None else asked.gap,
        low=low if asked.gap is None else min(low, asked.gap),
        high=high if asked.gap is None else max(high, asked.gap),
        drawn_gap=drawn,
        corner=asked.corner,
        recut=asked.recut or ("both" if setup is None else setup.joint.recut),
        least_step=step,
        scatter=0.02 if reading is None else found.scatter(reading),
        allowance=asked.allowance,
    )


def _typed(asked: InlayQuestion, found: Source) -> tuple[float, float]:
    """Return the diameter that is typed in now, and the least step of it."""
    if found.setup is None:
        if asked.cutter is None:
            raise CalibError("inlay: which cutter? Give --setup, or --cutter with its nominal diameter.")
        return asked.cutter, 0.0
    adjuster = next(
        (a for a in found.setup.adjusters if a.name in (*ADJUSTERS, *ALIASES)), found.setup.adjusters[0]
    )
    if found.log:
        return found.log[-1].settings_mm[adjuster.name], adjuster.least_step_mm
    nominal = asked.cutter or found.setup.cutter.nominal_mm
    if nominal is None:
        raise CalibError(
            f"inlay: it is not known what is typed in on {found.setup.name}. Give --cutter with its nominal "
            "diameter."
        )
    return nominal, adjuster.least_step_mm


def _reading(setup: Setup | None) -> str | None:
    """Return the reading that is the gap of a setup."""
    names = [] if setup is None else [band.name for band in setup.bands]
    return next((name for name in _READINGS if name in names), None)

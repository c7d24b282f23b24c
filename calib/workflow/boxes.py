"""Boxes: what the setups of the shop know goes into the plan of a box; what they do not know is said."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from calib.box.boards import sizes_from
from calib.box.closing import Uncertain
from calib.box.panel import USUAL_SLACK_MM, Season
from calib.box.plan import BoxNumbers, BoxPlan, plan_box
from calib.errors import CalibError
from calib.regression import Posterior, posterior
from calib.regression.learn import through
from calib.shop import Cut, Setup
from calib.store.database import snapshot
from calib.wood import coefficients, equilibrium_moisture
from calib.workflow.setups import bench_of
from calib.workflow.shopfloor import Shop

SEED = 1
#: Sheets: in-plane movement per 1 % of moisture (MDF: industry data sheet; plywood is taken not to move).
_SHEETS = {"plywood": 0.0, "mdf": 0.0005}
#: Sheets run under their nominal thickness, mm; common practice, no source.
_UNDER_NOMINAL_MM = 0.2


@dataclass(frozen=True)
class BoxQuestion:
    """What the maker says of a box; lengths mm.

    Parameters
    ----------
    corners, groove : str or None
        Setups; None = nominal numbers.
    panel : str
        plywood, mdf, or a species for a solid panel.
    panel_measured : bool
        False: the thickness is nominal.
    humidity : (driest, made at, wettest), percent relative
    """

    length: float
    width: float
    height: float
    thickness: float
    given: Literal["outside", "inside"] = "outside"
    end_thickness: float | None = None
    corners: str | None = None
    groove: str | None = None
    cutter: float | None = None
    panel: str = "plywood"
    panel_thickness: float = 6.0
    panel_measured: bool = False
    setback: float | None = None
    depth: float | None = None
    slack: float = USUAL_SLACK_MM
    temperature_c: float = 20.0
    humidity: tuple[float, float, float] = (35.0, 45.0, 60.0)
    lid_height: float | None = None
    kerf: float = 1.0


@dataclass(frozen=True)
class PlannedBox:
    """The plan of a box, where its numbers come from, and which of them are assumptions."""

    plan: BoxPlan
    known: tuple[str, ...]
    assumptions: tuple[str, ...]


def _believed(setup: Setup, log: list[Cut]) -> Posterior:
    """Return the belief in a setup as it stands, what its earlier mountings taught included."""
    carried, rows = through(setup, log)
    return posterior(setup, rows, carried)


class _Source:
    """A setup's readings, or nominal numbers; keeps account of which was which."""

    def __init__(self, name: str | None, setup: Setup | None, log: list[Cut]) -> None:
        self.name, self.setup, self.log = name, setup, log
        self.known: list[str] = []
        self.assumed: list[str] = []
        self._posterior = _believed(setup, log) if setup is not None and log else None

    def reading(self, name: str, nominal: float, u: float) -> Uncertain:
        """Return what is believed of a reading: the log's posterior, else the band's target, else nominal."""
        band = next((b for b in self.setup.bands if b.name == name), None) if self.setup else None
        first = self.setup.bands[0].name if self.setup else None
        told = [c for c in self.log if c.readings.get(name) or (c.feel and name == first)]
        if band is not None and self._posterior is not None and told:
            size = self._posterior.size(name)
            self.known.append(
                f"{name} {size.expected:.3f} mm, u {size.u:.3f} mm, from {len(told)} cuts of {self.name}"
            )
            return Uncertain(size.expected, size.u)
        if band is not None:
            nominal, u = band.target_mm, (band.high_mm - band.low_mm) / 4.0
        self.assumed.append(f"{name} {nominal:.3f} mm, u {u:.3f} mm")
        return Uncertain(nominal, u)

    def scatter(self, name: str) -> float:
        """Return the sd from cut to cut."""
        return 0.02 if self.setup is None else self.setup.knowledge.scale(name, "cut_sd_mm")

    def cutter(self, given: float | None, what: str) -> Uncertain:
        """Return the width that the cutter cuts."""
        own = None if self.setup is None else self.setup.cutter.nominal_mm
        width = given or own or 6.0
        self.assumed.append(f"{what} {width:.3f} mm, the cutter's nominal width")
        return Uncertain(width, 0.02)


def plan(shop: Shop | None, asked: BoxQuestion) -> PlannedBox:
    """Return the plan of a box; `shop` None when no setup is named."""
    corners = _source(shop, asked.corners, "finger")
    groove = _source(shop, asked.groove, "groove")
    numbers = _numbers(asked, corners, groove)
    sources = (*corners.assumed, *groove.assumed, *_of_panel(asked))
    made = plan_box(numbers, np.random.default_rng(SEED))
    return PlannedBox(made, (*corners.known, *groove.known), sources)


def needs_shop(asked: BoxQuestion) -> bool:
    """Say whether a setup of the store is named."""
    return asked.corners is not None or asked.groove is not None


def _source(shop: Shop | None, name: str | None, kind: str) -> _Source:
    if shop is None or name is None:
        return _Source(None, None, [])
    with snapshot(shop.connection):
        bench = bench_of(shop.connection, name)
    if bench.setup.joint.kind != kind:
        raise CalibError(f"setup {name} is for a {bench.setup.joint.kind} joint, not a {kind} joint. Name "
                         "another.")
    if bench.setup.joint.seat == "toward" and kind == "finger":
        raise CalibError(f"setup {name} seats toward the cutter: boxes are laid out for seat away only, so "
                         "far.")
    cuts, changed = _as_last_cut(bench.log)
    found = _Source(name, bench.setup, cuts)
    if changed:
        found.assumed.append(f"{name} comes back to where it last cut; it was mounted or sharpened since")
    return found


def _as_last_cut(log: list[Cut]) -> tuple[list[Cut], bool]:
    """Leave out that the setup stands on another mounting or edge now: it is set before good stock is cut."""
    made = [cut for cut in log if cut.pieces]
    if not made or log[-1].pieces:
        return log, False
    changed = (made[-1].mounting, made[-1].sharpening) != (log[-1].mounting, log[-1].sharpening)
    return (log[:-1], True) if changed else (log, False)


def _numbers(asked: BoxQuestion, corners: _Source, groove: _Source) -> BoxNumbers:
    ends = asked.end_thickness or asked.thickness
    proud = corners.reading("proud", 0.1, 0.05)
    bands = {b.name: b for b in corners.setup.bands} if corners.setup else {}
    fit = "play" if "play" in bands and "clearance" not in bands else "clearance"
    coefficient = _SHEETS.get(asked.panel)
    under = 0.0 if asked.panel_measured or coefficient is None else _UNDER_NOMINAL_MM
    return BoxNumbers(
        sizes=sizes_from(asked.length, asked.width, asked.height, asked.thickness, ends, asked.given),
        thickness_a=asked.thickness,
        thickness_b=ends,
        slot=corners.cutter(asked.cutter, "slot"),
        clearance=corners.reading(fit, 0.07, 0.03),
        clearance_scatter=corners.scatter(fit),
        proud=proud,
        proud_wanted=bands["proud"].target_mm if "proud" in bands else 0.1,
        depth=_given(asked.depth) or groove.reading("depth", asked.thickness / 2.0, 0.1),
        depth_scatter=groove.scatter("depth"),
        setback=_given(asked.setback) or groove.reading("setback", 5.0, 0.1),
        setback_scatter=groove.scatter("setback"),
        groove=groove.cutter(asked.cutter if groove.setup is None else None, "groove width"),
        panel_thickness=Uncertain(asked.panel_thickness - under, 0.03 if asked.panel_measured else 0.08),
        season=_season(asked),
        coefficient=coefficients(asked.panel).tangential if coefficient is None else coefficient,
        sheet=coefficient is not None,
        slack=asked.slack,
        lid_height=asked.lid_height,
        kerf=asked.kerf,
    )


def _given(value: float | None) -> Uncertain | None:
    """A number of the maker's own, as well as a depth blade tells it."""
    return None if value is None else Uncertain(value, 0.05)


def _season(asked: BoxQuestion) -> Season:
    dry, made, wet = (equilibrium_moisture(asked.temperature_c, humidity) for humidity in asked.humidity)
    return Season(made, dry, wet)


def _of_panel(asked: BoxQuestion) -> list[str]:
    """What is taken for granted of panel, bench and place."""
    said = ["boards sawn to 0.1 mm, panel to 0.2 mm and square to 0.5 mm per metre (standard uncertainties)"]
    low, made, high = asked.humidity
    said.append(
        f"air of {low:g} to {high:g} % at {asked.temperature_c:g} °C, panel made at {made:g} %, moisture "
        "known to 1 %"
    )
    if asked.panel in _SHEETS and not asked.panel_measured:
        said.append(
            f"{asked.panel} {_UNDER_NOMINAL_MM:g} mm under its nominal {asked.panel_thickness:g} mm: "
            "measure it"
        )
    if asked.panel == "plywood":
        said.append("plywood does not move with the season")
    if asked.panel not in _SHEETS:
        said.append(f"panel flat-sawn {asked.panel}, grain along the box")
    return said

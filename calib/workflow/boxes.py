"""Boxes: what the setups of the shop know goes into the plan of a box; what they do not know is said."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

import numpy as np

from calib.box.boards import sizes_from
from calib.box.closing import Uncertain
from calib.box.numbers import BoxNumbers, GivenPanel
from calib.box.panel import USUAL_SLACK_MM, Season
from calib.box.plan import BoxPlan, plan_box
from calib.decision.advice import Step
from calib.decision.cautions import cautions_for_kinds
from calib.errors import CalibError
from calib.shop import JointKind
from calib.wood import LINEAR_RANGE, coefficients, equilibrium_moisture
from calib.workflow.boxsources import SAID_U_MM, Source, source
from calib.workflow.next import model
from calib.workflow.shopfloor import Shop

SEED = 1
#: Sheets: in-plane movement per 1 % of moisture (MDF: industry data sheet; plywood is taken not to move).
_SHEETS = {"plywood": 0.0, "mdf": 0.0005}
#: Sheets run under their nominal thickness, mm; common practice, no source.
_UNDER_NOMINAL_MM = 0.2
#: Scrap for test cuts: pitches wide, mm long so that hands stay clear, pieces when nothing is known of the
#: setup, and to spare; common practice, no source.
_SCRAP_PITCHES, _SCRAP_LENGTH_MM, _SCRAP_UNKNOWN, _SCRAP_SPARE = 5, 200.0, 3, 1


@dataclass(frozen=True)
class BoxQuestion:
    """What the maker says of a box; lengths mm.

    Parameters
    ----------
    corners, corners_b, groove, inlay : str or None
        Setups; None = nominal numbers. `corners_b` cuts the B boards when they have one of their own.
    cutter : float or None
        Width of a slot of the corners, if measured.
    panel : str
        plywood, mdf, or a species for a solid panel.
    panel_measured : bool
        False: the thickness is nominal.
    panel_size : (along, across) or None
        Of a panel that is there already.
    coefficient : float or None
        Change of the panel across its grain per 1 % of moisture, for a wood that the table does not have.
    sides : str or None
        Species of the sides, to see them through the season.
    humidity : (driest, made at, wettest), percent relative
    copies : int
        How many such boxes.
    """

    length: float
    width: float
    height: float
    thickness: float
    given: Literal["outside", "inside"] = "outside"
    end_thickness: float | None = None
    corners: str | None = None
    corners_b: str | None = None
    groove: str | None = None
    inlay: str | None = None
    cutter: float | None = None
    groove_cutter: float | None = None
    panel: str = "plywood"
    panel_thickness: float = 6.0
    panel_measured: bool = False
    panel_size: tuple[float, float] | None = None
    coefficient: float | None = None
    sides: str | None = None
    setback: float | None = None
    depth: float | None = None
    slack: float = USUAL_SLACK_MM
    temperature_c: float = 20.0
    humidity: tuple[float, float, float] = (35.0, 45.0, 60.0)
    lid_height: float | None = None
    kerf: float = 1.0
    copies: int = 1

    @property
    def setups(self) -> tuple[str, ...]:
        """The setups that are named."""
        named = (self.corners, self.corners_b, self.groove, self.inlay)
        return tuple(dict.fromkeys(name for name in named if name is not None))


class Scrap(NamedTuple):
    """Scrap to prepare for one joint; lengths mm, `tests` and `step` None when no setup is named."""

    part: str
    setup: str | None
    tests: float | None
    step: Step | None
    pieces: int
    thickness_mm: float
    width_mm: float
    length_mm: float


@dataclass(frozen=True)
class PlannedBox:
    """The plan of a box, where its numbers come from, and which of them are assumptions.

    Parameters
    ----------
    question : BoxQuestion
    numbers : BoxNumbers
        From which the plan can be made again.
    scrap : tuple of Scrap
    cautions : tuple of str
    """

    plan: BoxPlan
    known: tuple[str, ...]
    assumptions: tuple[str, ...]
    question: BoxQuestion
    numbers: BoxNumbers
    scrap: tuple[Scrap, ...] = ()
    cautions: tuple[str, ...] = field(default=())


def plan(shop: Shop | None, asked: BoxQuestion) -> PlannedBox:
    """Return the plan of a box; `shop` None when no setup is named."""
    if asked.copies < 1:
        raise CalibError(f"box: {asked.copies} boxes cannot be planned. Give 1 or more.")
    if asked.corners_b is not None and asked.corners is None:
        raise CalibError("box: a setup for the B boards needs one for the A boards. Give --corners too.")
    corners = source(shop, asked.corners, "finger")
    second = source(shop, asked.corners_b, "finger") if _two_setups(asked) else None
    groove = source(shop, asked.groove, "groove")
    source(shop, asked.inlay, "inlay")
    numbers = _numbers(asked, corners, second, groove)
    sources = [one for one in (corners, second, groove) if one is not None]
    return PlannedBox(
        plan=remade(numbers),
        known=tuple(line for one in sources for line in one.known),
        assumptions=(*(line for one in sources for line in one.assumed), *_of_panel(asked)),
        question=asked,
        numbers=numbers,
        scrap=_scrap(asked, corners, second, groove, numbers),
        cautions=cautions_for_kinds(kinds_of(asked)),
    )


def remade(numbers: BoxNumbers) -> BoxPlan:
    """Return the plan that belongs to some numbers: always the same one."""
    return plan_box(numbers, np.random.default_rng(SEED))


def needs_shop(asked: BoxQuestion) -> bool:
    """Say whether a setup of the store is named."""
    return bool(asked.setups)


def _two_setups(asked: BoxQuestion) -> bool:
    return asked.corners_b is not None and asked.corners_b != asked.corners


def kinds_of(asked: BoxQuestion) -> tuple[JointKind, ...]:
    """Return the kinds of joint that a box takes."""
    return ("finger", "groove") if asked.inlay is None else ("finger", "groove", "inlay")


def _numbers(asked: BoxQuestion, corners: Source, second: Source | None, groove: Source) -> BoxNumbers:
    ends = asked.end_thickness or asked.thickness
    coefficient = _SHEETS.get(asked.panel)
    under = 0.0 if asked.panel_measured or coefficient is None else _UNDER_NOMINAL_MM
    return BoxNumbers(
        sizes=sizes_from(asked.length, asked.width, asked.height, asked.thickness, ends, asked.given),
        thickness_a=asked.thickness,
        thickness_b=ends,
        corner=corners.corner(asked.cutter),
        second=None if second is None else second.corner(None),
        depth=_given(asked.depth) or groove.reading("depth", asked.thickness / 2.0, 0.1),
        depth_scatter=groove.scatter("depth"),
        setback=_given(asked.setback) or groove.reading("setback", 5.0, 0.1),
        setback_scatter=groove.scatter("setback"),
        groove=groove.width(_groove_cutter(asked, groove), "groove width", "width"),
        panel_thickness=Uncertain(asked.panel_thickness - under, 0.03 if asked.panel_measured else 0.08),
        season=_season(asked),
        coefficient=_coefficient(asked) if coefficient is None else coefficient,
        sheet=coefficient is not None,
        slack=asked.slack,
        given_panel=None if asked.panel_size is None else GivenPanel(*asked.panel_size),
        sides_coefficient=0.0 if asked.sides is None else coefficients(asked.sides).tangential,
        lid_height=asked.lid_height,
        kerf=asked.kerf,
    )


def _groove_cutter(asked: BoxQuestion, groove: Source) -> float | None:
    """A width that was given for the groove; without a groove setup, that of the only cutter there is."""
    return asked.groove_cutter or (asked.cutter if groove.setup is None else None)


def _coefficient(asked: BoxQuestion) -> float:
    """Of a solid panel across its grain: given, or that of the species, flat-sawn."""
    return coefficients(asked.panel).tangential if asked.coefficient is None else asked.coefficient


def _given(value: float | None) -> Uncertain | None:
    """A number of the maker's own, as well as a depth blade tells it."""
    return None if value is None else Uncertain(value, SAID_U_MM)


def _season(asked: BoxQuestion) -> Season:
    dry, made, wet = (equilibrium_moisture(asked.temperature_c, humidity) for humidity in asked.humidity)
    low, high = LINEAR_RANGE
    if _moves(asked) and not (low <= dry and wet <= high):
        raise CalibError(
            f"air of {asked.humidity[0]:g} to {asked.humidity[2]:g} % brings wood to {dry:.1f} to "
            f"{wet:.1f} % moisture: how it moves is known from {low:g} to {high:g} %. Narrow the range."
        )
    return Season(made, dry, wet)


def _moves(asked: BoxQuestion) -> bool:
    """Say whether anything of the box moves with the season."""
    return asked.sides is not None or _SHEETS.get(asked.panel, 1.0) > 0.0


def _of_panel(asked: BoxQuestion) -> list[str]:
    """What is taken for granted of panel, bench and place."""
    panel = "panel measured to 0.05 mm" if asked.panel_size else "panel cut to 0.2 mm"
    said = [f"boards sawn to 0.1 mm, {panel} and square to 0.5 mm per metre (standard uncertainties)"]
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
    if asked.panel not in _SHEETS and asked.coefficient is None:
        said.append(f"panel flat-sawn {asked.panel}, grain along the box")
    elif asked.panel not in _SHEETS:
        said.append(f"panel {asked.panel}, {asked.coefficient:g} per 1 % as given, grain along the box")
    if asked.sides is not None:
        said.append(f"sides flat-sawn {asked.sides}, their length does not change")
    return said


def _scrap(
    asked: BoxQuestion, corners: Source, second: Source | None, groove: Source, numbers: BoxNumbers
) -> tuple[Scrap, ...]:
    """Return the scrap to prepare for the test cuts that each setup still asks for."""
    ends = asked.end_thickness or asked.thickness
    thick = max(asked.thickness, ends)
    wide = min(numbers.sizes.height_mm, _SCRAP_PITCHES * numbers.corner.pitch_as_cut.mean)
    if second is None:
        joints = [("corners", corners, 8, thick, wide)]
    else:
        joints = [
            ("corners of A", corners, 4, asked.thickness, wide),
            ("corners of B", second, 4, ends, wide),
        ]
    joints.append(("grooves", groove, 4, thick, numbers.sizes.height_mm))
    return tuple(_scrap_of(asked.copies, *joint) for joint in joints)


def _scrap_of(copies: int, part: str, one: Source, pieces: int, thick: float, wide: float) -> Scrap:
    tests, step = None, None
    if one.setup is not None:
        advice = model()[0](one.setup, one.log, pieces_left=pieces * copies)
        tests, step = float(advice.tests_expected), advice.step
    boards = (_SCRAP_UNKNOWN if tests is None else math.ceil(tests - 1e-9)) + _SCRAP_SPARE
    return Scrap(part, one.name, tests, step, boards, thick, wide, _SCRAP_LENGTH_MM)

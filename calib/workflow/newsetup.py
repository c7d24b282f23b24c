"""A new setup from five answers: joint, stock thickness, cutter, the fit that is wanted, what is at stake.

Everything else gets a default that can be changed later (`calib setup change`). The words for a fit
and for the stakes are starting points. Unless a line says otherwise they are common practice in the
trade, no source: makers differ, and a setup's own bands and minutes take their place at once.

The answers become the TOML form of a log, so that one reader checks all setups alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from calib.errors import UsageError, near_name
from calib.shop import JOINT_KINDS, JointKind, Setup

Target = tuple[float, float, float]  # low, target, high, mm

#: Total clearance per finger, hardwood, 6-10 mm fingers. Common practice, no source.
FINGER_FITS: dict[str, Target] = {
    "mallet": (-0.10, -0.06, -0.03),
    "firm": (-0.03, 0.0, 0.03),
    "hand": (0.03, 0.07, 0.10),
    "easy": (0.10, 0.15, 0.20),
}
#: Total gap around an insert, both sides together. "hand" is 0.05-0.13 mm a side, which Wengert gives
#: as a good glue line (S: G. Wengert, trade column); the others are common practice, no source.
INLAY_FITS: dict[str, Target] = {
    "firm": (0.0, 0.05, 0.10),
    "hand": (0.10, 0.16, 0.26),
    "easy": (0.20, 0.28, 0.36),
}
#: Half width of the band around the wanted depth and place of a groove (and of a plain cut).
#: Common practice, no source.
PLACE_FITS: dict[str, float] = {"firm": 0.10, "hand": 0.15, "easy": 0.30}

_FIT_WORDS = {
    "hand-push": "hand",
    "push": "hand",
    "handpush": "hand",
    "drop-in": "hand",
    "tap": "firm",
    "palm": "firm",
    "tight": "firm",
    "close": "firm",
    "loose": "easy",
    "slides": "easy",
    "slide": "easy",
    "press": "mallet",
}

#: Minutes that a spoiled good piece costs. Common practice, no source: change them to your own.
STAKES: dict[str, float] = {"scrap": 3.0, "ordinary": 20.0, "irreplaceable": 120.0}
_STAKE_WORDS = {
    "cant-be-replaced": "irreplaceable",
    "can't be replaced": "irreplaceable",
    "cannot be replaced": "irreplaceable",
    "irreplacable": "irreplaceable",
    "normal": "ordinary",
}
#: A tight joint can often be pared: the share of a spoiled piece that it costs. Common practice, no source.
_PARED = 0.4

#: What is called what when the maker gives no name.
DEFAULT_NAMES: dict[JointKind, str] = {
    "finger": "corners",
    "groove": "groove",
    "inlay": "inlay",
    "plain": "plain-cut",
}


@dataclass(frozen=True)
class Answers:
    """The five answers.

    Parameters
    ----------
    joint : {"finger", "groove", "inlay", "plain"}
    thickness_mm : float, mm
        Of the stock.
    cutter_width_mm : float, mm
        Nominal.
    fit : str
        firm, hand, easy; for fingers mallet too.
    stake : str
        scrap, ordinary, irreplaceable.
    name, cutter : str or None
        None = named after the joint, and after the width.
    units : {"mm", "in"}
        What the setup's log counts in from then on.
    """

    joint: JointKind
    thickness_mm: float
    cutter_width_mm: float
    fit: str = "hand"
    stake: str = "ordinary"
    name: str | None = None
    cutter: str | None = None
    units: Literal["mm", "in"] = "mm"


#: Good pieces of one box: four corners of two board ends, four grooved sides. Changed like all else.
ONE_BOX: Mapping[JointKind, int] = {"finger": 8, "groove": 4, "inlay": 1, "plain": 1}


def fits_of(joint: str) -> tuple[str, ...]:
    """Return the words for a fit of a kind of joint."""
    table: Mapping[str, Any] = {"finger": FINGER_FITS, "inlay": INLAY_FITS}.get(joint, PLACE_FITS)
    return tuple(table)


def joint_word(text: str) -> JointKind:
    """Return the kind of joint meant; raise `UsageError` with the choices when there is none.

    >>> joint_word("Finger joint")
    'finger'
    """
    words = text.strip().lower().split()
    for kind in JOINT_KINDS:
        if words and words[0].rstrip("s") == kind:
            return kind
    raise UsageError(_not_known("joint", text, JOINT_KINDS))


def fit_word(text: str, joint: str) -> str:
    """Return the fit meant by a word, for a kind of joint.

    >>> fit_word("hand-push", "finger")
    'hand'
    """
    word = text.strip().lower()
    meant = _FIT_WORDS.get(word, word)
    if meant not in fits_of(joint):
        raise UsageError(_not_known(f"fit for a {joint} joint", text, fits_of(joint)))
    return meant


def stake_word(text: str) -> str:
    """Return the stake meant by a word."""
    word = text.strip().lower()
    meant = _STAKE_WORDS.get(word, word)
    if meant not in STAKES:
        raise UsageError(_not_known("stake", text, tuple(STAKES)))
    return meant


def new_setup(answers: Answers) -> Setup:
    """Make a setup from five answers.

    Raises
    ------
    CalibError
        A word that is not known, or a thickness or width that cannot be.
    """
    from calib.setupform import setup_from_dict

    return replace(setup_from_dict(_form(answers), source="setup add"), units=answers.units)


def _form(answers: Answers) -> dict[str, Any]:
    """Return the answers in the TOML form of a log, lengths in mm."""
    joint = answers.joint
    form: dict[str, Any] = {
        "schema": "calib.log/1",
        "name": answers.name or DEFAULT_NAMES[joint],
        "units": "mm",
        "pieces_left": ONE_BOX[joint],
        "joint": {"kind": joint},
        "cutter": {
            "name": answers.cutter or f"cutter-{answers.cutter_width_mm:g}",
            "nominal": answers.cutter_width_mm,
        },
        "stakes": {},
    }
    if joint in ("finger", "groove"):
        form["joint"]["thickness"] = answers.thickness_mm
    form["readings"], form["adjusters"] = _readings(answers), _adjusters(joint)
    minutes = STAKES[stake_word(answers.stake)]
    for name in form["readings"]:
        tight = _PARED if name in ("clearance", "gap") else 1.0
        form["stakes"][name] = {"too_high": minutes, "too_low": round(minutes * tight, 1)}
    return form


def _readings(answers: Answers) -> dict[str, dict[str, float]]:
    """Return the bands of a joint for a fit."""
    fit = fit_word(answers.fit, answers.joint)
    if answers.joint == "finger":
        return {"clearance": _band(*FINGER_FITS[fit])}
    if answers.joint == "inlay":
        return {"gap": _band(*INLAY_FITS[fit])}
    half, depth = PLACE_FITS[fit], 0.5 * answers.thickness_mm  # half the stock: common practice, no source
    bands = {"depth": _band(depth - half, depth, depth + half)}
    if answers.joint == "groove":  # a groove one stock thickness in from the edge: common practice, no source
        setback = answers.thickness_mm
        bands["setback"] = _band(setback - half, setback, setback + half)
    return bands


def _adjusters(joint: JointKind) -> dict[str, dict[str, Any]]:
    """Return what is moved for a joint."""
    if joint == "finger":
        return {"key": {"least_step": 0.02}}
    if joint == "inlay":
        return {"diameter": {"least_step": 0.01, "landing": "renews"}}
    height = {"height": {"least_step": 0.02}}
    if joint == "groove":
        return {**height, "fence": {"least_step": 0.05}}
    return {"height": {"least_step": 0.02, "moves": {"depth": 1.0}}}


def _band(low: float, target: float, high: float) -> dict[str, float]:
    """Return a band in the TOML form."""
    return {"target": round(target, 6), "low": round(low, 6), "high": round(high, 6)}


def _not_known(what: str, text: str, choices: tuple[str, ...]) -> str:
    """Say that a word is not one of the choices."""
    near = near_name(text.strip().lower(), choices)
    hint = f'Did you mean "{near}"? ' if near else ""
    return f'there is no {what} "{text}". {hint}Choose one of: {", ".join(choices)}.'

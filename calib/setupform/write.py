"""From a `Setup` to its form. Everything is written out, so that a later default changes nothing;
only what is not known (None) and the open end of a range are left out.
"""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

from calib.setupform.beliefs import KNOWLEDGE_LENGTHS
from calib.setupform.lengths import Units, length_out
from calib.setupform.read import SCHEMA
from calib.shop import Adjuster, Band, Cutter, FeelScale, Joint, Knowledge, Setup, Stakes

Form = dict[str, Any]


def setup_to_dict(setup: Setup) -> Form:
    """Return a setup's form, in its own unit; `setup_from_dict` gives back an equal setup.

    >>> from calib.setupform import setup_from_dict
    >>> from calib.shop import Adjuster, Band, Joint
    >>> setup = Setup("chest", Joint("finger"), (Band("clearance", 0.07, 0.03, 0.12),), (Adjuster("key"),))
    >>> setup_to_dict(setup)["readings"]
    {'clearance': {'target': 0.07, 'low': 0.03, 'high': 0.12}}
    >>> setup_from_dict(setup_to_dict(setup)) == setup
    True
    """
    units = setup.units
    form: Form = {
        "schema": SCHEMA,
        "name": setup.name,
        "units": units,
        "pieces_left": setup.pieces_left,
        "metres_per_piece": setup.metres_per_piece_m,
        "stock": setup.stock,
        "stocks": _stocks(setup, units),
        "joint": _joint(setup.joint, units),
        "cutter": _cutter(setup.cutter, units),
        "readings": {band.name: _band(band, setup.knowledge, units) for band in setup.bands},
        "adjusters": {a.name: _adjuster(a, setup.knowledge, units) for a in setup.adjusters},
        "stakes": stakes_to_dict(setup.stakes),
        "knowledge": knowledge_to_dict(setup.knowledge, units),
        "feel": _feel(setup.feel, units),
        "abrasive": dict(setup.abrasive) or None,
    }
    return _known(form)


def stakes_to_dict(stakes: Stakes) -> Form:
    """Return the [stakes] table, minutes."""
    regrind = {"regrind": stakes.regrind_min} if stakes.regrind_min != Stakes().regrind_min else {}
    return {
        "test_cut": stakes.test_cut_min,
        "move": stakes.move_min,
        **regrind,
        "too_high": stakes.default.too_high_min,
        "too_low": stakes.default.too_low_min,
        **{
            name: {"too_high": own.too_high_min, "too_low": own.too_low_min}
            for name, own in stakes.readings.items()
        },
    }


def knowledge_to_dict(knowledge: Knowledge, units: Units = "mm") -> Form:
    """Return the [knowledge] table; what is believed of one reading stands in that reading's table."""
    lengths = {key: _out(getattr(knowledge, field), units) for key, field in KNOWLEDGE_LENGTHS.items()}
    return _known(
        {
            **lengths,
            "scale_sd": knowledge.scale_sd,
            "blunder_probability": knowledge.blunder_probability,
            "log_sd": knowledge.log_sd,
            "scales_known": knowledge.scales_known,
        }
    )


def _joint(joint: Joint, units: Units) -> Form:
    """Return the [joint] table; what another kind of joint would need is left out when it is untouched."""
    own = {"finger": ("seat", "holds"), "groove": ("passes",), "inlay": ("recut", "drawn_gap")}
    keep = {"kind", *own.get(joint.kind, ())}
    untouched = Joint(joint.kind)
    form: Form = {}
    for item in fields(joint):
        value, key = getattr(joint, item.name), item.name.removesuffix("_mm")
        if key in keep or value != getattr(untouched, item.name):
            form[key] = _out(value, units) if item.name.endswith("_mm") else value
    return form


def _stocks(setup: Setup, units: Units) -> Form | None:
    own = {stock: {"thickness": _out(mm, units)} for stock, mm in setup.thicknesses_mm.items()}
    return own or None


def _cutter(cutter: Cutter, units: Units) -> Form:
    return _known(
        {
            "name": cutter.name,
            "nominal": _out(cutter.nominal_mm, units),
            "metres_since_sharp": cutter.metres_since_sharp_m,
            "measured": _out(cutter.measured_mm, units),
        }
    )


def _band(band: Band, knowledge: Knowledge, units: Units) -> Form:
    return {
        "target": _out(band.target_mm, units),
        "low": _out(band.low_mm, units),
        "high": _out(band.high_mm, units),
        **({} if band.gauge is None else {"gauge": band.gauge}),
        **_own_scales(band.name, knowledge, units),
    }


def _adjuster(adjuster: Adjuster, knowledge: Knowledge, units: Units) -> Form:
    return _known(
        {
            "least_step": _out(adjuster.least_step_mm, units),
            "backlash": _out(adjuster.backlash_mm, units),
            "landing": adjuster.landing,
            "low": None if math.isinf(adjuster.low_mm) else _out(adjuster.low_mm, units),
            "high": None if math.isinf(adjuster.high_mm) else _out(adjuster.high_mm, units),
            "thread": adjuster.thread,
            "scale": adjuster.has_scale,
            "counts": "other way" if adjuster.counts_other_way else None,
            "typed": adjuster.typed,
            "moves": dict(adjuster.moves) or None,
            "approach": adjuster.approach,
            "shims": [_out(mm, units) for mm in adjuster.shims_mm] or None,
            "lever": adjuster.lever,
            "mark": _out(adjuster.mark_mm, units) if adjuster.mark_mm else None,
            **_own_scales(adjuster.name, knowledge, units),
        }
    )


def _own_scales(name: str, knowledge: Knowledge, units: Units) -> Form:
    own = knowledge.of.get(name)
    if own is None:
        return {}
    form: Form = {}
    for item in fields(own):
        value = getattr(own, item.name)
        if value is not None:
            in_mm = item.name.endswith("_mm")
            form[item.name.removesuffix("_mm")] = _out(value, units) if in_mm else value
    return form


def _feel(feel: FeelScale, units: Units) -> Form:
    words = {word: [_out(low, units), _out(high, units)] for word, (low, high) in feel.words.items()}
    return {"spread": _out(feel.spread_mm, units), "words": words}


def _out(mm: float | None, units: Units) -> float | str | None:
    return None if mm is None else length_out(mm, units)


def _known(form: Form) -> Form:
    """Leave out what is not known."""
    return {key: value for key, value in form.items() if value is not None}

"""A seeded simulated shop: any setup, a truth inside or outside what is believed, a maker with a rule.

The truth is stated here on its own, not through the regression's columns, so that it can referee them.

Public: `draw_truth`, `Truth`, `SimulatedShop`, `dial_in`, `Outcome`, and the rules of `rules`.
"""

from __future__ import annotations

from calib.simulate.dialin import Outcome, dial_in
from calib.simulate.rules import RULES, Action, Rule
from calib.simulate.shop import SimulatedShop
from calib.simulate.truth import Truth, draw_truth

__all__ = ["RULES", "Action", "Outcome", "Rule", "SimulatedShop", "Truth", "dial_in", "draw_truth"]

"""Slots and fingers as a maker types them after three cuts, and the slips in them; simulated, with seeds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from statistics import median

import numpy as np

from calib.decision.rawslips import RawSet, RawSlip, likely_raw_slip
from calib.decision.slips import FAR
from calib.regression import posterior
from calib.regression.mixture import Mixture
from calib.shop import Adjuster, Band, Cut, Cutter, Joint, Setup
from calib.simulate import SimulatedShop, draw_truth

FACTORS = {"slot": 1.0, "finger": -1.0}
SEED = 20250623
Sizes = dict[str, tuple[float, ...]]


@dataclass(frozen=True)
class Typed:
    """One fourth cut: what was predicted, what slot and finger really read, and what they usually read."""

    predicted: Mixture
    good: Sizes
    usual: Mapping[str, float]
    luck: np.random.Generator

    def asked(self, typed: Sizes) -> RawSlip | None:
        """Return what the program would ask about."""
        sets = {name: RawSet(typed[name], FACTORS[name], 0, self.usual[name]) for name in FACTORS}
        return likely_raw_slip("clearance", sets, self.predicted)

    def far(self, typed: Sizes) -> bool:
        """Say whether a slip moves the reading by more than six predictive sds."""
        moved = _clearance(typed) - _clearance(self.good)
        return abs(moved) > FAR * self.predicted.u


def fourth_cut(number: int, target: float = 0.07, repeats: int = 1, **truth: float) -> Typed:
    """Return a fourth cut near its target, after three whose slot and finger were typed to 0.01 mm."""
    band = Band("clearance", target, target - 0.04, target + 0.05)
    setup = Setup("corners", Joint("finger"), (band,), (Adjuster("key"),), Cutter("spiral-6", 6.0))
    rng = np.random.default_rng([SEED, number, round(1000 * (1.0 + target))])
    shop = SimulatedShop(setup, draw_truth(setup, rng, **truth), rng)
    at, cuts, sizes = {"key": 0.0}, [], []
    for _ in range(4):
        cut = shop.cut(at)
        reading = cut.readings["clearance"][0]
        sizes.append(_sizes(reading, repeats, rng))
        cuts.append(Cut(len(cuts) + 1, "test", at, {"clearance": (_clearance(sizes[-1]),)}))
        if len(cuts) == 1:
            at = {"key": round(reading - target, 2)}
    there = Cut(0, "test", at, pieces=0)
    usual = {name: median(value for one in sizes[:3] for value in one[name]) for name in FACTORS}
    predicted = posterior(setup, [*cuts[:3], there]).next_reading("clearance")
    return Typed(predicted, sizes[3], usual, rng)


def _sizes(clearance: float, repeats: int, rng: np.random.Generator) -> Sizes:
    """Return a slot and a finger with this difference, as a display shows them."""
    finger = 6.0 + 0.06 * rng.standard_normal()
    wobble = 0.01 * rng.standard_normal((2, repeats)) * (repeats > 1)
    return {
        "slot": tuple(round(finger + clearance + one, 2) for one in wobble[0]),
        "finger": tuple(round(finger + one, 2) for one in wobble[1]),
    }


def _clearance(sizes: Sizes) -> float:
    return sum(sizes["slot"]) / len(sizes["slot"]) - sum(sizes["finger"]) / len(sizes["finger"])


def _one(change: Callable[[float, np.random.Generator], float]) -> Callable[..., Sizes]:
    """Return a slip in one value of the slot or of the finger."""

    def typed(good: Sizes, rng: np.random.Generator) -> Sizes:
        name = str(rng.choice(list(FACTORS)))
        place = int(rng.integers(len(good[name])))
        values = [change(mm, rng) if i == place else mm for i, mm in enumerate(good[name])]
        return {**good, name: tuple(values)}

    return typed


#: What is typed instead of what was read, by the slip. Inches are typed to a thousandth and to half of one.
SLIPS: Mapping[str, Callable[[Sizes, np.random.Generator], Sizes]] = {
    "the decimal point": _one(lambda mm, rng: round(mm * float(rng.choice([0.1, 10.0, 100.0])), 4)),
    "inches typed for mm": _one(lambda mm, _: round(2000.0 * mm / 25.4) / 2000.0),
    "slot and finger swapped": lambda good, _: {"slot": good["finger"], "finger": good["slot"]},
}


def put_right(case: Typed, kind: str, slip: RawSlip | None) -> bool:
    """Say whether the right slip was named and what was read comes back, to the rounding of inches."""
    if slip is None or slip.kind != kind:
        return False
    atol = 0.0131 if kind == "inches typed for mm" else 1e-6  # half of 1/2000 in is 0.0064 mm
    meant = {**case.good, **slip.meant}
    return all(np.allclose(meant[name], case.good[name], rtol=0.0, atol=atol) for name in FACTORS)

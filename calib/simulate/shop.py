"""The simulated machine: it is moved, it cuts, and what is cut can be measured.

Every kind of chance has a stream of its own (cuts, measurements, moves, good pieces), so that two
makers in the same shop meet the same wood: their n-th cut has the same scatter and their n-th move
lands with the same error, whatever else they did.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from numpy.random import Generator

from calib.geometry import describe
from calib.normal import cdf
from calib.regression.footing import start_setting
from calib.shop import Cut, Setup
from calib.simulate.hand import Hand
from calib.simulate.truth import Truth

_SAME_PLACE_MM = 1e-9


@dataclass
class _Spindle:
    """One adjuster: where its scale stands, where it really is, and the error of its landings."""

    scale_mm: float
    real_mm: float
    landed_mm: float = 0.0


class SimulatedShop:
    """One setup on the machine.

    Parameters
    ----------
    setup : Setup
    truth : Truth
    rng : numpy Generator
    display_mm : float, mm
        Step of the gauge's display; 0 = readings are not rounded.
    hand : Hand or None
        Who feels the first reading of every cut; None: nobody does.
    measures : bool
        False: there is no gauge in the shop, only the hand.
    start_mm : mapping of adjuster to mm, optional
        Where the scales stand first, without error; the truth's offset still belongs to the setup's own
        first setting.
    """

    def __init__(
        self,
        setup: Setup,
        truth: Truth,
        rng: Generator,
        *,
        display_mm: float = 0.0,
        hand: Hand | None = None,
        measures: bool = True,
        start_mm: Mapping[str, float] | None = None,
    ) -> None:
        self.setup, self.truth, self.display_mm = setup, truth, display_mm
        self.hand, self.measures = hand, measures
        self._of_cuts, self._of_readings, self._of_moves, self._of_pieces, self._of_words = rng.spawn(5)
        origin = {a.name: start_setting(setup, a.name) for a in setup.adjusters}
        self.start = {**origin, **(start_mm or {})}
        self._model = describe(setup, origin)
        self._spindles = {
            a.name: _Spindle(self.start[a.name], self.start[a.name] - a.backlash_mm) for a in setup.adjusters
        }
        self._begin = {a.name: origin[a.name] - a.backlash_mm for a in setup.adjusters}
        self.cuts: list[Cut] = []
        self.moves = 0
        self._last_sizes: dict[str, float] = {}
        self._pieces = self._since_move = 0
        self._metres = 0.0

    def twin(self) -> SimulatedShop:
        """Return a shop in the same state with the same luck still to come."""
        other = copy.copy(self)
        streams = self._of_cuts, self._of_readings, self._of_moves, self._of_pieces
        other._of_cuts, other._of_readings, other._of_moves, other._of_pieces = copy.deepcopy(streams)
        other._of_words = copy.deepcopy(self._of_words)
        other._spindles = {name: replace(spindle) for name, spindle in self._spindles.items()}
        other.cuts, other._last_sizes = list(self.cuts), dict(self._last_sizes)
        return other

    def slope(self, reading: str, adjuster: str) -> float:
        """Return the true slope, scale error left out, mm per mm."""
        known = self._model.slopes[reading][adjuster]
        return self.truth.slopes[reading, adjuster] if known is None else known

    def move_to(self, settings_mm: Mapping[str, float]) -> int:
        """Move every adjuster whose setting changes; return how many were moved."""
        moved = 0
        for adjuster in self.setup.adjusters:
            spindle, to = self._spindles[adjuster.name], settings_mm[adjuster.name]
            if abs(to - spindle.scale_mm) <= _SAME_PLACE_MM:
                continue
            moved += 1
            error = self.truth.move_sd_mm[adjuster.name] * float(self._of_moves.standard_normal())
            spindle.landed_mm = error if adjuster.landing == "renews" else spindle.landed_mm + error
            if self.truth.backlash_ignored:
                spindle.real_mm = min(max(spindle.real_mm, to - adjuster.backlash_mm), to)
            else:
                spindle.real_mm += to - spindle.scale_mm
            spindle.scale_mm = to
        self.moves += moved
        if moved:
            self._since_move = 0
        return moved

    def level(self, reading: str, ahead: int = 0) -> float:
        """Return the true size, scatter left out, of the piece that comes after `ahead` more, mm."""
        truth = self.truth
        size = self._model.nominal_mm[reading] + truth.offset_mm[reading]
        for name, spindle in self._spindles.items():
            travel = (1.0 + truth.scale_error[name]) * (spindle.real_mm - self._begin[name])
            size += self.slope(reading, name) * (travel + spindle.landed_mm)
        metres = self._metres + ahead * self.setup.metres_per_piece_m
        before = self.setup.cutter.metres_since_sharp_m
        size += self._model.recession_slopes[reading] * truth.recession_mm(metres, before)
        size += truth.creep_mm.get(reading, 0.0) * (self._since_move + ahead)
        if truth.shift_mm and self._pieces + ahead >= truth.shift_after:
            size += truth.shift_mm.get(reading, 0.0)
        return size

    def cut(self, settings_mm: Mapping[str, float], times: int = 1) -> Cut:
        """Move there, make a test cut and measure it so many times; return the row of the log."""
        self.move_to(settings_mm)
        self._last_sizes = {b.name: self._size(b.name, self._of_cuts) for b in self.setup.bands}
        readings = (
            {f: tuple(self._measured(f) for _ in range(times)) for f in self._last_sizes}
            if self.measures
            else {}
        )
        feel = None if self.hand is None else self.hand.word(self._last_sizes[self.setup.bands[0].name],
                                                             self._of_words)  # fmt: skip
        self._count(1)
        number = len(self.cuts) + 1
        self.cuts.append(
            Cut(number=number, kind="test", settings_mm=dict(settings_mm), readings=readings, feel=feel)
        )
        return self.cuts[-1]

    def again(self) -> Cut:
        """Measure the last cut once more; return its row as it now reads."""
        last = self.cuts[-1]
        readings = {f: (*last.readings[f], self._measured(f)) for f in self._last_sizes}
        self.cuts[-1] = replace(last, readings=readings)
        return self.cuts[-1]

    def good(self, pieces: int) -> list[dict[str, float]]:
        """Cut good pieces where the machine stands; return the true sizes of each, mm."""
        sizes = []
        for _ in range(pieces):
            sizes.append({b.name: self._size(b.name, self._of_pieces) for b in self.setup.bands})
            self._count(1)
        return sizes

    def run(self, pieces: int) -> Cut:
        """Cut good pieces where the machine stands and measure the last; return the row of the log."""
        self._last_sizes = self.good(pieces)[-1]
        readings = {f: (self._measured(f),) for f in self._last_sizes}
        at = {name: spindle.scale_mm for name, spindle in self._spindles.items()}
        return Cut(len(self.cuts) + 1, "good", at, readings, pieces=pieces)

    def spoiled(self, pieces: int) -> dict[str, tuple[float, float]]:
        """Return how many of so many good pieces would be (too high, too low) on average, per reading.

        The mean over the scatter of the pieces, given where the machine truly stands.
        """
        found = {}
        for band in self.setup.bands:
            sd = self.truth.cut_sd_mm[band.name]
            levels = [self.level(band.name, i) for i in range(pieces)]
            above = sum(self._beyond(level - band.high_mm, sd) for level in levels)
            found[band.name] = above, sum(self._beyond(band.low_mm - level, sd) for level in levels)
        return found

    def _beyond(self, distance: float, sd: float) -> float:
        if sd <= 0.0:
            return float(distance > 0.0)
        if not self.truth.heavy_tails:
            return float(cdf(distance / sd))
        t = distance / sd  # Student's t with 3 degrees of freedom, scaled to sd 1
        return 0.5 + (t / (1.0 + t * t) + math.atan(t)) / math.pi

    def _size(self, reading: str, stream: Generator) -> float:
        draw = stream.standard_normal(4)
        z = float(draw[0])
        if self.truth.heavy_tails:
            z = z / math.sqrt(float(draw[1:] @ draw[1:]))
        return self.level(reading) + self.truth.cut_sd_mm[reading] * z

    def _measured(self, reading: str) -> float:
        draw, chance = float(self._of_readings.standard_normal()), float(self._of_readings.random())
        slip = float(self._of_readings.standard_normal()) * self.truth.slip_sd_mm
        value = self._last_sizes[reading] + self.truth.zero_mm.get(reading, 0.0)
        value += self.truth.reading_sd_mm[reading] * draw
        value += slip if chance < self.truth.slip_probability else 0.0
        if self.display_mm > 0.0:
            value = round(value / self.display_mm) * self.display_mm
        return value

    def _count(self, pieces: int) -> None:
        self._pieces += pieces
        self._since_move += pieces
        self._metres += pieces * self.setup.metres_per_piece_m

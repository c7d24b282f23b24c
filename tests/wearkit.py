"""A simulated edge that two setups share: what is true of it, and the logs that it leaves.

The truth is drawn from the very prior of the program, or given: the rate half-normal, the head start
exponential, the metres that it takes lognormal; scatter and moves by a factor for each setup; an offset for
each mounting. What is cut follows a plan of visits, the setups taking turns.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from calib.regression.recession import HEAD_START_M, OVER_LOG_SD, OVER_M, WEAR_SD_MM_PER_M, Recession
from calib.regression.sharedwear import EdgeLog
from calib.shop import Adjuster, Band, Cut, Cutter, Joint, Knowledge, Setup

KNOWN = Knowledge(wear_sd_mm_per_m=WEAR_SD_MM_PER_M, blunder_probability=0.0)
FINGERS = Setup(
    "fingers", Joint("finger", thickness_mm=8.0), (Band("play", 0.10, 0.0, 0.20),), (Adjuster("key"),),
    cutter=Cutter("spiral", 6.0), pieces_left=100, metres_per_piece_m=0.1, knowledge=KNOWN,
)  # fmt: skip
TRAYS = replace(FINGERS, name="trays", bands=(Band("clearance", 0.08, -0.02, 0.18),), metres_per_piece_m=0.2)
_SLOPE = -3.0  # of play and clearance to recession, the key untouched


@dataclass(frozen=True)
class Plan:
    """How an edge is used: visits of a setup, each so many metres long with so many measured rows.

    Parameters
    ----------
    metres : float
        Cut in all.
    visit_m : float
        Cut in one mounting.
    rows : int
        Measured rows of good pieces in one mounting; two test cuts, with a move between, come first.
    setups : int
        1 or 2 setups that take turns.
    """

    metres: float
    visit_m: float = 25.0
    rows: int = 6
    setups: int = 2


@dataclass(frozen=True)
class Sharpening:
    """One simulated edge with its logs."""

    truth: Recession
    logs: tuple[EdgeLog, ...]
    level_mm: tuple[float, ...]
    cut_sd_mm: tuple[float, ...]
    cut_m: float

    def stays(self, log: int, metres: float) -> float:
        """Return the chance that a piece of a setup, after so many more metres, truly is in its band."""
        band = self.logs[log].setup.bands[0]
        lost = float(self.truth.between(self.cut_m, self.cut_m + metres)[0])
        at, sd = self.level_mm[log] + _SLOPE * lost, self.cut_sd_mm[log]
        return 0.5 * (
            math.erf((band.high_mm - at) / sd / math.sqrt(2))
            - math.erf((band.low_mm - at) / sd / math.sqrt(2))
        )


def draw_truth(rng: np.random.Generator) -> Recession:
    """Draw a course of wear from the prior."""
    rate = abs(rng.standard_normal()) * WEAR_SD_MM_PER_M
    head, over = rng.exponential(HEAD_START_M), OVER_M * math.exp(OVER_LOG_SD * rng.standard_normal())
    return Recession(np.array([rate]), np.array([rate * head]), np.array([over]))


def simulated(plan: Plan, rng: np.random.Generator, truth: Recession | None = None) -> Sharpening:
    """Use an edge by a plan; the setups are moved onto their targets as well as a maker can."""
    truth = draw_truth(rng) if truth is None else truth
    setups = (FINGERS, TRAYS)[: plan.setups]
    makers = [_Maker(setup, truth, rng) for setup in setups]
    cut_m = 0.0
    for visit in range(round(plan.metres / plan.visit_m)):
        cut_m = makers[visit % len(makers)].visit(str(visit + 1), cut_m, plan)
    for maker in makers:
        maker.stand(cut_m)
    logs = tuple(EdgeLog(maker.setup, tuple(maker.cuts)) for maker in makers)
    level = tuple(maker.level(cut_m) for maker in makers)
    return Sharpening(truth, logs, level, tuple(maker.cut_sd for maker in makers), cut_m)


class _Maker:
    """One setup and the one who uses it."""

    def __init__(self, setup: Setup, truth: Recession, rng: np.random.Generator) -> None:
        self.setup, self.truth, self.rng = setup, truth, rng
        known = setup.knowledge
        scatter, move = np.exp(known.log_sd * rng.standard_normal(2))
        self.cut_sd, self.reading_sd = scatter * known.cut_sd_mm, scatter * known.reading_sd_mm
        self.move_sd = move * known.move_sd_mm
        self.cuts: list[Cut] = []
        self.last_m = 0.0

    def level(self, cut_m: float) -> float:
        return 6.0 - self.key - self.error + _SLOPE * float(self.truth.at(cut_m)[0])

    def visit(self, mounting: str, cut_m: float, plan: Plan) -> float:
        """Mount, dial in with one move, cut good pieces; return the metres that the edge has then cut."""
        self.stand(cut_m)
        self.key, self.error = 5.9, self.setup.knowledge.offset_sd_mm * self.rng.standard_normal()
        band, piece_m = self.setup.bands[0], self.setup.metres_per_piece_m
        cut_m = self._row(mounting, "test", 1, cut_m)
        aim = self.key + self.cuts[-1].readings[band.name][0] - band.target_mm
        self.key, self.error = round(aim, 2), self.error + self.move_sd * self.rng.standard_normal()
        cut_m = self._row(mounting, "test", 1, cut_m)
        pieces = max(round(plan.visit_m / plan.rows / piece_m), 1)
        for _ in range(plan.rows):
            cut_m = self._row(mounting, "good", pieces, cut_m)
        return cut_m

    def _row(self, mounting: str, kind: str, pieces: int, cut_m: float) -> float:
        piece_m, name = self.setup.metres_per_piece_m, self.setup.bands[0].name
        size = self.level(cut_m + (pieces - 1) * piece_m) + self.cut_sd * self.rng.standard_normal()
        read = size + self.reading_sd * self.rng.standard_normal()
        number = len(self.cuts) + 1
        self.cuts.append(
            Cut(number, kind, {"key": self.key}, {name: (read,)}, pieces=pieces, mounting=mounting)
        )
        self.last_m = cut_m + pieces * piece_m
        return self.last_m

    def stand(self, cut_m: float) -> None:
        """Log what others have cut since, as the program does: a row without pieces."""
        if cut_m > self.last_m and self.cuts:
            last = self.cuts[-1]
            self.cuts.append(
                Cut(
                    0,
                    "test",
                    last.settings_mm,
                    pieces=0,
                    metres_m=cut_m - self.last_m,
                    mounting=last.mounting,
                )
            )
        elif cut_m > self.last_m:
            self.setup = replace(self.setup, cutter=replace(self.setup.cutter, metres_since_sharp_m=cut_m))
        self.last_m = cut_m

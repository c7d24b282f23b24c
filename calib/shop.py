"""What the shop has and what was cut: the nouns that every layer shares.

All of it is immutable and plain. Lengths are mm, metres are m, money is minutes.
Nothing here computes; a `Setup` is what a log's TOML says, a `Cut` is one of its rows.

Signs: a clearance or play above 0 is room, below 0 interference. A setting is where
the adjuster's scale stood. A move is the difference of two settings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

from calib.adjuster import LEARN, LEVER_GUESS, LEVER_SCALE_SD, Adjuster, Landing
from calib.errors import CalibError
from calib.feel import FeelPair, FeelScale
from calib.reading import Interval as Interval
from calib.reading import Reading as Reading
from calib.reading import Worth as Worth

__all__ = [
    "JOINT_KINDS", "LEARN", "LEVER_GUESS", "LEVER_SCALE_SD", "Adjuster", "Band", "Cut", "CutKind", "Cutter",
    "FeelPair", "FeelScale", "Interval", "Joint", "JointKind", "Knowledge", "Landing", "Reading",
    "ReadingStakes", "Scales", "Setup", "Stakes", "Worth",
]  # fmt: skip

JointKind = Literal["finger", "groove", "inlay", "plain"]
CutKind = Literal["test", "good"]
JOINT_KINDS: tuple[JointKind, ...] = ("finger", "groove", "inlay", "plain")


@dataclass(frozen=True)
class Band:
    """What will do, for one reading, and the target inside it.

    Parameters
    ----------
    name : str
        clearance, play, proud, depth, setback, width, gap, or the user's own.
    target_mm, low_mm, high_mm : float, mm
    gauge : str or None
        What it is usually taken with.
    """

    name: str
    target_mm: float
    low_mm: float
    high_mm: float
    gauge: str | None = None

    def check(self) -> None:
        """Raise `CalibError` unless low <= target <= high and low < high."""
        if not self.low_mm < self.high_mm:
            raise CalibError(
                f"readings.{self.name}: low {self.low_mm:g} mm is not below high {self.high_mm:g} mm. "
                "Swap them or widen the band."
            )
        if not self.low_mm <= self.target_mm <= self.high_mm:
            raise CalibError(
                f"readings.{self.name}: target {self.target_mm:g} mm is outside the band "
                f"{self.low_mm:g} to {self.high_mm:g} mm. Move the target or the band."
            )


@dataclass(frozen=True)
class ReadingStakes:
    """Minutes lost when a good piece reads above, or below, its band."""

    too_high_min: float = 20.0
    too_low_min: float = 20.0


@dataclass(frozen=True)
class Stakes:
    """What things cost, in the maker's own minutes.

    Parameters
    ----------
    test_cut_min : float
        One more test cut, with measuring it.
    move_min : float
        One move, per adjuster.
    readings : mapping of reading name to ReadingStakes
    default : ReadingStakes
        For readings that have none of their own.
    regrind_min : float
        Having the cutter reground or changing it, dialling in again included (common practice, no source).
    """

    test_cut_min: float = 4.0
    move_min: float = 2.0
    readings: Mapping[str, ReadingStakes] = field(default_factory=lambda: MappingProxyType({}))
    default: ReadingStakes = ReadingStakes()
    regrind_min: float = 60.0

    def of(self, reading: str) -> ReadingStakes:
        """Return the stakes of one reading."""
        return self.readings.get(reading, self.default)


@dataclass(frozen=True)
class Scales:
    """Medians of the scales of one reading or adjuster, where they differ from the setup's (None: no)."""

    offset_sd_mm: float | None = None
    move_sd_mm: float | None = None
    cut_sd_mm: float | None = None
    reading_sd_mm: float | None = None
    scale_sd: float | None = None
    zero_sd_mm: float | None = None
    creep_sd_mm: float | None = None
    stock_sd_mm: float | None = None


@dataclass(frozen=True)
class Knowledge:
    """What is believed before the first cut; medians where a scale is unknown.

    Parameters
    ----------
    offset_sd_mm : float, mm
        sd of the unknown offset before any cut; may be infinite.
    move_sd_mm : float, mm
        sd of the error of one move, in the adjuster's own mm.
    cut_sd_mm : float, mm
        sd from cut to cut on one setting (of the wood, not of the measurement).
    reading_sd_mm : float, mm
        sd of one measurement of one cut.
    scale_sd : float, mm per mm
        sd of the relative scale error of an adjuster.
    wear_sd_mm_per_m : float
        scale of the half-normal prior of the recession per metre, in ordinary hardwood; 0 = no wear.
    creep_sd_mm : float, mm per piece
        sd of the drift per piece since the last adjustment; 0 = none.
    stock_sd_mm : float, mm
        sd of the effect of one stock; 0 = none.
    zero_sd_mm : float, mm
        sd of the gauge's zero error, shared by all measurements of one reading; 0 = none.
    mounting_sd_mm : float or None, mm
        sd of one mounting's offset around the setup's own; None = mountings are taken as unrelated.
    blunder_probability : float
        of any one measurement being a slip (misread, mistyped, a chip under the seat).
    log_sd : float
        sd of the natural logarithm of each unknown scale around its median.
    scales_known : bool
        True: move, cut and reading sd are exact, and so are the limits of the words.
    of : mapping of reading or adjuster name to Scales
        Overrides.
    rest_sd_mm : float, mm
        sd of what geometry does not tell of the difference of play and clearance (lean, pitch, dust).
    """

    offset_sd_mm: float = 0.3
    move_sd_mm: float = 0.025
    cut_sd_mm: float = 0.02
    reading_sd_mm: float = 0.015
    scale_sd: float = 0.03
    wear_sd_mm_per_m: float = 0.0
    creep_sd_mm: float = 0.0
    stock_sd_mm: float = 0.0
    zero_sd_mm: float = 0.0
    mounting_sd_mm: float | None = None
    blunder_probability: float = 0.02
    log_sd: float = 0.8
    scales_known: bool = False
    of: Mapping[str, Scales] = field(default_factory=lambda: MappingProxyType({}))
    rest_sd_mm: float = 0.05

    def scale(self, name: str, quantity: str) -> float:
        """Return one quantity (a field name of `Scales`) for one reading or adjuster, override first.

        >>> Knowledge(cut_sd_mm=0.02).scale("clearance", "cut_sd_mm")
        0.02
        """
        override = self.of.get(name)
        own = getattr(override, quantity) if override is not None else None
        return float(getattr(self, quantity) if own is None else own)


@dataclass(frozen=True)
class Joint:
    """Kind of joint and what its geometry needs to know.

    Parameters
    ----------
    kind : {"finger", "groove", "inlay", "plain"}
    seat : {"away", "toward"}
        Finger: which slot wall stops on the key.
    holds : {"axis", "gap"}
        Finger: what stays when the cutter's width changes: key to cutter axis, or the gap.
    key_width_mm : float or None
    thickness_mm : float or None
        Finger: of the mating stock. Groove: of the stock the groove is cut in.
    passes : {1, 2}
        Groove: passes for the width.
    recut : {"both", "pocket", "insert"}
        Inlay: which part is cut again after a change of the typed diameter.
    drawn_gap_mm : float
        Inlay: total gap that is drawn between pocket and insert.
    """

    kind: JointKind
    seat: Literal["away", "toward"] = "away"
    holds: Literal["axis", "gap"] = "axis"
    key_width_mm: float | None = None
    thickness_mm: float | None = None
    passes: int = 1
    recut: Literal["both", "pocket", "insert"] = "both"
    drawn_gap_mm: float = 0.0


@dataclass(frozen=True)
class Cutter:
    """The tool: its name, nominal width (mm) and metres cut since it was last sharp, before the log.

    `measured_mm` is its width as cut when it was last sharp; None where nobody measured it.
    """

    name: str = "cutter"
    nominal_mm: float | None = None
    metres_since_sharp_m: float = 0.0
    measured_mm: float | None = None


@dataclass(frozen=True)
class Setup:
    """One machine arranged for one joint: its bands, its adjusters, what is at stake and what is believed.

    Parameters
    ----------
    units : {"mm", "in"}
        The unit of a bare number in this setup's log, and of its output; all fields here are mm.
    pieces_left : int
        Good pieces still to cut.
    metres_per_piece_m : float, m
        What one piece adds to the cutter's metres.
    stock : str or None
        Stock of the good pieces; None = that of the last cut.
    thicknesses_mm : mapping of stock to mm
        Of the stocks that are not as thick as the joint says (or just as thick).
    worth : mapping of reading name to Worth
        Of the next reading, from its gauge; a reading that is not named has the sds of the knowledge.
        It is found anew from the shop's gauges and is no part of what a setup is.
    abrasive : mapping of stock to float
        How fast a metre of it wears an edge, against a hardwood like cherry; 1 for a stock that is not named.
    """

    name: str
    joint: Joint
    bands: tuple[Band, ...]
    adjusters: tuple[Adjuster, ...]
    cutter: Cutter = Cutter()
    units: Literal["mm", "in"] = "mm"
    pieces_left: int = 1
    metres_per_piece_m: float = 0.0
    stock: str | None = None
    stakes: Stakes = Stakes()
    knowledge: Knowledge = Knowledge()
    feel: FeelScale = FeelScale()
    thicknesses_mm: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    worth: Mapping[str, Worth] = field(default_factory=lambda: MappingProxyType({}), compare=False)
    abrasive: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))

    def abrasiveness(self, stock: str | None) -> float:
        """Return how many metres of ordinary hardwood one metre of a stock is worth to the edge."""
        return self.abrasive.get(stock or "", 1.0)

    def band(self, name: str) -> Band:
        """Return the band of a reading; raise `CalibError` when the setup has no such reading."""
        for band in self.bands:
            if band.name == name:
                return band
        raise CalibError(
            f'setup {self.name} has no reading "{name}". It has: {", ".join(b.name for b in self.bands)}.'
        )

    @property
    def thickness_mm(self) -> float | None:
        """Thickness of the stock of the good pieces, as far as it is known."""
        return self.thicknesses_mm.get(self.stock or "", self.joint.thickness_mm)

    def reading_sd_mm(self, name: str) -> float:
        """Return the sd of the next measurement's own error (its median where it is unknown), mm."""
        own = self.worth.get(name)
        return self.knowledge.scale(name, "reading_sd_mm") if own is None else own.repeat_sd_mm

    def move_sd_mm(self, name: str) -> float:
        """Return the sd of the error of one move, mm; a typed adjuster has none unless it is said."""
        own = self.knowledge.of.get(name)
        if self.adjuster(name).typed and (own is None or own.move_sd_mm is None):
            return 0.0
        return self.knowledge.scale(name, "move_sd_mm")

    def scale_sd(self, name: str) -> float:
        """Return the sd of an adjuster's relative scale error; wide for a lever that is to be learned."""
        own = self.knowledge.of.get(name)
        if self.adjuster(name).lever == LEARN and (own is None or own.scale_sd is None):
            return LEVER_SCALE_SD
        return self.knowledge.scale(name, "scale_sd")

    def adjuster(self, name: str) -> Adjuster:
        """Return an adjuster; raise `CalibError` when the setup has none of that name."""
        for adjuster in self.adjusters:
            if adjuster.name == name:
                return adjuster
        raise CalibError(
            f'setup {self.name} has no adjuster "{name}". '
            f"It has: {', '.join(a.name for a in self.adjusters)}."
        )


@dataclass(frozen=True)
class Cut:
    """One row of a log: a test cut in scrap, or a run of good pieces whose last one was measured.

    Parameters
    ----------
    number : int
        Written on the piece.
    kind : {"test", "good"}
    pieces : int
        Pieces of this row; a test cut is one.
    metres_m : float or None, m
        This row's own; None = pieces times the setup's metres per piece.
    settings_mm : mapping of adjuster name to mm
        Where every scale stood, complete: an empty field of the log was already filled from the row before.
    readings : mapping of reading name to a tuple of Reading
        Numbers or intervals; several are repeats on the same cut. Absent when it was not measured.
    worths : mapping of reading name to a tuple of Worth or None
        How good each of the readings is, in their order; None, or no entry = as the knowledge says.
    feel : str or None
        A word of the setup's feel scale; it speaks of the first reading.
    by : str or None
        Whose hand felt it; None when only one person logs.
    approach : mapping of adjuster name to 1 or -1
        The way each came to its place, where that is known better than by the sign of its last move.
    stock, mounting, sharpening : str or None
        None = as in the row before (in the first row: one unnamed).
    moved : frozenset of adjuster names
        Re-set to the same place: a move whose setting did not change.
    note, when : str or None
        As typed.
    at_hand : bool
        The piece can still be measured again.
    """

    number: int
    kind: CutKind
    settings_mm: Mapping[str, float]
    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    pieces: int = 1
    metres_m: float | None = None
    feel: str | None = None
    stock: str | None = None
    mounting: str | None = None
    sharpening: str | None = None
    moved: frozenset[str] = frozenset()
    note: str | None = None
    when: str | None = None
    at_hand: bool = True
    by: str | None = None
    approach: Mapping[str, int] = field(default_factory=dict, compare=False)
    worths: Mapping[str, tuple[Worth | None, ...]] = field(default_factory=dict, compare=False)

    def worth_of(self, reading: str, place: int) -> Worth | None:
        """Return how good one of the readings is; None = as the knowledge says."""
        own = self.worths.get(reading, ())
        return own[place] if place < len(own) else None

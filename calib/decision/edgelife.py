"""How much is left on an edge for a setup, and the points of its picture.

Everything is a claim on one side: *holds at least so many pieces at 90 %* says that the piece cut then is
inside its band with that probability, the moves left alone (or made as planned). Where the cuts say nothing
of the wear there is no number.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from calib.decision.ahead import HOLDS_AT, Ahead, look_ahead
from calib.decision.upkeep import Schedule, key_enters_for, schedule
from calib.regression.blockposterior import BlockPosterior
from calib.regression.prospect import Prospect
from calib.regression.sharedwear import SharedWear
from calib.regression.terms import Block, Row
from calib.shop import Setup

Array = NDArray[np.float64]

#: Places along the metres at which the picture is drawn.
_PLACES = 61
#: Where a holding is more than likely over, in chance.
_LIKELY_OVER = 0.5


@dataclass(frozen=True)
class Left:
    """How long one reading of a setup holds as it stands.

    Parameters
    ----------
    pieces, metres_m : float or None
        At least so long, at the confidence; 0 when it does not hold now, infinite beyond what is told, None
        where the wear is not established.
    likely_m : float or None, m
        Where the chance has fallen to one half; None where that is not established or beyond what is told.
    """

    reading: str
    pieces: float | None
    metres_m: float | None
    likely_m: float | None


@dataclass(frozen=True)
class EdgeLeft:
    """What is left on an edge for a setup.

    Parameters
    ----------
    confidence : float
        Of the claims.
    readings : tuple of Left
        Those that follow the wear.
    schedules : tuple of Schedule
        One for each block of readings that follow the wear and can be moved.
    key_enters_pieces : float or None
        For so long the key of a finger jig enters the slot; None where that is not known.
    metres_per_piece_m : float, m
        At the abrasiveness of the good pieces' stock.
    """

    setup: str
    confidence: float
    established: bool
    readings: tuple[Left, ...]
    schedules: tuple[Schedule, ...]
    key_enters_pieces: float | None
    metres_per_piece_m: float

    @property
    def metres_m(self) -> float | None:
        """Metres left as the setup stands; None where nothing is established."""
        known = [left.metres_m for left in self.readings if left.metres_m is not None]
        return min(known) if known and self.established else None

    @property
    def most_pieces(self) -> float | None:
        """Pieces left when it is moved as planned; None where nothing is established."""
        if not self.established or not self.readings:
            return None
        ends = [one.holds_pieces for one in self.schedules]
        fixed = [] if self.schedules else [left.pieces for left in self.readings if left.pieces is not None]
        key = [] if self.key_enters_pieces is None else [self.key_enters_pieces]
        return min([*ends, *fixed, *key], default=math.inf)

    def regrind_after(self, regrind_min: float) -> float | None:
        """Return after how many pieces moving on is dearer than a regrind, or ends; None if never."""
        dear = [d for one in self.schedules if (d := one.dearer_than(regrind_min)) is not None]
        most = self.most_pieces
        ends = [] if most is None or math.isinf(most) else [most]
        return min([*dear, *ends], default=None)


def edge_left(
    setup: Setup, futures: Sequence[Prospect], established: bool = True, confidence: float = HOLDS_AT
) -> EdgeLeft:
    """Return how much is left on the edge for a setup as it stands, and with moves.

    Parameters
    ----------
    futures : sequence of Prospect
        One a block, see `prospect`.
    established : bool
        Whether the cuts say anything of the wear; where not, no length is given.
    """
    worn = [
        future for future in futures if np.any(future.edge.slopes) and np.any(future.edge.recession.at(1.0))
    ]
    lefts = [
        _left(_as_it_stands(setup, future, f), reading, established, confidence)
        for future in worn
        for f, reading in enumerate(future.readings)
        if future.edge.slopes[f]
    ]
    plans = [
        schedule(setup, future, confidence=confidence)
        for future in worn
        if established and future.adjusters and not future.learned.any()
    ]
    key = key_enters_for(setup, worn[0], confidence) if worn and established else None
    piece_m = futures[0].edge.metres_per_piece_m if futures else 0.0
    return EdgeLeft(setup.name, confidence, established, tuple(lefts), tuple(plans), key, piece_m)


def _as_it_stands(setup: Setup, future: Prospect, f: int) -> Ahead:
    A = len(future.adjusters)
    return look_ahead(future, np.zeros(A), np.zeros(A, dtype=bool), f, setup.band(future.readings[f]))


def _left(ahead: Ahead, reading: str, established: bool, confidence: float) -> Left:
    if not established:
        return Left(reading, None, None, None)
    piece_m = ahead.future.edge.metres_per_piece_m
    pieces = ahead.most(confidence)
    likely = ahead.most(_LIKELY_OVER)
    return Left(
        reading,
        pieces,
        pieces * piece_m if pieces else 0.0,
        likely * piece_m if math.isfinite(likely) else None,
    )


@dataclass(frozen=True)
class Foreseen:
    """What one reading will be after so many more metres.

    Parameters
    ----------
    expected_mm, low_mm, high_mm : float, mm
        Of the measured reading, with its 90 % range.
    chance : float
        That the piece cut then is truly inside its band.
    """

    reading: str
    metres_m: float
    pieces: float
    expected_mm: float
    low_mm: float
    high_mm: float
    chance: float


def foreseen(setup: Setup, future: Prospect, f: int, metres: Sequence[float]) -> tuple[Foreseen, ...]:
    """Return what a reading will be after so many more metres, everything left as it stands."""
    ahead, piece_m = _as_it_stands(setup, future, f), future.edge.metres_per_piece_m
    found = []
    for m in metres:
        pieces = m / piece_m if piece_m > 0.0 else 0.0
        reading = ahead.reading(pieces)
        low, high = reading.interval(0.9)
        found.append(
            Foreseen(
                future.readings[f], m, pieces, reading.expected, low, high, float(ahead.inside(pieces)[0])
            )
        )
    return tuple(found)


@dataclass(frozen=True)
class WornReading:
    """A reading turned into the recession that it shows: less geometry, offset and moves, over its slope.

    Parameters
    ----------
    u_mm : float, mm
        Standard uncertainty of the reading itself, in recession.
    """

    setup: str
    reading: str
    cut: int
    metres_m: float
    recession_mm: float
    u_mm: float


@dataclass(frozen=True)
class WearPicture:
    """The points of the picture of an edge.

    Parameters
    ----------
    metres_m, low_mm, median_mm, high_mm : tuple of float
        The recession with its 90 % range, along the metres since sharp, at the abrasiveness of each stock.
    readings : tuple of WornReading
    left : tuple of EdgeLeft
    """

    metres_m: tuple[float, ...]
    low_mm: tuple[float, ...]
    median_mm: tuple[float, ...]
    high_mm: tuple[float, ...]
    now_m: float
    readings: tuple[WornReading, ...]
    left: tuple[EdgeLeft, ...]


def wear_picture(
    shared: SharedWear, now_m: float, beliefs: Sequence[Sequence[BlockPosterior]], left: Sequence[EdgeLeft]
) -> WearPicture:
    """Return the points of the picture of an edge.

    Parameters
    ----------
    now_m : float, m
        Cut since sharp, at the abrasiveness of each stock.
    beliefs : sequence (a setup) of sequence (a block) of BlockPosterior
    left : sequence of EdgeLeft, one a setup
    """
    known = [one.metres_m for one in left if one.metres_m is not None and math.isfinite(one.metres_m)]
    ahead = min(max(known, default=0.5 * now_m), 4.0 * now_m + 10.0)
    metres = np.linspace(0.0, now_m + ahead, _PLACES)
    ranges = [shared.range_after(float(m)) for m in metres]
    points = [point for blocks in beliefs for block in blocks for point in _points(block)]
    low, median, high = (tuple(side) for side in zip(*ranges, strict=True))
    return WearPicture(tuple(map(float, metres)), low, median, high, now_m, tuple(points), tuple(left))


def _features(row: Row, block: Block) -> list[Mapping[str, float]]:
    del block  # a turned scale hardly changes what is left of a reading here
    return [row.features]


def _points(found: BlockPosterior) -> list[WornReading]:
    block = found.block
    before = float(found.weights @ found.recession.at(block.track.now.from_m)) if block.track.now else 0.0
    points = []
    for row in block.rows:
        if not row.is_number or not row.recession:
            continue
        rest = float(found.one(partial(_features, row)).expected)
        shown = (row.value_mm - rest) / row.recession + before
        scatter = float(
            np.sqrt(found.weights @ found.scatter**2 * row.scaled_variance_mm2 + row.fixed_variance_mm2)
        )
        points.append(
            WornReading(
                block.setup.name,
                block.readings[row.reading],
                row.cut,
                row.to_m,
                shown,
                scatter / abs(row.recession),
            )
        )
    return points

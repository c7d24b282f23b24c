"""Cuts: logging them, measuring them again, good pieces.

The moves between them are in `calib.workflow.moves`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from calib.errors import CalibError
from calib.shop import Cut, Reading
from calib.workflow.moves import moved_as_advised, moved_by, moved_to
from calib.workflow.shopfloor import Shop

__all__ = [
    "CutEntry", "LoggedCut", "NeedsAnswer", "log_cut", "measure_again",
    "moved_as_advised", "moved_by", "moved_to", "work",
]


class NeedsAnswer(CalibError):
    """Only the maker knows: ``question`` is for a terminal, the message for everywhere else.

    Parameters
    ----------
    question : str
        "Moved as advised (key to 6.00 mm), or not moved?"
    settings_mm : mapping of adjuster name to mm
        Where the scales stand when the answer is "moved as advised".
    """

    def __init__(self, message: str, question: str, settings_mm: Mapping[str, float]) -> None:
        super().__init__(message)
        self.question = question
        self.settings_mm = dict(settings_mm)


@dataclass(frozen=True)
class CutEntry:
    """What the maker says of a cut; lengths already mm.

    Parameters
    ----------
    settings_mm : mapping of adjuster name to mm
        Where the scales stood; those left out are where they were.
    readings : mapping of reading name to tuple of Reading
    feel : str or None
        A word of the setup's feel scale.
    stock : str or None
        None = that of the mounting (or of the cut before).
    texts : mapping of name to str
        As typed, by adjuster, reading, "feel" or "metres".
    metres_m : float or None, m
        None = pieces times the setup's metres per piece.
    not_moved : bool
        The answer "not moved" to advice with a move.
    moved : frozenset of str
        Adjusters re-set to the same place.
    gauge : str or None
        What the readings were taken with.
    """

    settings_mm: Mapping[str, float] = field(default_factory=dict)
    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    feel: str | None = None
    stock: str | None = None
    note: str | None = None
    texts: Mapping[str, str] = field(default_factory=dict)
    metres_m: float | None = None
    not_moved: bool = False
    pieces: int = 1
    moved: frozenset[str] = frozenset()
    gauge: str | None = None


@dataclass(frozen=True)
class LoggedCut:
    """A stored cut.

    Parameters
    ----------
    cut : Cut
        As the model sees it; ``cut.number`` is written on the piece.
    echo : tuple of str
        What was understood, one line a value ("clearance -0.003 in = -0.0762 mm"), of values with text.
    questions : tuple of str
        Values that look wrong (about 25.4 times off) but are stored as typed.
    """

    setup: str
    cut: Cut
    echo: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()

    @property
    def number(self) -> int:
        """The number to write on the piece."""
        return self.cut.number


def log_cut(shop: Shop, setup_name: str, entry: CutEntry) -> LoggedCut:
    """Log a test cut; it gets a number, unique in the database, to write on the piece.

    Raises `NeedsAnswer` when the last advice was to move and neither positions nor ``not_moved``
    are given and no move was logged since; also when a position has never been given.
    """
    raise NotImplementedError


def measure_again(
    shop: Shop,
    number: int,
    readings: Mapping[str, tuple[Reading, ...]],
    feel: str | None = None,
    *,
    texts: Mapping[str, str] | None = None,
    gauge: str | None = None,
    instead: bool = False,
) -> LoggedCut:
    """Measure a cut again: the new readings stand beside the old ones as repeats.

    With ``instead`` they take the place of the old ones (a slip of the pen); those stay in the
    database, superseded. A new feel always takes the place of the old one.
    """
    raise NotImplementedError


def work(
    shop: Shop,
    setup_name: str,
    pieces: int,
    readings: Mapping[str, tuple[Reading, ...]] | None = None,
    metres_m: float | None = None,
    *,
    feel: str | None = None,
    stock: str | None = None,
    note: str | None = None,
    texts: Mapping[str, str] | None = None,
    settings_mm: Mapping[str, float] | None = None,
    not_moved: bool = False,
    gauge: str | None = None,
) -> LoggedCut:
    """Log good pieces on the present setting; the readings are of the last one.

    Their metres go on the sharpening, and ``pieces_left`` goes down.
    """
    raise NotImplementedError

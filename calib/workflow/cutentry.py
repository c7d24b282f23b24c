"""What a maker says of a cut, what comes of it, and what only the maker can tell."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from calib.errors import CalibError
from calib.shop import Cut, Reading
from calib.workflow.boxwork import BoxCount
from calib.workflow.derived import RawEntry, WorkedOut


class NeedsAnswer(CalibError):
    """Only the maker knows: ``question`` is for a terminal, the message for everywhere else.

    Parameters
    ----------
    question : str
        "Moved as advised (key to 6.00 mm), or not moved?"
    settings_mm : mapping of adjuster name to mm
        Where the scales stand when the answer is "moved as advised"; empty when a position has
        never been given, which only the maker can tell.
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
        What the readings were taken with; None = what the setup says.
    gauges : mapping of reading name to gauge
        Where another one was used.
    raws : tuple of RawEntry
        What readings are to be worked out from.
    pitches : int or None
        How many pitches `over` or `across` reach over.
    box : str or None
        The box that good pieces are for; None = the one open box that uses the setup, if there is one.
    by : str or None
        Whose hand felt it.
    ask : bool
        A reading that looks like a slip is not logged but raised as `LooksLikeSlip`.
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
    box: str | None = None
    gauges: Mapping[str, str] = field(default_factory=dict)
    raws: tuple[RawEntry, ...] = ()
    pitches: int | None = None
    by: str | None = None
    ask: bool = False


@dataclass(frozen=True)
class LoggedCut:
    """A stored cut.

    Parameters
    ----------
    cut : Cut
        As the model sees it; ``cut.number`` is written on the piece.
    echo : tuple of str
        What was understood, one line a value ("clearance -3 thou = -0.0762 mm"), of values with text.
    questions : tuple of str
        Values that look wrong (about 25.4 times off) but are stored as typed.
    box : BoxCount or None
        The box that good pieces were counted for.
    worked_out : tuple of WorkedOut
    """

    setup: str
    cut: Cut
    echo: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    box: BoxCount | None = None
    worked_out: tuple[WorkedOut, ...] = ()

    @property
    def number(self) -> int:
        """The number to write on the piece."""
        return self.cut.number

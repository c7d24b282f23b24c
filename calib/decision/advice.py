"""The advice: the suggested next step, with what it is sure of and why.

`Advice.as_dict` is the published form (``calib.advice/1``); all lengths there are mm.
Every probability says what it is a probability of:

* ``expected_mm``, ``u_mm``, ``interval90_mm`` speak of the next measured reading,
* ``probability_next`` and ``probability_all`` of the true size of the next good piece and of all
  the good pieces that are left,

both after the advised moves.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

Step = Literal["cut_good", "move_and_cut_good", "test_again", "move_and_test", "measure_again", "resharpen"]

SCHEMA = "calib.advice/1"


@dataclass(frozen=True)
class Move:
    """One advised move of one adjuster, in mm of its own scale, and how the hand makes it."""

    adjuster: str
    from_mm: float
    to_mm: float
    how: str

    @property
    def change_mm(self) -> float:
        """How far to move; the sign is that of the scale."""
        return self.to_mm - self.from_mm


@dataclass(frozen=True)
class Expectation:
    """What one reading should be after the advised moves.

    Parameters
    ----------
    expected_mm, u_mm : float, mm
        Mean and standard uncertainty of the next measured reading.
    interval90_mm : (float, float), mm
        Its 5 % and 95 % quantiles.
    probability_next, probability_all : float
        That the true size of the next good piece, and of all good pieces left, is inside the band.
    probability_measured : float or None
        That the next measured reading is inside the band; not published, but kept, for it can be scored.
    """

    name: str
    target_mm: float
    low_mm: float
    high_mm: float
    expected_mm: float
    u_mm: float
    interval90_mm: tuple[float, float]
    probability_next: float
    probability_all: float
    probability_measured: float | None = None


@dataclass(frozen=True)
class ActionValue:
    """Expected minutes from now when one step is taken first and the best ones after it."""

    step: Step
    minutes: float
    tests: float
    moves: tuple[Move, ...] = ()


@dataclass(frozen=True)
class Advice:
    """The next step for a setup.

    Parameters
    ----------
    cut_now_min, best_min : float
        Expected minutes from now: committing the good pieces without moving, and the advised step.
    tests_expected : float
        Test cuts still to come, the advised one included.
    check_after_pieces, holds_for_pieces : int or None
        None when there is nothing to say.
    reasons : tuple of str
        Why this step, in minutes; `doubts` are questions to the maker, `warnings` say what limits
        the answer, `hints` how to make the next test count.
    measure_again_cut : int or None
        The number on the piece that should be measured again.
    actions : tuple of ActionValue
        Every step that was weighed, cheapest first.
    """

    setup: str
    cuts_used: int
    step: Step
    moves: tuple[Move, ...]
    readings: tuple[Expectation, ...]
    pieces_left: int
    probability_next: float
    probability_all: float
    cut_now_min: float
    best_min: float
    tests_expected: float
    check_after_pieces: int | None = None
    holds_for_pieces: int | None = None
    doubts: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    hints: tuple[str, ...] = ()
    measure_again_cut: int | None = None
    units: Literal["mm", "in"] = "mm"
    actions: tuple[ActionValue, ...] = field(default=())

    def as_dict(self) -> dict[str, Any]:
        """Return the published form: plain numbers, text and lists, no NaN, always mm."""
        return {
            "schema": SCHEMA,
            "setup": self.setup,
            "cuts_used": self.cuts_used,
            "step": self.step,
            "moves": [
                {
                    "adjuster": m.adjuster,
                    "from_mm": _plain(m.from_mm),
                    "to_mm": _plain(m.to_mm),
                    "change_mm": _plain(m.change_mm),
                    "how": m.how,
                }
                for m in self.moves
            ],
            "readings": [
                {
                    "name": r.name,
                    "target_mm": _plain(r.target_mm),
                    "low_mm": _plain(r.low_mm),
                    "high_mm": _plain(r.high_mm),
                    "expected_mm": _plain(r.expected_mm),
                    "u_mm": _plain(r.u_mm),
                    "interval90_mm": [_plain(r.interval90_mm[0]), _plain(r.interval90_mm[1])],
                    "probability_next": r.probability_next,
                    "probability_all": r.probability_all,
                }
                for r in self.readings
            ],
            "pieces_left": self.pieces_left,
            "probability_next": self.probability_next,
            "probability_all": self.probability_all,
            "minutes": {"cut_now": self.cut_now_min, "best": self.best_min},
            "tests_expected": self.tests_expected,
            "check_after_pieces": self.check_after_pieces,
            "holds_for_pieces": self.holds_for_pieces,
            "doubts": list(self.doubts),
            "warnings": list(self.warnings),
            "cautions": list(self.cautions),
        }


def _plain(value: float) -> float:
    """Round away binary dust (1e-9 mm is far below anything that can be measured)."""
    return round(float(value), 9) + 0.0

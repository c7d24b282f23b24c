"""What the tests of the store and the workflow share: a setup, a clock and advice made by rule of thumb."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

from calib.decision.advice import Advice, Expectation, Move
from calib.setupform import default_words
from calib.shop import Adjuster, Band, Cut, Cutter, FeelScale, Interval, Joint, Setup
from calib.workflow.cuts import CutEntry, LoggedCut, log_cut
from calib.workflow.shopfloor import Shop

CORNERS = Setup(
    name="chest-corners",
    joint=Joint("finger", thickness_mm=8.0),
    bands=(Band("clearance", 0.07, 0.03, 0.12), Band("proud", 0.1, 0.0, 0.2)),
    adjusters=(Adjuster("key", least_step_mm=0.02, low_mm=0.0, high_mm=40.0), Adjuster("height")),
    cutter=Cutter("spiral-6", 6.0, 12.0),
    pieces_left=16,
    metres_per_piece_m=0.05,
    feel=FeelScale({"mallet": (-0.2, 0.0), "hand": (0.0, 0.1)}),
)

#: The corners with one reading and the words of fingers.
FINGERS = replace(
    CORNERS,
    name="corners",
    bands=(Band("clearance", 0.07, 0.03, 0.12),),
    adjusters=CORNERS.adjusters[:1],
    feel=FeelScale(default_words("finger", "clearance")),
)

GROOVE = Setup(
    name="bottom-groove",
    joint=Joint("groove", thickness_mm=8.0),
    bands=(Band("setback", 5.0, 4.85, 5.15),),
    adjusters=(Adjuster("fence", has_scale=False),),
    cutter=Cutter("spiral-6", 6.0),
    pieces_left=8,
    metres_per_piece_m=0.2,
)


def ticking() -> Callable[[], str]:
    """Return a clock that goes on by one second every time it is asked."""
    seconds = iter(range(100_000))
    return lambda: f"2025-03-01T08:{(s := next(seconds)) // 60 % 60:02d}:{s % 60:02d}+00:00"


def cut(shop: Shop, name: str = "chest-corners", **said: Any) -> LoggedCut:
    """Log a test cut: adjusters and readings by name, all else as `CutEntry` has it."""
    settings = {n: said.pop(n) for n in ("key", "height", "fence") if n in said}
    readings = {n: _repeats(said.pop(n)) for n in ("clearance", "proud", "setback") if n in said}
    return log_cut(shop, name, CutEntry(settings_mm=settings, readings=readings, **said))


def _repeats(value: Any) -> tuple[Any, ...]:
    return value if isinstance(value, tuple) else (value,)


def thumb_advice(
    setup: Setup,
    cuts: Sequence[Cut],
    knowledge: Any = None,
    stakes: Any = None,
    pieces_left: int | None = None,
    **past: Any,
) -> Advice:
    """Advise to move the first adjuster by what the last reading was off; a stand-in for the model."""
    band = setup.bands[0]
    measured = [c for c in cuts if c.readings.get(band.name)]
    last = measured[-1].readings[band.name][-1] if measured else band.target_mm
    assert not isinstance(last, Interval)
    first = setup.adjusters[0].name
    start = cuts[-1].settings_mm[first] if cuts else 0.0
    off = round(last - band.target_mm, 6)
    moves = (Move(first, start, start + off, "by thumb"),) if off and measured else ()
    left = setup.pieces_left if pieces_left is None else pieces_left
    at = Expectation(
        band.name, band.target_mm, band.low_mm, band.high_mm, last, 0.1, (last - 0.2, last + 0.2), 0.5, 0.1
    )
    return Advice(
        setup=setup.name,
        cuts_used=len(measured),
        step="move_and_test" if moves else "cut_good",
        moves=moves,
        readings=(at,),
        pieces_left=left,
        probability_next=0.5 / (1 + len(cuts)),
        probability_all=0.1,
        cut_now_min=setup.cutter.metres_since_sharp_m,
        best_min=sum(c.metres_m or 0.0 for c in cuts),
        tests_expected=1.0,
    )

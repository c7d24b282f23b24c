"""What only the maker can say of a cut, asked in a terminal: was it moved, was that meant, what does it read.

Where nobody is there to answer, the question is refused with the words that answer it, or remarked on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from calib.cli.asking import asked_words
from calib.cli.kit import Units, ask, remark
from calib.cli.words import Said
from calib.errors import CalibError, UsageError
from calib.present.figures import typed_length
from calib.shop import Setup
from calib.workflow import cuts, moves, setups
from calib.workflow.shopfloor import Shop
from calib.workflow.undo import undo


@dataclass(frozen=True)
class Stood:
    """What was said of the move that was advised, and whether somebody is there to be asked."""

    as_advised: bool
    not_moved: bool
    asks: bool


def asked_cut(shop: Shop, setup: Setup, stood: Stood, units: Units | None) -> tuple[list[str], Stood]:
    """Ask for a whole cut: first whether open advice was followed; return words, and what was said of it."""
    standing, open_moves = setups.where_it_stands(shop, setup.name)
    if open_moves and not (stood.as_advised or stood.not_moved):
        told = " and ".join(
            f"{name} to {typed_length(mm, units or setup.units)}" for name, mm in open_moves.items()
        )
        made = _was_moved(f"Moved as advised ({told}), or not moved?")
        stood = replace(stood, as_advised=made, not_moved=not made)
    return asked_words(setup, standing, open_moves, units), stood


def log(
    shop: Shop, setup: Setup, said: Said, stood: Stood, pieces: int = 0, box: str | None = None
) -> cuts.LoggedCut:
    """Log a test cut (no pieces) or good pieces; ask the maker what only the maker knows."""
    if stood.as_advised and stood.not_moved:
        raise UsageError("--as-advised and --not-moved contradict each other. Give one of them.")
    if stood.as_advised:
        moves.moved_as_advised(shop, setup.name)

    def stored(not_moved: bool) -> cuts.LoggedCut:
        return unless_a_slip(
            said, stood.asks, lambda ask: _store(shop, setup.name, said, not_moved, pieces, box, ask)
        )

    try:
        return stored(stood.not_moved)
    except cuts.NeedsAnswer as needs:
        if not needs.settings_mm or not stood.asks:
            raise
        made = _was_moved(needs.question)
        if made:
            said.settings_mm = {**needs.settings_mm, **said.settings_mm}
        return stored(not made)
    except CalibError:
        if stood.as_advised:  # nothing of a refused command stays
            undo(shop, setup.name)
        raise


def unless_a_slip(said: Said, asks: bool, store: Callable[[bool], cuts.LoggedCut]) -> cuts.LoggedCut:
    """Store what was said; where it looks like a slip and somebody can answer, ask first what was meant.

    Parameters
    ----------
    said : Said
        Put right in place when the answer is yes.
    asks : bool
    store : function of bool
        Told whether it is to raise `LooksLikeSlip` instead of storing a slip.
    """
    if not asks:
        return store(False)
    try:
        return store(True)
    except cuts.LooksLikeSlip as doubt:
        if _yes(str(doubt)):
            said.readings, said.raws = cuts.corrected(said.readings, said.raws, doubt.slips)
            for slip in doubt.slips:
                if slip.reading in said.texts:
                    said.texts[slip.reading] += f" (meant {slip.meant_mm:g} mm)"
        return store(False)


def _store(
    shop: Shop, name: str, said: Said, not_moved: bool, pieces: int, box: str | None, ask: bool
) -> cuts.LoggedCut:
    """Hand what was said to the use case."""
    entry = cuts.CutEntry(
        settings_mm=said.settings_mm,
        readings=said.readings,
        texts=said.texts,
        feel=said.plain.get("feel"),
        stock=said.plain.get("stock"),
        note=said.plain.get("note"),
        gauge=said.plain.get("gauge"),
        by=said.plain.get("by"),
        metres_m=said.metres_m,
        not_moved=not_moved,
        moved=said.moved,
        gauges=said.gauges,
        raws=tuple(said.raws),
        pitches=said.pitches,
        ask=ask,
    )
    if pieces:
        return cuts.log_good(shop, name, replace(entry, pieces=pieces, box=box))
    return cuts.log_cut(shop, name, entry)


def _was_moved(question: str) -> bool:
    """Ask until the answer is moved or not."""
    while True:
        answer = ask(f"{question} [moved/not]").lower()
        if answer in ("moved", "m", "yes", "y", "as advised", "advised"):
            return True
        if answer in ("not", "n", "no", "not moved"):
            return False
        remark('Please answer "moved" or "not".')


def _yes(question: str) -> bool:
    """Ask until the answer is yes or no."""
    while True:
        answer = ask(f"{question} [yes/no]").lower()
        if answer in ("yes", "y"):
            return True
        if answer in ("no", "n"):
            return False
        remark('Please answer "yes" or "no".')

"""Walk through a log once and say, for every cut, what state the machine was in.

The walk is bookkeeping only: which mounting and sharpening, where the scales stood, which moves
act on the cut, how many pieces since the last adjustment, how many metres on the edge, which stock.
A row without readings and with no pieces only says where the machine stands now.

A new mounting or a new sharpening starts a new *span*: its offset is drawn anew, and the errors of
earlier moves belong to the past.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from calib.shop import Cut, Setup

#: Two settings closer than this are the same place (far below what any scale shows).
SAME_PLACE_MM = 1e-9


@dataclass(frozen=True)
class MoveMade:
    """One move of one adjuster; `name` labels its error in the model."""

    name: str
    adjuster: str
    change_mm: float


@dataclass(frozen=True)
class MachineState:
    """The machine as one piece found it.

    Parameters
    ----------
    span : int
        Number of the mounting-and-sharpening, from 0.
    settings_mm : mapping of adjuster to mm
    moves : mapping of adjuster to the names of the moves made in this span, oldest first
    pieces_since_move : float
        Pieces cut since the last adjustment, before this one.
    metres_m : float, m
        Cut by this edge since the log began, before this piece.
    stock : str
    """

    span: int
    settings_mm: Mapping[str, float]
    moves: Mapping[str, tuple[str, ...]]
    pieces_since_move: float
    metres_m: float
    stock: str


@dataclass(frozen=True)
class Track:
    """The whole walk: a state per cut, the state now, and every move that was made.

    Parameters
    ----------
    states : tuple of MachineState, one per cut
    now : MachineState or None
        As the next piece will find it; None when nothing says where the machine stands.
    moves : tuple of MoveMade
    spans : int
    stocks : tuple of str, in order of first use
    """

    states: tuple[MachineState, ...] = ()
    now: MachineState | None = None
    moves: tuple[MoveMade, ...] = ()
    spans: int = 0
    stocks: tuple[str, ...] = field(default=())


def walk(setup: Setup, cuts: Sequence[Cut], metres_m: float = 0.0) -> Track:
    """Return the state of the machine at every cut and now.

    Parameters
    ----------
    cuts : sequence of Cut, in the order they were made
    metres_m : float, m
        That the first row's edge had cut before it, in earlier mountings.
    """
    walker = _Walker(setup, metres_m)
    states = tuple(walker.step(cut) for cut in cuts)
    now = walker.state(walker.pieces, walker.metres) if cuts else None
    return Track(states, now, tuple(walker.all_moves), walker.span + 1, tuple(walker.stocks))


class _Walker:
    """The running state of `walk`."""

    def __init__(self, setup: Setup, metres_m: float = 0.0) -> None:
        self.setup = setup
        self.begin_m = metres_m
        self.span = -1
        self.settings: dict[str, float] = {}
        self.moves: dict[str, tuple[str, ...]] = {}
        self.all_moves: list[MoveMade] = []
        self.pieces = 0.0
        self.metres = 0.0
        self.mounting = self.sharpening = self.stock = ""
        self.stocks: list[str] = []

    def step(self, cut: Cut) -> MachineState:
        self._enter(cut)
        self._stock(cut)
        metres = cut.pieces * self.setup.metres_per_piece_m if cut.metres_m is None else cut.metres_m
        before_last = max(cut.pieces - 1, 0)  # the reading is the last piece's
        share = before_last / cut.pieces if cut.pieces else 0.0
        state = self.state(self.pieces + before_last, self.metres + share * metres)
        self.pieces += cut.pieces
        self.metres += metres
        return state

    def state(self, pieces: float, metres: float) -> MachineState:
        return MachineState(self.span, dict(self.settings), dict(self.moves), pieces, metres, self.stock)

    def _enter(self, cut: Cut) -> None:
        mounting = self.mounting if cut.mounting is None else cut.mounting
        sharpening = self.sharpening if cut.sharpening is None else cut.sharpening
        new = self.span < 0 or mounting != self.mounting
        fresh_edge = sharpening != self.sharpening
        if self.span < 0:
            self.metres = self.begin_m
        elif fresh_edge:
            self.metres = 0.0
        self.mounting, self.sharpening = mounting, sharpening
        if new or fresh_edge:
            self.span += 1
            self.moves = {a.name: () for a in self.setup.adjusters}
            self.settings = dict(cut.settings_mm)
            self.pieces = 0.0
            return
        self._move(cut)

    def _move(self, cut: Cut) -> None:
        for adjuster in self.setup.adjusters:
            name = adjuster.name
            change = cut.settings_mm[name] - self.settings[name]
            if abs(change) <= SAME_PLACE_MM and name not in cut.moved:
                continue
            label = f"move:{name}:{len(self.all_moves) + 1}"
            self.all_moves.append(MoveMade(label, name, change))
            self.moves[name] = (*self.moves[name], label)
            self.settings[name] = cut.settings_mm[name]
            self.pieces = 0.0

    def _stock(self, cut: Cut) -> None:
        if cut.stock is not None:
            self.stock = cut.stock
        if self.stock not in self.stocks:
            self.stocks.append(self.stock)

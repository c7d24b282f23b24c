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
        Cut by this edge since the log began, before this piece, each at the abrasiveness of its stock.
    stock : str
    position : int
        Index of the cut in the log; that of the next one for how the machine stands now.
    edge : int
        Number of the cutting edge (cutter and sharpening), from 0.
    from_m : float, m
        What this edge had cut before the log.
    """

    span: int
    settings_mm: Mapping[str, float]
    moves: Mapping[str, tuple[str, ...]]
    pieces_since_move: float
    metres_m: float
    stock: str
    position: int = 0
    edge: int = 0
    from_m: float = 0.0

    @property
    def edge_m(self) -> float:
        """Metres that this edge has cut since it was sharp, before this piece."""
        return self.from_m + self.metres_m


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
    edges : int
        Cutting edges that the log has seen.
    """

    states: tuple[MachineState, ...] = ()
    now: MachineState | None = None
    moves: tuple[MoveMade, ...] = ()
    spans: int = 0
    stocks: tuple[str, ...] = field(default=())
    edges: int = 1


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
    spans, edges = walker.span + 1, max(walker.edge + 1, 1)
    return Track(states, now, tuple(walker.all_moves), spans, tuple(walker.stocks), edges)


def several_mountings(cuts: Sequence[Cut]) -> bool:
    """Say whether a log goes over more than one mounting; a row that names none is in that of the row before.

    >>> several_mountings([Cut(1, "test", {}), Cut(2, "test", {}, mounting="2")])
    True
    """
    now, found = "", set()
    for cut in cuts:
        now = now if cut.mounting is None else cut.mounting
        found.add(now)
    return len(found) > 1


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
        self.edge = -1
        self.mounting = self.sharpening = self.stock = ""
        self.stocks: list[str] = []
        self.position = 0

    def step(self, cut: Cut) -> MachineState:
        self._enter(cut)
        self._stock(cut)
        metres = self._metres(cut)
        before_last = max(cut.pieces - 1, 0)  # the reading is the last piece's
        share = before_last / cut.pieces if cut.pieces else 0.0
        state = self.state(self.pieces + before_last, self.metres + share * metres)
        self.pieces += cut.pieces
        self.metres += metres
        self.position += 1
        return state

    def state(self, pieces: float, metres: float) -> MachineState:
        from_m = self.setup.cutter.metres_since_sharp_m if self.edge == 0 else 0.0
        return MachineState(
            self.span, dict(self.settings), dict(self.moves), pieces, metres, self.stock,
            self.position, self.edge, from_m,
        )  # fmt: skip

    def _metres(self, cut: Cut) -> float:
        """Metres of a row as they wear the edge; a row without pieces tells weighed ones."""
        if cut.pieces == 0:
            return cut.metres_m or 0.0
        metres = cut.pieces * self.setup.metres_per_piece_m if cut.metres_m is None else cut.metres_m
        return metres * self.setup.abrasiveness(self.stock)

    def _enter(self, cut: Cut) -> None:
        mounting = self.mounting if cut.mounting is None else cut.mounting
        sharpening = self.sharpening if cut.sharpening is None else cut.sharpening
        new = self.span < 0 or mounting != self.mounting
        fresh_edge = sharpening != self.sharpening
        if self.span < 0:
            self.metres = self.begin_m
            self.edge += 1
        elif fresh_edge:
            self.metres = 0.0
            self.edge += 1
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

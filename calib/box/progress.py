"""Which boards of a run of boxes are still to be cut, when so many pieces are done in the order of work.

The idea: all A boards of all boxes come first, then all B boards, so that nothing is set twice; of a board
the left end comes before the right one. A count of pieces then says which boards are left.
"""

from __future__ import annotations

from typing import NamedTuple

#: Boards of a part in the order of work, and pieces that each takes.
_BOARDS = {
    "corners": ("A1", "A2", "B1", "B2"),
    "corners of A": ("A1", "A2"),
    "corners of B": ("B1", "B2"),
    "grooves": ("A1", "A2", "B1", "B2"),
}
_BOTH_ENDS = 2


class BoardLeft(NamedTuple):
    """A board that is not done: its label, which box of the run (from 1), and whether its left end is cut."""

    label: str
    box: int
    left_end_cut: bool


def boards_left(part: str, cut: int, copies: int) -> tuple[BoardLeft, ...]:
    """Return the boards that are left of a part, next one first; nothing for a part without boards.

    Parameters
    ----------
    part : str
        corners, corners of A, corners of B, or grooves.
    cut : int
        Pieces done: board ends of corners, boards of grooves.
    copies : int
        Boxes in the run.

    Examples
    --------
    >>> [board.label for board in boards_left("corners", 4, 1)]
    ['B1', 'B2']
    >>> boards_left("corners of A", 3, 1)
    (BoardLeft(label='A2', box=1, left_end_cut=True),)
    """
    labels = _BOARDS.get(part, ())
    each = 1 if part == "grooves" else _BOTH_ENDS
    runs = [(kind, box) for kind in "AB" for box in range(1, copies + 1)]
    order = [(label, box) for kind, box in runs for label in labels if label[0] == kind]
    done, half = divmod(cut, each)
    left = order[done:]
    return tuple(BoardLeft(label, box, n == 0 and half == 1) for n, (label, box) in enumerate(left))

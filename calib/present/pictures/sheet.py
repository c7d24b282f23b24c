"""What every picture shares: its look, where its labels stand, and how it is written to a file.

The look: black on white, nothing told by colour, every line named where it is. Text stays text in SVG, and
the fonts go into the PDF. The pictures are made 5 inches wide, so that ten-point text can still be read
where a phone shows them 390 pixels wide.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from calib.errors import CalibError, UsageError
from calib.units import MM_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN = 5.0
ENDINGS = (".svg", ".pdf", ".png")
#: What is printed at its true size.
PRINTED = (".pdf",)
_LOOK: dict[Any, Any] = {
    "font.family": "sans-serif",
    "font.size": 9.5,
    "axes.labelsize": 9.5,
    "axes.linewidth": 0.8,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.labelsize": 9.0,
    "ytick.labelsize": 9.0,
    "lines.linewidth": 1.4,
    "svg.fonttype": "none",
    "svg.hashsalt": "calib",
    "pdf.fonttype": 42,
}
#: No date and no program version in a file: the same log gives the same picture.
_METADATA: dict[str, dict[str, str | None]] = {
    ".svg": {"Date": None, "Creator": "calib"},
    ".pdf": {"CreationDate": None, "Creator": "calib", "Producer": None},
    ".png": {"Software": None},
}


@contextmanager
def look() -> Iterator[None]:
    """Draw in the program's own look."""
    import matplotlib

    with matplotlib.rc_context(_LOOK):
        yield


def new_figure(width_in: float, height_in: float) -> Figure:
    """Return an empty figure; to be called inside `look`."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_in, height_in), facecolor="white")


def ending_of(path: Path, allowed: Sequence[str] = ENDINGS) -> str:
    """Return the ending of a picture's file; `UsageError` when no picture is written so."""
    ending = path.suffix.lower()
    if ending not in allowed:
        raise UsageError(f"{path}: the file should end in {' or '.join(allowed)}.")
    return ending


def save(figure: Figure, path: Path, allowed: Sequence[str] = ENDINGS) -> Path:
    """Write a figure to a file of the kind that its ending says; an older one is replaced.

    Raises
    ------
    CalibError
        When the ending is not one of `allowed`, or the file cannot be written.
    """
    ending = ending_of(path, allowed)
    try:
        with look():
            figure.savefig(path, format=ending[1:], dpi=200, metadata=_METADATA[ending])
    except OSError as error:
        raise CalibError(f"{path}: cannot be written ({error.strerror}). Name another file.") from None
    return path


def in_unit(mm: float, units: str) -> float:
    """Return a length as a number of the unit that is shown."""
    return mm / MM_PER_INCH if units == "in" else mm


def axes_at(figure: Figure, left: float, bottom: float, width: float, height: float) -> Axes:
    """Return axes at a place of the figure, in inches from its lower left corner."""
    total_width, total_height = figure.get_size_inches()
    return figure.add_axes(
        (left / total_width, bottom / total_height, width / total_width, height / total_height)
    )


def spread(places: Sequence[float], gap: float) -> list[float]:
    """Return the places of labels, moved apart so that no two are closer than a gap, order kept.

    >>> spread([0.0, 1.0, 1.1], 0.5)
    [0.0, 0.8, 1.3]
    """
    order = sorted(range(len(places)), key=lambda i: places[i])
    groups: list[list[int]] = []
    for i in order:
        groups.append([i])
        while len(groups) > 1 and _crowded(places, groups[-2], groups[-1], gap):
            groups[-2:] = [groups[-2] + groups[-1]]
    moved = [0.0] * len(places)
    for group in groups:
        for k, i in enumerate(group):
            moved[i] = round(_middle(places, group) + gap * (k - 0.5 * (len(group) - 1)), 9)
    return moved


def _middle(places: Sequence[float], group: Sequence[int]) -> float:
    return sum(places[i] for i in group) / len(group)


def _crowded(places: Sequence[float], below: Sequence[int], above: Sequence[int], gap: float) -> bool:
    ends = _middle(places, below) + gap * 0.5 * (len(below) - 1)
    starts = _middle(places, above) - gap * 0.5 * (len(above) - 1)
    return starts - ends < gap - 1e-12

"""The readings of one setup as a line of small blocks, one a cut: ▁▅▆▇▆.

The height of a block is the reading, on one scale for a whole setup; a mark below it says which side of
the band it fell on, so that meaning never rests on the height alone. Where an output cannot show blocks
`layout.to_ascii` spells them, one sign for one.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import fmean

from calib.present.figures import span
from calib.present.layout import paragraph
from calib.shop import Band, Cut, Interval

BLOCKS = "▁▂▃▄▅▆▇█"
NOT_MEASURED = "·"


def value_of(cut: Cut, reading: str) -> float | None:
    """Return a cut's reading as one number, the mean of its repeats, mm; None without a number."""
    numbers = [value for value in cut.readings.get(reading, ()) if not isinstance(value, Interval)]
    return fmean(numbers) if numbers else None


def scale_of(band: Band, cuts: Sequence[Cut]) -> tuple[float, float]:
    """Return the lowest and the highest mm of a reading's scale: all that was read, and the band."""
    ends = [end for end in (band.low_mm, band.high_mm) if math.isfinite(end)]
    values = [value for cut in cuts if (value := value_of(cut, band.name)) is not None]
    return min([*ends, *values], default=0.0), max([*ends, *values], default=1.0)


def block_lines(band: Band, cuts: Sequence[Cut], scale: tuple[float, float], width: int = 80) -> list[str]:
    """Return the blocks of one reading, and under them the marks of those outside the band.

    Parameters
    ----------
    band : Band
    cuts : sequence of Cut
        Of one mounting; where they are more than fit, the latest are shown.
    scale : (float, float), mm
        Lowest and highest block, see `scale_of`.
    width : int, columns

    Returns
    -------
    list of str
        Empty when nothing was measured.

    >>> from calib.shop import Band, Cut
    >>> cuts = [Cut(n, "test", {}, {"gap": (mm,)}) for n, mm in enumerate((0.3, 0.12, 0.0), 1)]
    >>> block_lines(Band("gap", 0.1, 0.05, 0.2), cuts, (0.0, 0.3))
    ['  gap  █▄▁', '       ^ v']
    """
    values = [value_of(cut, band.name) for cut in cuts]
    if all(value is None for value in values):
        return []
    room = max(width - len(band.name) - 5, 8)
    first = "" if len(values) <= room else "…"
    values = values[-(room - len(first)) :]
    head = f"  {band.name}  "
    blocks = first + "".join(_block(value, scale) for value in values)
    marks = " " * len(first) + "".join(_mark(value, band) for value in values)
    return [head + blocks, *([(" " * len(head) + marks).rstrip()] if marks.strip() else [])]


def legend(bands: Sequence[tuple[Band, tuple[float, float]]], width: int, units: str) -> list[str]:
    """Explain the blocks of some readings once."""
    scales = "; ".join(f"{band.name} {span(*scale, units)}" for band, scale in bands)
    text = (
        f"blocks: one a cut, {BLOCKS[0]} lowest to {BLOCKS[-1]} highest ({scales}); "
        f"v below the band, ^ above it, {NOT_MEASURED} not measured"
    )
    return paragraph(text, width)


def _block(value: float | None, scale: tuple[float, float]) -> str:
    if value is None:
        return NOT_MEASURED
    low, high = scale
    share = (value - low) / (high - low) if high > low else 0.5
    return BLOCKS[min(int(share * len(BLOCKS)), len(BLOCKS) - 1)]


def _mark(value: float | None, band: Band) -> str:
    if value is None or band.low_mm <= value <= band.high_mm:
        return " "
    return "v" if value < band.low_mm else "^"

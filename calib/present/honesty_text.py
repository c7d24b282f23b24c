"""How often the chances came true, as text: the verdict first, then the bins, then what was left out."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from calib.monitor.honesty import Honesty
from calib.present.figures import count
from calib.present.layout import paragraph, section, table_or_records

#: Beyond so many standard errors the chances are said to be off.
CLEAR = 2.0


class Judged(Protocol):
    """What was judged of one setup, or of the shop."""

    @property
    def setup(self) -> str | None: ...
    @property
    def chances(self) -> Honesty | None: ...
    @property
    def ranges(self) -> Honesty | None: ...
    @property
    def cuts(self) -> int: ...
    @property
    def left_out(self) -> Mapping[str, int]: ...


def honesty_lines(judged: Judged, width: int = 80) -> list[str]:
    """Return the honesty of one setup or of the shop."""
    whose = "the shop" if judged.setup is None else judged.setup
    chances, ranges = judged.chances, judged.ranges
    if ranges is None:
        text = (
            f"Nothing to judge {whose} by yet: it takes advice (calib next), followed, and the next cut "
            "measured with a number."
        )
        return [*paragraph(text, width), *_left_out(judged, width)]
    lines = paragraph(f"{whose}: {count(judged.cuts, 'cut')} made as advised.", width)
    if chances is not None:
        lines += paragraph(_verdict(chances), width)
    lines += paragraph(_range(ranges), width)
    if chances is not None:
        lines += ["", *_bins(chances, width), "", *paragraph(_brier(chances), width)]
    return [*lines, *_left_out(judged, width), *section("Mind", [_ABOUT], width, "!")]


_ABOUT = (
    "Judged is what the next measured reading did. The chance that the true size of a good piece is in its "
    "band cannot be judged by a log, which holds no true sizes; both come from one belief."
)


def setup_table(each: Sequence[Judged], width: int = 80) -> list[str]:
    """Return one line a setup; nothing for a single one."""
    head = ["setup", "cuts", "said %", "came true %", "u %", "of nine in ten %", "u %"]
    rows = []
    for one in each:
        told, fair = one.chances, one.ranges
        first = ["", "", ""] if told is None else _percents(told.said, told.came_true, told.u)
        last = ["", ""] if fair is None else _percents(fair.came_true, fair.u)
        rows.append([one.setup or "", str(one.cuts), *first, *last])
    return ["", *table_or_records(head, rows, width, right=range(1, 7))] if len(rows) > 1 else []


def _verdict(found: Honesty) -> str:
    text = (
        f"That the next reading lies in its band was said with {_whole(found.said)} % on average. "
        f"{_expected(found)} did"
    )
    if abs(found.off_by) <= CLEAR:
        return f"{text}: no more off than chance would have it."
    return f"{text}: {'too unsure of itself' if found.off_by > 0 else 'too sure of itself'}."


def _expected(found: Honesty) -> str:
    """Say "Of 40 that makes 31.2 ± 2.6; 33": what was to be expected, its standard error, what came."""
    n = found.count
    return f"Of {n} that makes {n * found.said:.1f} ± {n * found.u:.1f}; {n * found.came_true:g}"


def _range(found: Honesty) -> str:
    text = f"Nine readings in ten should fall in their range. {_expected(found)} did"
    if abs(found.off_by) <= CLEAR:
        return f"{text}."
    return f"{text}: the ranges are too {'wide' if found.off_by > 0 else 'narrow'}."


def _bins(found: Honesty, width: int) -> list[str]:
    head = ["said %", "times", "on average %", "came true %", "u %"]
    rows = [
        [
            f"{_whole(one.low)} to {_whole(one.high)}",
            str(one.count),
            *_percents(one.said, one.came_true, one.u),
        ]
        for one in found.bins
    ]
    meaning = paragraph("u: standard uncertainty of that share, if the chances are true.", width)
    return [*table_or_records(head, rows, width, right=range(1, 5)), *meaning]


def _brier(found: Honesty) -> str:
    base = "always saying the share that came true in the end"
    text = f"Brier score (0 is perfect): {found.brier:.3f}; {base}: {found.brier_base:.3f}"
    if math.isinf(found.u_better_by):
        return f"{text}."
    what = "better" if found.better_by >= 0.0 else "worse"
    return f"{text}. So {what} by {abs(found.better_by):.3f} (± {found.u_better_by:.3f})."


def _left_out(judged: Judged, width: int) -> list[str]:
    lines = [f"{count(number, 'cut')}: {reason}" for reason, number in sorted(judged.left_out.items())]
    return section("Left out", lines, width)


def _whole(share: float) -> str:
    return f"{100.0 * share:.0f}"


def _percents(*shares: float) -> list[str]:
    return [_whole(share) for share in shares]


def as_json(judged: Judged, each: Sequence[Any] = ()) -> dict[str, Any]:
    """Return what is printed as plain values."""
    found: dict[str, Any] = {"setup": judged.setup, "cuts": judged.cuts}
    found |= {"chances": judged.chances, "ranges": judged.ranges}
    found["left_out"] = dict(judged.left_out)
    return {**found, "setups": [as_json(one) for one in each]} if each else found

"""A rehearsal in words: what to prepare first, what it rests on after."""

from __future__ import annotations

from collections.abc import Iterable

from calib.decision.limits import Limit
from calib.present.figures import count, minutes
from calib.present.layout import paragraph, table

#: Below this nothing is worth buying for.
_HARDLY_MIN = 0.5


def rehearsal_lines(
    *,
    pieces: int,
    runs: int,
    tests: float,
    tests_most: float,
    spent: float,
    spent_most: float,
    spoiled: float,
    scrap_pieces: int,
    limits: Iterable[Limit],
    width: int,
) -> list[str]:
    """Return the lines of a rehearsal, answer first.

    Parameters
    ----------
    tests, spent, spoiled : float
        Means per batch; `spent` in minutes. The names with `most` are what nine batches in ten stay within.
    """
    lines = paragraph(
        f"Prepare {count(scrap_pieces, 'piece')} of scrap in this stock. Expect {tests:.1f} test cuts; "
        f"nine dial-ins in ten need no more than {tests_most:.0f}.",
        width,
    )
    lines += paragraph(
        f"Expected cost: {minutes(spent)} for tests, moves and spoiled pieces; nine in ten stay under "
        f"{minutes(spent_most)}. Of {count(pieces, 'good piece')} {spoiled:.1f} are spoiled on average.",
        width,
    )
    lines += ["", "What limits this shop (minutes saved per batch if an error were half as large)"]
    lines += table(
        ("", "saves"), [(_what(limit.what), _saving(limit.saving_min)) for limit in limits], right=(1,)
    )
    lines += ["", *paragraph(f"From {runs} simulated dial-ins of a shop like the one believed in.", width)]
    return lines


def _what(name: str) -> str:
    return {"gauge": "gauge (reading error)", "mounting": "mounting stop (first offset)"}.get(
        name, f"{name} (error of a move)"
    )


def _saving(value: float) -> str:
    return "hardly anything" if value < _HARDLY_MIN else minutes(value)

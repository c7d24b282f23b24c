"""From which side an adjuster came to its place: lost motion is taken up there, and has to be again."""

from __future__ import annotations

from collections.abc import Sequence

from calib.shop import Cut, Setup


def last_approach(setup: Setup, rows: Sequence[Cut], adjuster: str) -> int | None:
    """Return 1 when the adjuster came to its place with a rising setting, -1 with a falling one.

    What the setup states counts first, then what the log knows of how the moves were made, then the sign of
    the last move; None when nothing was moved yet.
    """
    stated = setup.adjuster(adjuster).approach
    if stated is not None:
        return 1 if stated == "rising" else -1
    if rows and adjuster in rows[-1].approach:
        return rows[-1].approach[adjuster]
    settings = [row.settings_mm[adjuster] for row in rows]
    for before, after in zip(settings[-2::-1], settings[:0:-1], strict=True):
        if abs(after - before) > 1e-9:
            return 1 if after > before else -1
    return None

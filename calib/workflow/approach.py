"""From which side each adjuster came to its place, as far as the log tells how it was moved.

An advised move of an adjuster with lost motion was told to finish the way it came before, whatever its
sign; a move of the maker's own came the way of its sign.
"""

from __future__ import annotations

from collections.abc import Mapping

from calib.shop import Setup


class Approaches:
    """The side of every adjuster while the log is gone through."""

    def __init__(self, setup: Setup) -> None:
        self._loose = {a.name: a.backlash_mm > 0.0 for a in setup.adjusters}
        self._side: dict[str, int] = {}

    def moved(self, adjuster: str, from_mm: float | None, to_mm: float, *, as_advised: bool) -> None:
        """Take note of one move."""
        if from_mm is None or abs(to_mm - from_mm) <= 1e-9:
            return
        if as_advised and self._loose.get(adjuster, False):
            self._side.setdefault(adjuster, 1)  # the advice takes a rising setting when nothing is known
        else:
            self._side[adjuster] = 1 if to_mm > from_mm else -1

    def now(self) -> Mapping[str, int]:
        """Return what is known, for a row of the log."""
        return {name: side for name, side in self._side.items() if self._loose.get(name, False)}

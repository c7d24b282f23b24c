"""Which readings stand together, and whether a log fits its setup."""

from __future__ import annotations

from collections.abc import Sequence

from calib.errors import CalibError
from calib.geometry import JointModel
from calib.shop import Cut, Setup


def components(setup: Setup, model: JointModel) -> list[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Return (readings, adjusters) of each group that slopes link, in the setup's order."""
    groups: list[tuple[set[str], set[str]]] = []
    for band in setup.bands:
        slopes = model.slopes.get(band.name, {})
        linked = {a for a, slope in slopes.items() if slope is None or slope != 0.0}
        readings, adjusters = {band.name}, set(linked)
        for group in [g for g in groups if g[1] & linked]:
            groups.remove(group)
            readings |= group[0]
            adjusters |= group[1]
        groups.append((readings, adjusters))
    order = [b.name for b in setup.bands]
    ordered = [
        (tuple(n for n in order if n in r), tuple(a.name for a in setup.adjusters if a.name in s))
        for r, s in groups
    ]
    return sorted(ordered, key=lambda group: order.index(group[0][0]))


def check(setup: Setup, cuts: Sequence[Cut]) -> None:
    """Raise `CalibError` when a cut has a reading that the setup does not know, or lacks a setting."""
    known = [b.name for b in setup.bands]
    for cut in cuts:
        for name in cut.readings:
            if name not in known:
                raise CalibError(
                    f'cut {cut.number}: setup {setup.name} has no reading "{name}". '
                    f"It has: {', '.join(known)}."
                )
        missing = [a.name for a in setup.adjusters if a.name not in cut.settings_mm]
        if missing:
            raise CalibError(f"cut {cut.number} does not say where {missing[0]} stood. Give its setting.")
        if cut.feel is not None and not setup.feel.knows(cut.feel):
            raise CalibError(
                f'cut {cut.number}: feel "{cut.feel}" is not a word of setup {setup.name}. '
                f"It knows: {', '.join(setup.feel.words) or 'none'}."
            )

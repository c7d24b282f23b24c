"""The words for a fit as text: where they begin and end, and what each hand means by them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calib.present.figures import count, span, typed_figure, typed_length
from calib.present.layout import paragraph, table, table_or_records
from calib.shop import Setup


def word_lines(kind: str, words: Mapping[str, tuple[float, float]], units: str) -> list[str]:
    """Return the words of one kind of joint, tight first."""
    if not words:
        return [f"{kind}: no words. Add one: calib feel change {kind} tight=..0.05", ""]
    in_order = sorted(words.items(), key=lambda item: item[1])
    rows = [[word, span(low, high, units)] for word, (low, high) in in_order]
    return [*table([kind, "from the tight side"], rows), ""]


def fit_lines(setup: Setup, fits: Mapping[str | None, Any], width: int, units: str) -> list[str]:
    """Return the limits between the words, as they were stated and as each hand's pairs say.

    Parameters
    ----------
    fits : mapping of person (None: no name) to a fit with limits, spread and number of pairs
    """
    reading = setup.bands[0].name
    if not setup.feel.words:
        return [f"{setup.name}: no words stand for its {reading}. See: calib feel list"]
    lines = word_lines(reading, setup.feel.words, units)
    if not fits:
        text = (
            "No cut was both felt and measured yet (or the words do not follow on each other), so the words "
            "mean what is written above. Log one: calib cut "
            f"{setup.name} {reading}=... feel=..."
        )
        return [*lines, *paragraph(text, width, "", "")]
    for who, fit in fits.items():
        hand = f"{who}'s hand" if who else "this hand"
        lines += paragraph(
            f"In {hand}, from {count(fit.pairs, 'cut')} that {'was' if fit.pairs == 1 else 'were'} felt and "
            f"measured; its own spread is {typed_length(fit.spread_mm, units)} (one standard deviation, nine "
            f"chances in ten: {span(fit.spread_low_mm, fit.spread_high_mm, units)}):",
            width,
            "",
            "",
        )
        head = ["between", f"stated {units}", f"here {units}", f"nine in ten {units}"]
        rows = [
            [
                f"{limit.below} / {limit.above}",
                typed_figure(limit.before_mm, units),
                typed_figure(round(limit.mean_mm, 3), units),
                " to ".join(typed_figure(round(end, 3), units) for end in (limit.low_mm, limit.high_mm)),
            ]
            for limit in fit.limits
        ]
        lines += [*table_or_records(head, rows, width, right=[1, 2]), ""]
    return lines[:-1]

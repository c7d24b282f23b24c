"""The walk through a sample log as text: each cut with the advice in a sentence, the last one in full."""

from __future__ import annotations

from collections.abc import Sequence

from calib.decision.advice import Advice
from calib.present.advice_text import advice_sentence, render_advice
from calib.present.history_text import cut_line
from calib.present.layout import paragraph, to_ascii
from calib.shop import Cut, Setup


def opening(width: int = 80) -> list[str]:
    """Say what the demonstration is."""
    return paragraph(
        "Three sample logs, cut by cut, as they would be typed in. They are invented: nothing in them "
        "was measured. The database is thrown away at the end.",
        width,
    )


def walk_lines(
    setup: Setup,
    story: str,
    steps: Sequence[tuple[Cut, Advice]],
    width: int = 80,
    units: str | None = None,
    ascii_only: bool = False,
) -> list[str]:
    """Return one sample log as lines.

    Parameters
    ----------
    setup : Setup
    story : str
    steps : sequence of (Cut, Advice)
        What was cut, and what was said after it.
    width : int, columns
    """
    lines = ["", f"{setup.name}", "-" * len(setup.name), *paragraph(story, width), ""]
    for cut, advice in steps:
        lines += paragraph(cut_line(setup, cut, units), width, "", "  ")
        if cut.note:
            lines += paragraph(f"note: {cut.note}", width, "  ")
        lines += paragraph(advice_sentence(advice, units), width, "  > ", "    ")
    if steps:
        full = render_advice(steps[-1][1], width=width, units=units, ascii_only=ascii_only)
        lines += ["", "The last advice in full:", "", *full.split("\n")]
    return [to_ascii(line) for line in lines] if ascii_only else lines

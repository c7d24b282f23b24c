"""What the card says, in words: settings as the hand makes them, bands, expectations, the last mountings."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from calib.decision.advice import Advice, Expectation
from calib.decision.edgelife import EdgeLeft
from calib.decision.hand import direction_word
from calib.geometry.thread import pitch_mm
from calib.present.advice_text import step_sentences
from calib.present.figures import (
    count,
    figure,
    length,
    percent,
    reading_text,
    span,
    typed_figure,
    typed_length,
)
from calib.shop import Adjuster, Cut, Setup


def about_lines(setup: Setup, unit: str, metres_m: float) -> list[str]:
    """Say what the setup is: joint, cutter with its metres, stock."""
    joint, cutter = setup.joint, setup.cutter
    width = "" if cutter.nominal_mm is None else f", {typed_length(cutter.nominal_mm, unit)}"
    worn = f", {metres_m:.1f} m since it was sharp" if metres_m else ""
    lines = [f"{joint.kind} joint; cutter {cutter.name}{width}{worn}"]
    stock = [setup.stock] if setup.stock else []
    if joint.thickness_mm is not None:
        stock.append(f"{typed_length(joint.thickness_mm, unit)} thick")
    if stock:
        lines.append(f"stock {', '.join(stock)}")
    return lines


def setting_lines(setup: Setup, settings_mm: Mapping[str, float], unit: str) -> list[str]:
    """Say where each adjuster stands and how it is moved by hand."""
    return [_setting(setup, adjuster, settings_mm.get(adjuster.name), unit) for adjuster in setup.adjusters]


def _setting(setup: Setup, adjuster: Adjuster, mm: float | None, unit: str) -> str:
    if mm is None:
        stands = "not known yet"
    elif adjuster.has_scale:
        stands = typed_length(mm, unit)
    else:
        stands = f"{typed_length(mm, unit)} from its first place"
    said = [f"{adjuster.name} {stands}"]
    said.append("typed in" if adjuster.typed else f"+ is {direction_word(setup, adjuster.name, 1.0)}")
    if adjuster.thread:
        turn = typed_length(pitch_mm(adjuster.thread), unit)
        said.append(f"one turn of its {adjuster.thread} screw is {turn}")
    if adjuster.backlash_mm:
        said.append(f"lost motion {typed_length(adjuster.backlash_mm, unit)}: finish every move the same way")
    return "; ".join(said)


def reading_lines(advice: Advice, unit: str) -> list[str]:
    """Say band, target, expectation and chance of each reading after the advised moves."""
    lines = []
    for r in advice.readings:
        lines.append(
            f"{r.name}: band {span(r.low_mm, r.high_mm, unit)}, target {typed_length(r.target_mm, unit)}"
        )
        chance = percent(r.probability_next)
        lines.append(f"  expect {_range(r, unit)}; {chance} that the next good piece is in its band")
    if advice.moves:
        moves = [text[:1].lower() + text[1:].rstrip(".") for text in step_sentences(advice, unit)[:-1]]
        lines.append(f"These hold once you {'; then '.join(moves)}.")
    return lines


def _range(reading: Expectation, unit: str) -> str:
    low, high = reading.interval90_mm
    return f"{figure(low, unit)} to {length(high, unit)} (nine readings in ten)"


def edge_lines(left: EdgeLeft) -> list[str]:
    """Say how long each reading holds on the edge as it stands; nothing where that is not known."""
    lines = []
    for one in left.readings:
        if one.pieces is None or one.metres_m is None or math.isinf(one.pieces):
            continue
        if one.pieces < 1.0:
            at = percent(left.confidence)
            lines.append(f"Edge: {one.reading} does not hold a piece at {at} as it stands.")
            continue
        metres = f"{one.metres_m:.1f} m" if one.metres_m < 10.0 else f"{one.metres_m:.0f} m"
        lines.append(
            f"Edge: {one.reading} holds at least {metres} ({count(int(one.pieces), 'piece')}) more, at "
            f"{percent(left.confidence)}, if nothing is moved."
        )
    return lines


def sample_lines(samples: Sequence[tuple[str, str | None]]) -> list[str]:
    """Name the kept sample joints of a setup, with their notes."""
    return [
        f"Kept sample joint: {name}{f' ({note})' if note else ''}. Compare the first cut with it."
        for name, note in samples
    ]


def start_lines(
    setup: Setup,
    settings_mm: Mapping[str, float],
    rests_on: str,
    fresh: Advice,
    by_eye: Collection[str],
    unit: str,
) -> list[str]:
    """Say what to set and what to cut first on the next mounting.

    Parameters
    ----------
    fresh : Advice
        On a mounting that starts at these settings and has no cut of its own yet.
    by_eye : collection of reading names
        Those that an adjuster without a scale moves: nothing is known of them before the first cut.
    """
    eyed = [f"{a.name} by eye" for a in setup.adjusters if settings_mm and not a.has_scale]
    named = ", ".join([*(f"{name} {typed_length(mm, unit)}" for name, mm in settings_mm.items()), *eyed])
    lines = [f"Set {named}. {_large(rests_on)}" if named else rests_on]
    tests = fresh.step in ("test_again", "move_and_test", "measure_again")
    what = "a test cut in scrap of the final thickness" if tests else "one good piece"
    names = " and ".join(band.name for band in setup.bands)
    lines.append(f"Cut first: {what}; measure {names} before anything is moved.")
    for r in fresh.readings:
        known = "not known before it is cut" if r.name in by_eye else f"expect {_range(r, unit)}"
        lines.append(f"  {r.name}: {known}")
    return [*lines, "That wide, because a new mounting does not land where the last one did."]


def mounting_line(
    number: int, when: str, cutter: str | None, cuts: Sequence[Cut], setup: Setup, unit: str
) -> str:
    """Say where one mounting ended, and what was read there."""
    last = cuts[-1]
    where = ", ".join(
        f"{a.name} {typed_figure(last.settings_mm[a.name], unit)}"
        for a in setup.adjusters
        if a.name in last.settings_mm
    )
    read = [
        f"{band.name} {reading_text(last.readings[band.name][-1], unit)}"
        for band in setup.bands
        if last.readings.get(band.name)
    ]
    ended = "good pieces" if last.kind == "good" else "a test cut"
    head = ", ".join(part for part in (f"mounting {number}", when[:10], cutter) if part)
    text = f"{head}: {where} {unit}; ended in {ended}"
    return text + (f" with {', '.join(read)} {unit}" if read else "")


def _large(text: str) -> str:
    return text[:1].upper() + text[1:]

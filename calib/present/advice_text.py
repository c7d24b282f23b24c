"""The advice as a maker reads it: the answer first, then how sure, then why, then the cautions.

One idea a line. A probability is never said without what it is a probability of, and is never
0 or 100 %. Nothing is decided here: every number stands in the `Advice`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

from calib.decision.advice import Advice, Expectation, Move
from calib.decision.hand import way_of
from calib.present.figures import count, figure, in_units, length, minutes, percent, span, typed_length
from calib.present.layout import paragraph, section, to_ascii
from calib.present.picture import belief_line, legend


def render_advice(
    advice: Advice, *, width: int = 80, units: str | None = None, ascii_only: bool = False
) -> str:
    """Write an advice as plain text.

    Parameters
    ----------
    advice : Advice
    width : int, columns
        Lines are wrapped at it; meant for 40 and more.
    units : {"mm", "in"} or None
        None = the setup's own.
    ascii_only : bool
        For an output that can show no other signs.

    Returns
    -------
    str
        Lines without trailing blanks, without a last newline.
    """
    unit = units or advice.units
    advice = _with_texts(advice, lambda text: in_units(text, unit))
    if ascii_only:  # before wrapping, for some signs become words
        advice = _with_texts(advice, to_ascii)
    lines = _answer(advice, unit, width)
    for reading in advice.readings:
        lines += ["", *_reading(reading, advice, unit, width, ascii_only)]
    if any(belief_line(reading) for reading in advice.readings):
        lines += paragraph(legend(ascii_only), width, "  ")
    lines += _together(advice, width)
    lines += section("Why", [*_reasons(advice), *_outlook(advice)], width)
    lines += section("Please look", advice.doubts, width, "?")
    lines += section("Mind", advice.warnings, width, "!")
    if advice.step in ("test_again", "move_and_test"):
        lines += section("So that the next test counts", advice.hints, width)
    lines += section("Before you touch anything", advice.cautions, width, "*")
    return "\n".join(lines)


def advice_sentence(advice: Advice, units: str | None = None) -> str:
    """Say the step and its probability in one line, for histories and walk-throughs."""
    unit = units or advice.units
    advice = _with_texts(advice, lambda text: in_units(text, unit))
    words = " ".join([*(_move(move, unit, short=True) for move in advice.moves), _step(advice)])
    return f"{words} {_sentence_start(chance_of_next(advice))}."


def step_sentences(advice: Advice, units: str | None = None) -> list[str]:
    """Say the step: a sentence a move, then what to do after them."""
    unit = units or advice.units
    advice = _with_texts(advice, lambda text: in_units(text, unit))
    return [*(_move(move, unit) for move in advice.moves), _step(advice)]


def chance_of_next(advice: Advice) -> str:
    """Say the probability of the next good piece: "86 % that the next good piece is in your band"."""
    bands = "your band" if len(advice.readings) == 1 else "all your bands"
    return f"{percent(advice.probability_next)} that the next good piece is in {bands}"


def _answer(advice: Advice, unit: str, width: int) -> list[str]:
    """Return the step, a sentence a paragraph."""
    return [line for text in step_sentences(advice, unit) for line in paragraph(text, width, "", "  ")]


def _move(move: Move, unit: str, short: bool = False) -> str:
    """Say one move as a sentence, in the words of its `how` or in fewer."""
    how = move.how.strip().rstrip(".")
    if how.startswith("type "):
        return f"{_sentence_start(how)}."
    if how and not short:
        return f"Move the {move.adjuster} {how}."
    way, by, _ = how.partition(" by ")
    way = way if by else way_of(move.adjuster, move.change_mm)
    to = "" if how and ", to " not in how else f", to {typed_length(move.to_mm, unit)}"
    return f"Move the {move.adjuster} {typed_length(abs(move.change_mm), unit)} {way}{to}."


def _step(advice: Advice) -> str:
    """Say what to do after the moves."""
    then = "Then " if advice.moves else ""
    if advice.pieces_left == 0 and advice.step == "cut_good":
        return f"Nothing is left to cut. More to do: calib setup change {advice.setup} pieces_left=16"
    if advice.step in ("cut_good", "move_and_cut_good"):
        pieces = "the good piece" if advice.pieces_left == 1 else f"the {advice.pieces_left} good pieces"
        return f"Then cut {pieces}." if then else f"Cut {pieces}; leave everything where it is."
    if advice.step in ("test_again", "move_and_test"):
        test = "one more test cut" if advice.cuts_used else "a first test cut"
        return f"Then make {test}." if then else f"Move nothing; make {test}."
    if advice.step == "measure_again":
        cut = "the last cut" if advice.measure_again_cut is None else f"cut {advice.measure_again_cut}"
        return f"Measure {cut} again before you move or cut anything."
    return "Sharpen or change the cutter before the next good piece."


def _reading(reading: Expectation, advice: Advice, unit: str, width: int, ascii_only: bool) -> list[str]:
    """Return the block of one reading: band, expectation, chance, picture."""
    band, target = span(reading.low_mm, reading.high_mm, unit), typed_length(reading.target_mm, unit)
    name = f"{reading.name}, once moved" if advice.moves else reading.name
    lines = paragraph(f"{name}: band {band}, target {target}", width, "", "  ")
    lines += paragraph(_expectation(reading, unit, ascii_only), width, "  expect  ")
    lines += paragraph(_chance(reading, advice.pieces_left), width, "  chance  ")
    picture = belief_line(reading, min(width - 4, 60), ascii_only)
    return [*lines, f"  {picture}"] if picture else lines


def _expectation(reading: Expectation, unit: str, ascii_only: bool) -> str:
    """Say what the next measurement should read."""
    low, high = reading.interval90_mm
    if not (math.isfinite(low) and math.isfinite(high)):
        return "not known yet: this needs a first cut"
    half = length(0.5 * (high - low), unit)
    range90 = f"{figure(low, unit)} to {length(high, unit)}"
    within = "+/-" if ascii_only else "±"
    return f"{figure(reading.expected_mm, unit)} {within} {half} (nine readings in ten: {range90})"


def _chance(reading: Expectation, pieces: int) -> str:
    """Say both probabilities of one reading, with what they are of."""
    text = f"{percent(reading.probability_next)} that the next good piece is in its band"
    if pieces > 1:
        text += f"; {percent(reading.probability_all)} that all {pieces} are"
    return text


def _together(advice: Advice, width: int) -> list[str]:
    """Return the joint probability, where there is more than one reading."""
    if len(advice.readings) < 2:
        return []
    text = chance_of_next(advice)
    if advice.pieces_left > 1:
        text += f"; {percent(advice.probability_all)} that all {advice.pieces_left} are"
    return ["", *paragraph(text, width, "together: ", "  ")]


def _reasons(advice: Advice) -> tuple[str, ...]:
    """Return the reasons given, else the two numbers that every advice has."""
    if advice.reasons or advice.pieces_left == 0:
        return advice.reasons
    return (
        f"From here about {minutes(advice.best_min)} are to be expected this way, and "
        f"{minutes(advice.cut_now_min)} if you cut the good pieces now without moving.",
    )


def _outlook(advice: Advice) -> list[str]:
    """Say how many tests are to come, when to look again and how long the setting should hold."""
    lines = []
    if advice.tests_expected >= 0.05 and not advice.reasons:  # given reasons count the tests themselves
        tests = f"{advice.tests_expected:.1f}"
        lines.append(f"Test cuts still to be expected, the next one included: {tests}.")
    if advice.check_after_pieces is not None:
        lines.append(f"Measure a good piece after {count(advice.check_after_pieces, 'piece')}.")
    if advice.holds_for_pieces is not None:
        lines.append(f"The setting should hold for at least {count(advice.holds_for_pieces, 'piece')}.")
    return lines


def _sentence_start(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def _with_texts(advice: Advice, change: Callable[[str], str]) -> Advice:
    """Return an advice with every text changed."""
    return replace(
        advice,
        moves=tuple(replace(m, adjuster=change(m.adjuster), how=change(m.how)) for m in advice.moves),
        readings=tuple(replace(reading, name=change(reading.name)) for reading in advice.readings),
        doubts=tuple(map(change, advice.doubts)),
        warnings=tuple(map(change, advice.warnings)),
        cautions=tuple(map(change, advice.cautions)),
        reasons=tuple(map(change, advice.reasons)),
        hints=tuple(map(change, advice.hints)),
    )

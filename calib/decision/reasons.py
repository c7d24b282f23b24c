"""Why this step, what is doubted and what limits the answer: in sentences, with minutes and units."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from calib.decision.advice import ActionValue, Expectation
from calib.decision.choice import Choice
from calib.decision.explore import slope_known
from calib.decision.shifted import shift_questions, shift_warnings
from calib.decision.slips import slips_against
from calib.regression.infer import Posterior
from calib.regression.prospect import Prospect
from calib.regression.shift import Shift
from calib.shop import LEARN, Cut, Interval, Reading, Setup
from calib.units import format_length

if TYPE_CHECKING:
    from calib.regression.learn.state import Carried

#: A reading that is a slip with more than this probability is named.
DOUBTED = 0.5
_TURNED = 0.3

_NAMES = {
    "cut_good": "cutting the good stock as it stands",
    "move_and_cut_good": "moving and cutting the good stock at once",
    "test_again": "one more test cut as it stands",
    "move_and_test": "moving and making one more test cut",
    "measure_again": "measuring the last cut again",
    "resharpen": "sharpening the cutter and starting over",
}


def why(setup: Setup, options: Sequence[ActionValue], best: ActionValue, cut_now: float) -> tuple[str, ...]:
    """Return the reasons for a step, in expected minutes from now (spoiled pieces included).

    Parameters
    ----------
    options : sequence of ActionValue, cheapest first
    """
    if setup.pieces_left == 0:
        return ()
    expected = f"Expected from now on, spoiled pieces included: {minutes(best.minutes)}"
    if best.step != "cut_good":
        expected += f" this way, {minutes(cut_now)} if {_batch(setup.pieces_left)} cut as it stands"
    lines = [f"{expected}."]
    others = [o for o in options if o.step != best.step and o.step != "cut_good"]
    if best.step == "measure_again" and others and others[0].minutes < best.minutes:
        lines.append("The last reading cannot be believed yet; nothing is moved on it.")
        return tuple(lines)
    others = [o for o in others if best.step != "resharpen" or o.minutes > best.minutes]
    if others:
        other = min(others, key=lambda o: o.minutes)
        more = other.minutes - best.minutes
        costs = f"{minutes(more)} more" if more >= 0.05 else "as good as the same"
        lines.append(f"The next best, {_NAMES[other.step]}, costs {costs}.")
    if best.step in ("test_again", "move_and_test"):
        if any(o.minutes < best.minutes for o in options if o.step in ("cut_good", "move_and_cut_good")):
            lines.append("To cut the good stock costs hardly less, and what it spoils cannot be taken back.")
        lines.append(
            f"A test cut costs {minutes(setup.stakes.test_cut_min)}; {best.tests:.1f} are expected, "
            "this one included."
        )
    return tuple(lines)


def spoils(setup: Setup, expected: Sequence[Expectation], together: float) -> tuple[str, ...]:
    """Say how many good pieces are expected outside a band when they are cut, and what would change that.

    Parameters
    ----------
    expected : sequence of Expectation
    together : float
        Probability that the next good piece is inside all bands.
    """
    outside = round(setup.pieces_left * (1.0 - together))
    if outside < 1 or setup.pieces_left < 2:
        return ()
    worst = min(expected, key=lambda reading: reading.probability_next)
    own = setup.stakes.of(worst.name)
    high = worst.expected_mm > 0.5 * (worst.low_mm + worst.high_mm)
    side, price = ("too_high", own.too_high_min) if high else ("too_low", own.too_low_min)
    return (
        f"About {outside} of the {setup.pieces_left} pieces are expected outside {_bands(setup)}; at the "
        f"prices that were given more tests do not pay. If a spoiled piece costs you more than "
        f"{minutes(price)}, say so: calib setup change {setup.name} stakes.{worst.name}.{side}=...",
    )


def _bands(setup: Setup) -> str:
    return "the band" if len(setup.bands) == 1 else "a band"


def rests_on(carried: Carried | None, used: int) -> tuple[str, ...]:
    """Say what a belief rests on besides the cuts of this mounting."""
    if carried is None or not carried.mountings:
        return ()
    many = len(carried.mountings)
    here = f"{used} cut{'' if used == 1 else 's'} of this mounting and on" if used else "no cut yet, but on"
    return (f"It rests on {here} what {many} earlier mounting{'' if many == 1 else 's'} taught.",)


def _batch(pieces: int) -> str:
    return "the piece were" if pieces == 1 else f"all {pieces} pieces were"


def minutes(value: float) -> str:
    """Return minutes as people say them: one decimal below ten."""
    return f"{value:.1f} min" if abs(value) < 10.0 else f"{value:.0f} min"


def doubts(
    setup: Setup, rows: Sequence[Cut], belief: Posterior, shifts: Sequence[Shift], wild: Cut | None
) -> tuple[str, ...]:
    """Return questions to the maker: a shift, readings that look like slips, scales the other way round."""
    lines = shift_questions(setup, rows, shifts)
    for block in belief.blocks:
        for row, chance in block.bad:
            if chance <= DOUBTED and not (wild is not None and row.cut == wild.number and chance > 0.4):
                continue
            reading = block.block.readings[row.reading]
            value = format_length(row.value_mm + row.known_mm, setup.units)
            others = any(other.cut != row.cut for other in block.block.rows)
            says = "the other cuts say" if others else "was assumed before any cut"
            lines.append(
                f"Cut {row.cut}: {reading} {value} is far from what {says} "
                f"({_percent(chance)} that it is a slip). "
                + (
                    f"Measure cut {row.cut} again before anything is moved."
                    if wild is not None and row.cut == wild.number
                    else "It hardly counts; measure it again if the piece is at hand."
                )
                + _meant(setup, rows, row.cut, reading)
            )
        for adjuster, chance in block.reversed_scales.items():
            if chance > _TURNED:
                lines.append(
                    f"The scale of the {adjuster} seems to count the other way ({_percent(chance)}): "
                    f"the cuts went against it. Does its number rise in the direction that was meant?"
                )
    return tuple(lines)


def _meant(setup: Setup, rows: Sequence[Cut], number: int, reading: str) -> str:
    """Say what was probably meant, when a slip of the fingers would explain a reading."""
    cut = next((row for row in rows if row.number == number and row.readings), None)
    found = () if cut is None else slips_against(setup, rows, cut)
    slip = next((slip for slip in found if slip.reading == reading), None)
    if slip is None:
        return ""
    meant = format_length(slip.meant_mm, setup.units)
    typed = meant.replace(" ", "")
    return f" Was {meant} meant ({slip.kind})? Then: calib again {number} {reading}={typed} --instead"


def levers(setup: Setup, belief: Posterior) -> tuple[str, ...]:
    """Return what the cuts say of levers that are to be learned, or that they say nothing yet."""
    lines = []
    for adjuster in setup.adjusters:
        if adjuster.lever != LEARN:
            continue
        found = belief.lever(adjuster.name)
        low, high = found.interval(0.9)
        told = f"{found.expected:.2f} (nine chances in ten: {low:.2f} to {high:.2f})"
        moves = [move for block in belief.blocks for move in block.block.track.moves]
        moved = any(move.adjuster == adjuster.name and move.change_mm for move in moves)
        lines.append(
            f"The lever of the {adjuster.name}, at the cutter per 1 of shim or screw: {told}"
            + ("." if moved else ", an assumption until it was cut at another position.")
        )
    return tuple(lines)


def _percent(probability: float) -> str:
    if probability > 0.99:
        return "over 99 %"
    return f"{100 * probability:.0f} %"


def warnings(
    setup: Setup,
    rows: Sequence[Cut],
    shifts: Sequence[Shift],
    carried: Carried | None,
    futures: Sequence[Prospect],
    choices: Sequence[Choice],
) -> tuple[str, ...]:
    """Return what limits the answer."""
    lines = shift_warnings(shifts)
    taught = carried is not None and carried.numbers > 0
    measured = {name for cut in rows for name in cut.readings}
    felt = any(cut.feel for cut in rows)
    for k, band in enumerate(setup.bands):
        if band.name not in measured and not (felt and k == 0) and not taught:
            lines.append(f"No cut says anything of {band.name} yet: its numbers are assumptions.")
    if setup.pieces_left == 0:
        lines.append("No good pieces are left to cut, so nothing is at stake.")
    for future, choice in zip(futures, choices, strict=True):
        lines += _beyond_reach(setup, future, choice)
        lines += _not_learned(future)
    if measured and not _varied(rows) and not taught:
        lines.append("All readings are from one cut; how much cuts differ is still an assumption.")
    return tuple(lines)


def _varied(rows: Sequence[Cut]) -> bool:
    measured = [cut for cut in rows if any(_is_number(v) for r in cut.readings.values() for v in r)]
    return len(measured) > 1


def _is_number(value: Reading) -> bool:
    return not isinstance(value, Interval)


def _beyond_reach(setup: Setup, future: Prospect, choice: Choice) -> list[str]:
    """Say when a reading stays off its band because the range of every adjuster that moves it ends."""
    mean, _ = future.after(choice.change_mm[None, :], choice.moved[None, :])
    lines = []
    for f, reading in enumerate(future.readings):
        band = setup.band(reading)
        at = float(future.weights @ mean[:, 0, f])
        slopes = future.weights @ future.slopes[:, f, :]
        movers = [a for a in range(len(future.adjusters)) if abs(slopes[a]) > 1e-3]
        if band.low_mm <= at <= band.high_mm or not movers:
            continue
        wanted = [
            float(future.now_mm[a] + choice.change_mm[a] + (band.target_mm - at) / slopes[a]) for a in movers
        ]
        short = [
            (a, to)
            for a, to in zip(movers, wanted, strict=True)
            if not setup.adjuster(future.adjusters[a]).reaches(to)
        ]
        if len(short) == len(movers):
            a, to = short[0]
            lines.append(
                f"The {future.adjusters[a]} cannot reach the target of {reading}: it would have to stand at "
                f"{format_length(to, setup.units)}, outside its range."
            )
    return lines


def _not_learned(future: Prospect) -> list[str]:
    return [
        f"How the {future.adjusters[a]} moves {reading} is not known yet: "
        f"it needs one cut at another {future.adjusters[a]} position."
        for f, reading in enumerate(future.readings)
        for a in range(len(future.adjusters))
        if not slope_known(future, f, a)
    ]

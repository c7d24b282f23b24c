"""Rules that a maker may follow: from the log so far to the next step.

Every rule is a function of (setup, cuts) and knows nothing of the truth. `program` is the advice;
`posterior_90` is the same belief with a threshold instead of a plan; the others are rules of the
trade or of the literature, each with the same stop (the first cut whose readings are all inside)
unless its own says otherwise.

Symbols
-------
y reading less target (mm), x setting (mm), S slopes (readings by adjusters), n cuts so far
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.decision.advice import Step
from calib.decision.advise import next_step
from calib.decision.odds import chance_of, shared_at
from calib.decision.reach import changes
from calib.errors import CalibError
from calib.geometry import describe
from calib.normal import cdf
from calib.regression import posterior
from calib.regression.prospect import Prospect, prospect
from calib.shop import Adjuster, Cut, Interval, Setup

Array = NDArray[np.float64]

#: The probability that a threshold rule waits for.
THRESHOLD = 0.9
#: Weight of the newest reading of the exponentially weighted average, and its dead band in half-bands.
EWMA_WEIGHT = 0.5
DEAD_BAND = 0.5
#: A threshold rule moves only for a better chance by this much.
_BETTER = 0.01


@dataclass(frozen=True)
class Action:
    """One step, where every scale stands when it is made, and how often its cut is measured."""

    step: Step
    settings_mm: Mapping[str, float]
    times: int = 1


Rule = Callable[[Setup, Sequence[Cut]], Action]


def program(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Follow the advice."""
    return Action(*next_step(setup, cuts))


def chase(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Move by the whole error of the last cut; stop at the first cut inside."""
    return _correct(setup, cuts, inside=1, gain=lambda n: 1.0)


def chase_twice(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Move by the whole error of the last cut; stop when two cuts in a row are inside."""
    return _correct(setup, cuts, inside=2, gain=lambda n: 1.0)


def harmonic(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """After cut n move by 1/n of its error (Grubbs 1954, M); stop at the first cut inside."""
    return _correct(setup, cuts, inside=1, gain=lambda n: 1.0 / n)


def extended(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Move by the gain of the known sds, the error of a move included; stop at the first cut inside.

    K = P / (P + s^2), P <- (1 - K) P + q, from the medians of the setup's knowledge.
    """
    return _correct(setup, cuts, inside=1, gain=lambda n: _kalman_gain(setup, n))


def ewma(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Move by the whole weighted average of the errors when it leaves the dead band."""
    y = _errors(setup, cuts)
    here = _standing(setup, cuts)
    if not len(y):
        return Action("test_again", here)
    x = _settings(setup, cuts)
    now = y + (x[-1] - x) @ _slopes(setup).T  # what each cut would read at today's setting
    average = now[0]
    for value in now[1:]:
        average = (1.0 - EWMA_WEIGHT) * average + EWMA_WEIGHT * value
    quiet = np.abs(average) <= DEAD_BAND * _half_bands(setup)
    if quiet.all():
        return Action("cut_good" if _inside(setup, y[-1]) else "test_again", here)
    return _moved(setup, here, average, "move_and_test")


def plug_in(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Aim by least squares over all cuts, moves taken as exact, until the plug-in chance is 90 %."""
    y = _errors(setup, cuts)
    here = _standing(setup, cuts)
    if not len(y):
        return Action("test_again", here)
    x = _settings(setup, cuts)
    now = y + (x[-1] - x) @ _slopes(setup).T
    n = len(now)
    sd = now.std(axis=0, ddof=1) if n > 1 else _noise(setup)
    target = _moved(setup, here, now.mean(axis=0), "move_and_test")
    change = np.array([target.settings_mm[a.name] - here[a.name] for a in setup.adjusters])
    spread = np.maximum(sd, 1e-6) * math.sqrt(1.0 + 1.0 / n)
    stay = _chance(setup, now.mean(axis=0), spread)
    move = _chance(setup, now.mean(axis=0) + _slopes(setup) @ change, spread)
    if stay >= THRESHOLD or target.settings_mm == here:
        return Action("cut_good" if stay >= THRESHOLD else "test_again", here)
    return Action("move_and_cut_good" if move >= THRESHOLD else "move_and_test", target.settings_mm)


def posterior_90(setup: Setup, cuts: Sequence[Cut]) -> Action:
    """Hold the model's belief; move to the best chance of the next piece, cut as soon as it is 90 %."""
    here = _standing(setup, cuts)
    settings = dict(here)
    stay = best = 1.0
    for block in posterior(setup, cuts).blocks:
        future = prospect(block)
        now, at, chance = _best_position(setup, future)
        stay, best = stay * now, best * chance
        settings.update(at)
    if stay >= THRESHOLD or best < stay + _BETTER:
        return Action("cut_good" if stay >= THRESHOLD else "test_again", here)
    return Action("move_and_cut_good" if best >= THRESHOLD else "move_and_test", settings)


#: Every rule that the benchmarks compare, by its name there.
RULES: dict[str, Rule] = {
    "program": program,
    "posterior 90 %": posterior_90,
    "chase": chase,
    "chase, two inside": chase_twice,
    "harmonic": harmonic,
    "extended": extended,
    "ewma, dead band": ewma,
    "plug-in": plug_in,
}


def _correct(setup: Setup, cuts: Sequence[Cut], inside: int, gain: Callable[[int], float]) -> Action:
    """Move by a share of the last error until so many cuts in a row are inside."""
    y = _errors(setup, cuts)
    here = _standing(setup, cuts)
    if not len(y):
        return Action("test_again", here)
    if _inside(setup, y[-1]):
        done = len(y) >= inside and all(_inside(setup, row) for row in y[-inside:])
        return Action("cut_good" if done else "test_again", here)
    return _moved(setup, here, gain(len(y)) * y[-1], "move_and_test")


def _moved(setup: Setup, here: Mapping[str, float], error: Array, step: Step) -> Action:
    """Take an error out with as small a move as does it, each adjuster to its nearest step."""
    change = -np.linalg.pinv(_slopes(setup)) @ error
    settings = {
        a.name: _nearest(a, here[a.name], float(by)) for a, by in zip(setup.adjusters, change, strict=True)
    }
    return Action(step if settings != here else "test_again", settings)


def _nearest(adjuster: Adjuster, here_mm: float, by_mm: float) -> float:
    step = adjuster.least_step_mm
    by_mm = round(by_mm / step) * step if step > 0.0 else by_mm
    if by_mm == 0.0:
        return here_mm
    return min(max(here_mm + by_mm, adjuster.low_mm), adjuster.high_mm)


def _kalman_gain(setup: Setup, n: int) -> float:
    """Gain of the first reading's error after cut n."""
    known, reading = setup.knowledge, setup.bands[0].name
    noise = float(_noise(setup)[0]) ** 2
    landing = sum(
        (slope * setup.move_sd_mm(a.name)) ** 2
        for a, slope in zip(setup.adjusters, _slopes(setup)[0], strict=True)
    )
    P = known.scale(reading, "offset_sd_mm") ** 2
    K = 1.0
    for _ in range(n):
        K = 1.0 if math.isinf(P) else P / (P + noise)
        P = (noise if math.isinf(P) else (1.0 - K) * P) + landing
    return K


def _best_position(setup: Setup, future: Prospect) -> tuple[float, dict[str, float], float]:
    """Return chance of the next piece here, the best settings of one block and the chance there."""
    A = len(future.adjusters)
    bands = tuple(setup.band(f) for f in future.readings)
    change, moved = np.zeros(A), np.zeros(A, dtype=bool)
    here = chance_of(shared_at(future, change, moved), bands, 1).next_piece
    for a in range(A):
        found, chances = _along(setup, future, a, change, moved)
        if len(found):
            change[a], moved[a] = found[int(np.argmax(chances))], True
    best = chance_of(shared_at(future, change, moved), bands, 1).next_piece if moved.any() else here
    at = {n: float(future.now_mm[a] + change[a]) for a, n in enumerate(future.adjusters) if moved[a]}
    return here, at, best


def _along(
    setup: Setup, future: Prospect, a: int, change: Array, moved: NDArray[np.bool_]
) -> tuple[Array, Array]:
    """Reachable moves of one adjuster, with the product over readings of the chance of each band."""
    slopes = future.weights @ future.slopes[:, :, a]
    mean, _ = future.after(change[None, :], moved[None, :])
    at = future.weights @ mean[:, 0]
    bands = [setup.band(f) for f in future.readings]
    aims = np.array([(b.target_mm - at[f]) / slopes[f] for f, b in enumerate(bands) if abs(slopes[f]) > 1e-3])
    if not len(aims):
        return aims, aims
    span = max(b.high_mm - b.low_mm for b in bands)
    found = changes(setup.adjuster(future.adjusters[a]), float(future.now_mm[a]), aims, span)
    many, moving = np.tile(change, (len(found), 1)), np.tile(moved, (len(found), 1))
    many[:, a], moving[:, a] = found, True
    mean, covariance = future.after(many, moving)
    chances = np.ones(len(found))
    for f, band in enumerate(bands):
        sd = np.sqrt(covariance[:, :, f, f] + future.cut_sd[:, f, None] ** 2)
        at_f = mean[:, :, f]
        chances *= future.weights @ (cdf((band.high_mm - at_f) / sd) - cdf((band.low_mm - at_f) / sd))
    return found, chances


def _slopes(setup: Setup) -> Array:
    """Slopes that geometry or the setup states, shape (F, A)."""
    model = describe(setup, {a.name: 0.0 for a in setup.adjusters})
    rows = [[model.slopes[b.name][a.name] for a in setup.adjusters] for b in setup.bands]
    if any(slope is None for row in rows for slope in row):
        raise CalibError(f"setup {setup.name}: a slope is to be learned; this rule needs it as a number.")
    return np.array(rows, dtype=np.float64)


def _measured_cuts(cuts: Sequence[Cut]) -> list[Cut]:
    return [cut for cut in cuts if cut.readings]


def _errors(setup: Setup, cuts: Sequence[Cut]) -> Array:
    """Readings less targets, repeats averaged, shape (n, F)."""
    rows = [[_mean(cut, b.name) - b.target_mm for b in setup.bands] for cut in _measured_cuts(cuts)]
    return np.array(rows, dtype=np.float64)


def _mean(cut: Cut, reading: str) -> float:
    values = [v for v in cut.readings[reading] if not isinstance(v, Interval)]
    return float(sum(values)) / len(values)


def _settings(setup: Setup, cuts: Sequence[Cut]) -> Array:
    return np.array([[cut.settings_mm[a.name] for a in setup.adjusters] for cut in _measured_cuts(cuts)])


def _standing(setup: Setup, cuts: Sequence[Cut]) -> dict[str, float]:
    return {a.name: float(cuts[-1].settings_mm[a.name]) for a in setup.adjusters}


def _inside(setup: Setup, error: Array) -> bool:
    return all(b.low_mm <= b.target_mm + e <= b.high_mm for b, e in zip(setup.bands, error, strict=True))


def _half_bands(setup: Setup) -> Array:
    return np.array([0.5 * (b.high_mm - b.low_mm) for b in setup.bands])


def _noise(setup: Setup) -> Array:
    known, names = setup.knowledge, [b.name for b in setup.bands]
    return np.array([math.hypot(known.scale(f, "cut_sd_mm"), known.scale(f, "reading_sd_mm")) for f in names])


def _chance(setup: Setup, error: Array, sd: Array) -> float:
    chance = 1.0
    for band, e, s in zip(setup.bands, error, sd, strict=True):
        at = band.target_mm + float(e)
        chance *= float(cdf((band.high_mm - at) / s) - cdf((band.low_mm - at) / s))
    return chance

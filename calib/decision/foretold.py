"""What is told of a step: its moves as the hand makes them, and what every reading should be after them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calib.decision.advice import Expectation, Move
from calib.decision.approach import last_approach
from calib.decision.choice import Choice
from calib.decision.hand import how_to_move
from calib.decision.odds import Chance, chance_of, shared_at
from calib.regression.mixture import Mixture
from calib.regression.prospect import Prospect
from calib.shop import Cut, Setup


def moves_of(
    setup: Setup, rows: Sequence[Cut], futures: Sequence[Prospect], choices: Sequence[Choice]
) -> tuple[Move, ...]:
    """Return the moves of a step, each as the hand makes it, with the error that such moves have."""
    moves = []
    for future, choice in zip(futures, choices, strict=True):
        for a, adjuster in enumerate(future.adjusters):
            if choice.moved[a]:
                start = float(future.now_mm[a])
                end = start + float(choice.change_mm[a])
                how = how_to_move(
                    setup, adjuster, start, end, last_approach(setup, rows, adjuster),
                    usual_error_mm=usual_error(future, a), lever=lever_of(future, a),
                )  # fmt: skip
                moves.append(Move(adjuster, start, end, how))
    return tuple(moves)


def usual_error(future: Prospect, a: int) -> float:
    """Return what nine moves in ten of an adjuster land within, mm of its scale."""
    sd = future.move_sd[:, a]
    return Mixture(future.weights, np.zeros(len(sd)), sd).quantile(0.95) if sd.max() > 0.0 else 0.0


def lever_of(future: Prospect, a: int) -> float | None:
    """Return how far a reading goes when an adjuster goes by 1, as the cuts say; None while it is learned."""
    if future.learned[:, a].any():
        return None
    F, A = len(future.readings), len(future.adjusters)
    f = int(np.argmax(np.abs(future.slopes[:, :, a]).max(axis=0)))
    told = future.slopes[:, f, a] * (1.0 + future.mean[:, F + A + a])
    return abs(float(future.weights @ told))


def expectations(
    setup: Setup, futures: Sequence[Prospect], choices: Sequence[Choice]
) -> tuple[tuple[Expectation, ...], Chance]:
    """Return what every reading should be after the moves, and the joint chance over the readings."""
    found: dict[str, Expectation] = {}
    joint_next = joint_all = 1.0
    for future, choice in zip(futures, choices, strict=True):
        shared = shared_at(future, choice.change_mm, choice.moved)
        bands = tuple(setup.band(f) for f in future.readings)
        block = chance_of(shared, bands, setup.pieces_left)
        joint_next, joint_all = joint_next * block.next_piece, joint_all * block.all_pieces
        for f, band in enumerate(bands):
            alone = chance_of(shared.only(f), (band,), setup.pieces_left) if len(bands) > 1 else block
            measured = next_reading(future, choice, f)
            found[band.name] = Expectation(
                band.name, band.target_mm, band.low_mm, band.high_mm, measured.expected, measured.u,
                measured.interval(0.9), alone.next_piece, alone.all_pieces,
                measured.cdf(band.high_mm) - measured.cdf(band.low_mm),
            )  # fmt: skip
    ordered = tuple(found[b.name] for b in setup.bands)
    return ordered, Chance(joint_next, joint_all)


def next_reading(future: Prospect, choice: Choice, f: int) -> Mixture:
    """Return the next measured value of reading f after a choice's moves, mm."""
    mean, covariance = future.after(choice.change_mm[None, :], choice.moved[None, :], measured=True)
    variance = covariance[:, 0, f, f] + future.cut_sd[:, f] ** 2 + future.reading_sd[:, f] ** 2
    return Mixture(future.weights, mean[:, 0, f], np.sqrt(variance))

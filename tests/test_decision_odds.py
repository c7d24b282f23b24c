"""The chance of a batch against counting simulated batches: 1e6 draws, three standard errors."""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.decision.odds import Chance, Shared, chance_of, shared_at
from calib.regression import posterior
from calib.regression.prospect import prospect
from calib.shop import Adjuster, Band, Cut, Joint, Knowledge, Setup

DRAWS = 1_000_000
STANDARD_ERRORS = 3.0
BANDS = (Band("clearance", 0.07, 0.02, 0.12), Band("proud", 0.1, 0.0, 0.2))


def shared(mean: list[float], sd: list[float], correlation: float = 0.0, **rest: list[float]) -> Shared:
    """Return a future of one known component; rest: cut_sd, drift, creep_sd per reading."""
    F = len(mean)
    covariance = np.outer(sd, sd) * (correlation + (1.0 - correlation) * np.eye(F))
    return Shared(
        weights=np.ones(1),
        mean=np.array([mean]),
        covariance=covariance[None],
        cut_sd=np.array([rest.get("cut_sd", [0.02] * F)]),
        drift=np.array([rest.get("drift", [0.0] * F)]),
        creep_variance=np.array([rest.get("creep_sd", [0.0] * F)]) ** 2,
    )


def counted(future: Shared, bands: tuple[Band, ...], pieces: int, seed: int) -> Chance:
    """Count how often the first piece, and all of them, are inside every band in simulated batches."""
    rng = np.random.default_rng(seed)
    first = every = 0
    for _ in range(10):
        n = DRAWS // 10
        c = rng.choice(len(future.weights), size=n, p=future.weights)
        root = np.linalg.cholesky(future.covariance + 1e-18 * np.eye(len(bands)))
        level = future.mean[c] + np.einsum("nfg,ng->nf", root[c], rng.standard_normal((n, len(bands))))
        creep = np.sqrt(future.creep_variance)[c] * rng.standard_normal((n, len(bands)))
        drift = future.drift[c] + creep
        inside = np.ones(n, dtype=bool)
        for i in range(pieces):
            size = level + i * drift + future.cut_sd[c] * rng.standard_normal((n, len(bands)))
            for f, band in enumerate(bands):
                inside &= (size[:, f] > band.low_mm) & (size[:, f] < band.high_mm)
            if i == 0:
                first += int(inside.sum())
        every += int(inside.sum())
    return Chance(first / DRAWS, every / DRAWS)


def agrees(computed: float, share: float) -> bool:
    """Tell whether a probability is within three standard errors of a counted share."""
    return abs(computed - share) <= STANDARD_ERRORS * math.sqrt(computed * (1.0 - computed) / DRAWS)


@pytest.mark.parametrize(
    ("name", "future", "bands", "pieces"),
    [
        ("one piece", shared([0.08], [0.02]), BANDS[:1], 1),
        ("sixteen", shared([0.08], [0.015]), BANDS[:1], 16),
        ("level hardly known", shared([0.05], [0.2]), BANDS[:1], 12),
        ("scatter hardly any", shared([0.1], [0.015], cut_sd=[0.002]), BANDS[:1], 16),
        ("wide and fine", shared([0.07], [0.3], cut_sd=[0.005]), BANDS[:1], 16),
        ("two hardly known", shared([0.07, 0.1], [0.3, 0.3]), BANDS, 16),
        ("two wide and fine", shared([0.07, 0.1], [0.3, 0.3], cut_sd=[0.005, 0.005]), BANDS, 16),
        ("drifts out", shared([0.05], [0.01], drift=[0.003]), BANDS[:1], 16),
        ("creep not known", shared([0.06], [0.01], creep_sd=[0.002]), BANDS[:1], 16),
        ("two on one adjuster", shared([0.08, 0.12], [0.02, 0.04], -0.9), BANDS, 16),
        ("two that go the same way", shared([0.08, 0.12], [0.02, 0.04], 0.999999), BANDS, 8),
        ("two, one drifts", shared([0.05, 0.12], [0.01, 0.04], 0.5, drift=[0.003, 0.0]), BANDS, 12),
        ("two, both creep", shared([0.06, 0.1], [0.01, 0.03], 0.5, creep_sd=[0.002, 0.003]), BANDS, 12),
    ],
)
def test_the_chance_of_a_batch_is_what_simulated_batches_show(
    name: str, future: Shared, bands: tuple[Band, ...], pieces: int
) -> None:
    computed = chance_of(future, bands, pieces)
    share = counted(future, bands, pieces, seed=sum(map(ord, name)))
    assert agrees(computed.next_piece, share.next_piece), (computed, share)
    assert agrees(computed.all_pieces, share.all_pieces), (computed, share)


def test_the_chance_after_a_move_is_what_a_shop_of_known_scatter_shows() -> None:
    """From a log to the batch, with the error of the move on top; nothing of the model is unknown."""
    setup = Setup(
        "chest",
        Joint("plain"),
        BANDS,
        (Adjuster("key", moves={"clearance": -1.0, "proud": 0.5}),),
        pieces_left=8,
        knowledge=Knowledge(scales_known=True, scale_sd=0.0, blunder_probability=0.0),
    )
    cuts = [
        Cut(1, "test", {"key": 6.0}, {"clearance": (0.21,), "proud": (0.02,)}),
        Cut(2, "test", {"key": 6.1}, {"clearance": (0.12,), "proud": (0.09,)}),
    ]
    future = prospect(posterior(setup, cuts).blocks[0])
    there = shared_at(future, np.array([0.03]), np.array([True]))
    computed = chance_of(there, BANDS, 8)
    share = counted(there, BANDS, 8, seed=8)
    assert 0.05 < computed.all_pieces < computed.next_piece < 0.99
    assert agrees(computed.next_piece, share.next_piece), (computed, share)
    assert agrees(computed.all_pieces, share.all_pieces), (computed, share)


def test_nothing_is_ever_certain() -> None:
    sure = shared([0.07], [0.0001], cut_sd=[0.0001])
    assert chance_of(sure, BANDS[:1], 16).all_pieces < 1.0
    assert chance_of(sure, BANDS[:1], 16).next_piece < 1.0

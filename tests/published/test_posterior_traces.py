"""The posterior reproduces the traces of the setup adjustment problem and the fusion of number and word.

Label D: exact arithmetic. Rules: Grubbs 1954 and 1983 (M).
"""

from __future__ import annotations

import math

import pytest

from calib.regression import posterior
from calib.shop import Adjuster, Band, Cut, FeelScale, Joint, Knowledge, Setup

ERRORS = (0.30, -0.06, 0.09, 0.02)
MOVES = (-0.2586206896551724, 0.0277777777777778, -0.0284810126582278, -0.0048076923076923)
SDS = (0.0742781353, 0.0544331054, 0.0450035160, 0.0392232270)


def setup_with(offset_sd_mm: float, cut_sd_mm: float = 0.08, reading_sd_mm: float = 0.0) -> Setup:
    return Setup(
        "trace",
        Joint("plain"),
        (Band("gap", 0.0, -0.1, 0.1),),
        (Adjuster("lever", moves={"gap": 1.0}),),
        knowledge=Knowledge(
            offset_sd_mm=offset_sd_mm, cut_sd_mm=cut_sd_mm, reading_sd_mm=reading_sd_mm, move_sd_mm=0.0,
            scale_sd=0.0, blunder_probability=0.0, scales_known=True,
        ),
        feel=FeelScale({"tight": (-math.inf, 0.10), "between": (0.10, 0.20)}, 0.06),
    )  # fmt: skip


def cuts_after(moves: tuple[float, ...]) -> list[Cut]:
    """The log of the trace: a reading, the move, the next reading."""
    x, cuts = 0.0, []
    for n, (error, move) in enumerate(zip(ERRORS, moves, strict=True), 1):
        cuts.append(Cut(n, "test", {"lever": x}, {"gap": (error,)}))
        x += move
    return cuts


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_the_trace_with_a_prior(n):
    """sigma 0.08, sd 0.20: the size that is left at the last setting is minus the next move."""
    found = posterior(setup_with(0.20), cuts_after(MOVES)[:n])
    assert found.size("gap").expected == pytest.approx(-MOVES[n - 1], abs=1e-9)
    assert found.offset("gap").u == pytest.approx(SDS[n - 1], abs=1e-9)


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_the_harmonic_trace_as_the_prior_widens(n):
    moves = (-0.30, 0.03, -0.03, -0.005)
    found = posterior(setup_with(math.inf), cuts_after(moves)[:n])
    assert found.size("gap").expected == pytest.approx(-moves[n - 1], abs=1e-9)
    assert found.offset("gap").u == pytest.approx(0.08 / math.sqrt(n), rel=1e-9)
    wide = posterior(setup_with(1e5), cuts_after(moves)[:n])
    assert wide.size("gap").expected == pytest.approx(-moves[n - 1], abs=1e-9)


@pytest.mark.parametrize("skipped", range(3))
def test_a_move_that_was_not_made_changes_nothing(skipped):
    """(setting, reading) pairs: the same wood read at another setting gives the same offset."""
    made = list(MOVES)
    made[skipped] = 0.0
    x_trace = x_made = 0.0
    cuts = []
    for n, error in enumerate(ERRORS):
        cuts.append(Cut(n + 1, "test", {"lever": x_made}, {"gap": (error + x_made - x_trace,)}))
        x_trace, x_made = x_trace + MOVES[n], x_made + made[n]
    whole, partly = posterior(setup_with(0.20), cuts_after(MOVES)), posterior(setup_with(0.20), cuts)
    assert partly.offset("gap").expected == pytest.approx(whole.offset("gap").expected, abs=1e-12)
    assert partly.offset("gap").u == pytest.approx(whole.offset("gap").u, abs=1e-12)


@pytest.mark.parametrize(
    ("word", "mean", "sd"),
    [
        (None, 0.1129411765, 0.0485071250),
        ("tight", 0.0852616175, 0.0415736289),
        ("between", 0.1256620628, 0.0392919865),
    ],
)
def test_calliper_and_word_together(word, mean, sd):
    """Prior N(0, 0.2^2); calliper 0.12 with u 0.05; words of spread 0.06 (D, exact)."""
    setup = setup_with(0.20, cut_sd_mm=0.0, reading_sd_mm=0.05)
    found = posterior(setup, [Cut(1, "test", {"lever": 0.0}, {"gap": (0.12,)}, feel=word)]).offset("gap")
    assert found.expected == pytest.approx(mean, abs=1e-9)
    assert found.u == pytest.approx(sd, abs=1e-9)

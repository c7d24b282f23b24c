"""The posterior reproduces the traces of the setup adjustment problem and the fusion of number and word.

Label D: exact arithmetic. The rules behind them: Grubbs 1954 and 1983 (M); the word is an ordered
probit, McKelvey and Zavoina 1975 (M).
"""

from __future__ import annotations

import math

import pytest

from calib.regression import posterior
from calib.shop import Adjuster, Band, Cut, FeelScale, Joint, Knowledge, Setup

SIGMA, SD = 0.08, 0.20
#: readings minus target of the trace (D)
ERRORS = (0.30, -0.06, 0.09, 0.02)
#: moves of the reading with the prior and of the harmonic rule, and posterior sds (D, ten digits)
MOVES = (-0.2586206897, 0.0277777778, -0.0284810127, -0.0048076923)
HARMONIC = (-0.30, 0.03, -0.03, -0.005)
SDS = (0.0742781353, 0.0544331054, 0.0450035160, 0.0392232270)


def setup_with(
    offset_sd_mm: float, slope: float = -1.0, cut_sd_mm: float = SIGMA, reading_sd_mm: float = 0.0
) -> Setup:
    return Setup(
        "trace",
        Joint("plain"),
        (Band("gap", 0.0, -0.1, 0.1),),
        (Adjuster("lever", moves={"gap": slope}),),
        knowledge=Knowledge(
            offset_sd_mm=offset_sd_mm, cut_sd_mm=cut_sd_mm, reading_sd_mm=reading_sd_mm, move_sd_mm=0.0,
            scale_sd=0.0, blunder_probability=0.0, scales_known=True,
        ),
        feel=FeelScale({"tight": (-math.inf, 0.10), "between": (0.10, 0.20)}, 0.06),
    )  # fmt: skip


def exact_moves(prior_ratio: float) -> list[float]:
    """Moves -k_n y_n with k_n = 1 / (n + sigma^2 / sd^2): the rule that the trace follows."""
    return [-error / (n + prior_ratio) for n, error in enumerate(ERRORS, 1)]


def cuts_after(moves: list[float], slope: float = -1.0) -> list[Cut]:
    """The log of the trace: a reading, the move of the reading, the next reading."""
    setting, cuts = 0.0, []
    for n, (error, move) in enumerate(zip(ERRORS, moves, strict=True), 1):
        cuts.append(Cut(n, "test", {"lever": setting}, {"gap": (error,)}))
        setting += move / slope
    return cuts


@pytest.mark.parametrize("slope", [-1.0, 1.0])
@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_the_trace_with_a_prior(n, slope):
    """sigma 0.08, sd 0.20: the size that is left at the last setting is minus the next move."""
    cuts = cuts_after(exact_moves((SIGMA / SD) ** 2), slope)[:n]
    found = posterior(setup_with(SD, slope), cuts)
    assert found.size("gap").expected == pytest.approx(-MOVES[n - 1], abs=1e-9)
    assert found.offset("gap").u == pytest.approx(SDS[n - 1], abs=1e-9)
    assert found.size("gap").u == pytest.approx(SDS[n - 1], abs=1e-9)


@pytest.mark.parametrize("sd", [1e5, math.inf])
@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_the_harmonic_trace_as_the_prior_widens(n, sd):
    found = posterior(setup_with(sd), cuts_after(list(HARMONIC))[:n])
    assert found.size("gap").expected == pytest.approx(-HARMONIC[n - 1], abs=1e-9)
    assert found.offset("gap").u == pytest.approx(SIGMA / math.sqrt(n), rel=1e-9)


@pytest.mark.parametrize("sd", [SD, math.inf])
@pytest.mark.parametrize("skipped", [(0,), (1,), (2,), (0, 2), (0, 1, 2)])
def test_a_move_that_was_not_made_changes_nothing(skipped, sd):
    """(setting, reading) pairs: the same wood read at another setting gives the same offset."""
    followed = exact_moves((SIGMA / SD) ** 2)
    made = [0.0 if n in skipped else move for n, move in enumerate(followed)]
    cuts, not_made = [], 0.0
    for n, cut in enumerate(cuts_after(made)):
        cuts.append(Cut(n, "test", cut.settings_mm, {"gap": (ERRORS[n] - not_made,)}))
        not_made += followed[n] - made[n]
    whole, partly = posterior(setup_with(sd), cuts_after(followed)), posterior(setup_with(sd), cuts)
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

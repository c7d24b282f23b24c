"""What lies between two words: by hand-worked limits, by counting what a simulated hand says, as typed."""

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from shopkit import FINGERS, cut, ticking

from calib.errors import CalibError
from calib.feel import BETWEEN_SHARE
from calib.logfile import load_log, write_log
from calib.normal import cdf
from calib.regression import posterior
from calib.regression.feelpairs import with_own_words
from calib.regression.feelscale import refit
from calib.shop import Cut, FeelScale
from calib.simulate.hand import Hand, draw_hand
from calib.workflow import feelwords, setups
from calib.workflow.history import find_cut
from calib.workflow.shopfloor import open_shop

WORDS = {"mallet": (-math.inf, -0.03), "palm": (-0.03, 0.03), "hand": (0.03, 0.1), "loose": (0.1, math.inf)}
SCALE = FeelScale(WORDS, 0.04)
FINER = replace(SCALE, finer=True)

def test_between_reaches_half_a_spread_into_a_wide_word_and_never_half_of_a_narrow_one():
    assert FINER.limits_of("mallet/palm")[0] == pytest.approx(-0.05)  # mallet is open: 0.5 x 0.04
    into_palm, into_hand = 0.02 * 0.06 / (0.06 + 0.04), 0.02 * 0.07 / (0.07 + 0.04)
    assert FINER.limits_of("palm/hand") == pytest.approx((0.03 - into_palm, 0.03 + into_hand))
    narrow = FeelScale({"a": (-math.inf, 0.0), "b": (0.0, 0.001), "c": (0.001, math.inf)}, 0.04, finer=True)
    low, high = narrow.limits_of("b")
    assert 0.0 < low < high < 0.001


def test_words_and_what_lies_between_them_tile_the_line():
    ends = sorted(map(FINER.limits_of, FINER.all_said()))
    assert len(ends) == 7
    assert (ends[0][0], ends[-1][1]) == (-math.inf, math.inf)
    assert all(a[1] == pytest.approx(b[0]) for a, b in itertools.pairwise(ends))


def test_a_hand_that_never_says_so_has_words_that_meet():
    assert SCALE.limits_of("palm") == (-0.03, 0.03)
    assert SCALE.all_said() == ("mallet", "palm", "hand", "loose")
    assert SCALE.knows("palm/hand") == SCALE.knows("hand / palm") == True  # noqa: E712
    assert not any(map(SCALE.knows, ("palm/loose", "palm/palm", "palm/", "/", "palm/hand/loose")))


def test_a_simulated_hand_says_what_lies_between_as_often_as_the_limits_mean():
    hand = Hand(("mallet", "palm", "hand", "loose"), (-0.03, 0.03, 0.1), 0.04, BETWEEN_SHARE)
    rng, n, size = np.random.default_rng(5), 40_000, 0.05
    said = [hand.word(size, rng) for _ in range(n)]
    for word in FINER.all_said():
        low, high = FINER.limits_of(word)
        p = cdf((high - size) / 0.04) - cdf((low - size) / 0.04)
        assert abs(said.count(word) / n - p) <= 4.0 * math.sqrt(p * (1.0 - p) / n)


def test_a_refit_finds_the_limits_of_a_finer_hand():
    """90 % intervals cover 85 to 95 % of the limits of 80 hands (60 pairs each, reach not as assumed)."""
    rng, inside, spreads = np.random.default_rng(11), [], []
    for _ in range(80):
        hand = replace(draw_hand(SCALE, rng), between=BETWEEN_SHARE * math.exp(0.3 * rng.standard_normal()))
        found = refit(SCALE, hand.pairs(60, 0.02, rng))
        assert found is not None
        assert found.scale.finer
        inside += [
            one.low_mm < true < one.high_mm for one, true in zip(found.limits, hand.limits_mm, strict=True)
        ]
        spreads.append(math.log(found.spread_mm / hand.spread_mm))
    assert 0.85 <= np.mean(inside) <= 0.95
    assert abs(np.mean(spreads)) < 0.1


def test_what_lies_between_tells_more_than_either_word():
    """Felt three times, the level is believed between where either word puts it, and known better."""

    def after(*words: str) -> tuple[float, float]:
        cuts = [Cut(n, "test", {"key": 6.0}, feel=word) for n, word in enumerate(words, start=1)]
        level = posterior(FINGERS, cuts).size("clearance")
        return level.expected, level.u

    said = ("palm", "palm/hand", "hand")
    palm, between, hand = (after(word, word, word) for word in said)
    assert palm[0] < between[0] < hand[0]
    assert between[1] < min(palm[1], hand[1])


def test_only_the_hand_that_says_so_is_a_finer_one():
    cuts = [
        Cut(1, "test", {"key": 6.0}, feel="palm/hand", by="ada"),
        Cut(2, "test", {"key": 6.0}, feel="palm", by="bo"),
    ]
    feel = with_own_words(FINGERS, cuts).feel
    assert (feel.of("ada").finer, feel.of("bo").finer, feel.of(None).finer) == (True, False, False)


def test_it_is_logged_renamed_and_goes_through_a_file(tmp_path: Path):
    with open_shop(tmp_path / "shop.db", now=ticking()) as shop:
        setups.add(shop, FINGERS)
        cut(shop, "corners", key=6.14, feel="hand/palm")
        with pytest.raises(CalibError, match=r"does not lie between .* side by side: .*palm/hand"):
            cut(shop, "corners", key=6.14, feel="palm/rattles")
        feelwords.rename(shop, "finger", "palm", "slap")
        assert find_cut(shop, 1)[1].feel == "hand/slap"
        for change in (
            lambda: feelwords.rename(shop, "finger", "hand", "by/hand"),
            lambda: feelwords.change(shop, "finger", "a/b", 0.0, 0.1),
        ):
            with pytest.raises(CalibError, match="stands between two words"):
                change()
        setup = setups.get(shop, "corners")
    write_log(setup, [Cut(1, "test", {"key": 6.14}, feel="hand/slap")], tmp_path / "corners.toml")
    assert load_log(tmp_path / "corners.toml")[1][0].feel == "hand/slap"
    rows = (tmp_path / "corners.csv").read_text().replace("hand/slap", "hand/nostart")
    (tmp_path / "corners.csv").write_text(rows)
    with pytest.raises(CalibError, match="side by side"):
        load_log(tmp_path / "corners.toml")

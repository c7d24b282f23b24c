"""What is learned of spreads: against REML, with slips, and where a gathered mixture once went astray."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np
import pytest
from setups import plain

from calib.decision.advise import advise
from calib.decision.mounting import first_setting
from calib.decision.profile import forecasts
from calib.errors import CalibError
from calib.regression import posterior
from calib.regression.learn import carry, learned
from calib.shop import Adjuster, Cut, FeelScale

SPREAD, SCATTER = 0.06, 0.03
KNOWN = {
    "cut_sd_mm": 0.03, "reading_sd_mm": 0.0, "mounting_sd_mm": 0.06, "offset_sd_mm": 0.3,
    "blunder_probability": 0.02,
}  # fmt: skip


def shop(**known):
    return plain(**{"scales_known": False, **KNOWN, **known})


def mountings(count, cuts, seed, spread=SPREAD, scatter=SCATTER):
    """Return the readings of a balanced history, shape (count, cuts)."""
    rng = np.random.default_rng(seed)
    offsets = 0.1 + spread * rng.standard_normal((count, 1))
    return offsets + scatter * rng.standard_normal((count, cuts))


def learned_of(setup, readings, **more):
    carried = None
    for j, values in enumerate(readings):
        cuts = [
            Cut(k + 1, "test", {"lever": 0.0}, {"gap": (float(v),)}, mounting=str(j), **more)
            for k, v in enumerate(values)
        ]
        carried = carry(carried, setup, cuts)
    return carried, {one.kind: one for one in learned(setup, carried)}


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_the_components_of_a_balanced_history_are_those_of_reml(seed):
    """Forty mountings of five cuts: the medians lie within a third of what is still uncertain."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    readings = mountings(40, 5, seed)
    y, group = readings.ravel(), np.repeat(np.arange(40), 5)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM(y, np.ones((200, 1)), groups=group).fit(reml=True)
    reml = {
        "scatter": math.sqrt(fit.scale),
        "mounting": math.sqrt(float(np.asarray(fit.cov_re)[0, 0])),
        "offset": float(fit.fe_params[0]),
    }
    _, found = learned_of(shop(blunder_probability=0.0), readings)
    for kind, value in reml.items():
        low, high = found[kind].interval(0.9)
        assert found[kind].median() == pytest.approx(value, abs=(high - low) / 6.0), kind
        assert low < value < high, kind


def test_a_short_history_shrinks_to_what_was_assumed_and_a_long_one_does_not():
    """Mountings that differ four times as much as was assumed."""
    few, many = (learned_of(shop(), mountings(n, 3, 7, spread=0.24))[1]["mounting"] for n in (2, 24))
    low, high = few.interval(0.9)
    assert high / low > 5.0
    assert few.median() < many.median()
    assert many.median() == pytest.approx(0.24, rel=0.3)
    assert many.interval(0.9)[1] / many.interval(0.9)[0] < 2.2


def test_a_slip_does_not_teach_the_shop_a_wide_scatter():
    """One reading of 60 is half a millimetre off: what is learned stays, where slips are expected."""
    clean = mountings(12, 5, 9)
    slipped = clean.copy()
    slipped[4, 2] += 0.5
    kinds = ("scatter", "mounting", "offset")
    (_, without), (_, with_slip) = (learned_of(shop(), one) for one in (clean, slipped))
    (_, naive) = learned_of(shop(blunder_probability=0.0), slipped)
    for kind in kinds:
        low, high = without[kind].interval(0.9)
        assert with_slip[kind].median() == pytest.approx(without[kind].median(), abs=(high - low) / 10.0)
    assert naive["scatter"].median() > 2.0 * with_slip["scatter"].median()


def test_expecting_slips_that_never_come_changes_little():
    """Several Gaussians gathered into one, twelve times over, against none: a twentieth of the interval."""
    for seed in (11, 12, 13):
        readings = mountings(12, 5, seed)
        (_, gathered), (_, exact) = (
            learned_of(shop(blunder_probability=p), readings) for p in (0.02, 0.0)
        )
        for kind in ("scatter", "mounting", "offset"):
            low, high = exact[kind].interval(0.9)
            assert gathered[kind].median() == pytest.approx(exact[kind].median(), abs=0.07 * (high - low))


def test_a_mixture_as_wide_as_its_prior_speaks_for_no_far_place():
    """Growth that slows from mounting to mounting: no hypothesis of tiny scatter and many slips takes over.

    Seven mountings of steady growth, then one a sixth slower. Dividing moments of the mixture made the
    spread of mountings jump from 0.002 to 0.07 mm here.
    """
    setup = shop(cut_sd_mm=0.01, mounting_sd_mm=0.01, offset_sd_mm=0.1, creep_sd_mm=0.05)
    steps = np.arange(6)
    rates = [0.056, 0.054, 0.053, 0.052, 0.051, 0.05, 0.049, 0.041, 0.044]
    readings = [np.round((rate * steps + 0.001 * steps**2) * 90) / 90 for rate in rates]
    _, found = learned_of(setup, readings)
    assert found["mounting"].interval(0.9)[1] < 0.02
    assert 0.002 < found["scatter"].median() < 0.01
    assert found["creep"].median() == pytest.approx(0.053, abs=0.01)


def test_words_teach_as_narrow_intervals_do():
    """A word that means a band of +-0.01 around each reading, against numbers with that uncertainty."""
    readings = np.round(mountings(8, 4, 5) / 0.02) * 0.02
    limits = {f"w{k}": (k * 0.02 - 0.01, k * 0.02 + 0.01) for k in range(-20, 30)}
    setup = replace(shop(blunder_probability=0.0), feel=FeelScale(limits, 0.0005))
    carried = None
    for j, values in enumerate(readings):
        cuts = [
            Cut(k + 1, "test", {"lever": 0.0}, feel=f"w{round(v / 0.02)}", mounting=str(j))
            for k, v in enumerate(values)
        ]
        carried = carry(carried, setup, cuts)
    words = {one.kind: one for one in learned(setup, carried)}
    _, numbers = learned_of(shop(blunder_probability=0.0), readings)
    for kind in ("scatter", "mounting", "offset"):
        low, high = numbers[kind].interval(0.9)
        assert words[kind].median() == pytest.approx(numbers[kind].median(), abs=(high - low) / 5.0)


def test_a_scale_that_counts_the_other_way_stays_found_out():
    """What the first mounting showed is believed in the next one from its first move on."""
    setup = shop(scale_sd=0.03, move_sd_mm=0.02)
    pairs = [(0.0, 0.3), (0.2, 0.5), (0.1, 0.4)]
    cuts = [Cut(n, "test", {"lever": x}, {"gap": (y,)}, mounting="1") for n, (x, y) in enumerate(pairs, 1)]
    state = carry(None, setup, cuts)
    assert state.turned["lever"] > 0.9
    again = [replace(cut, mounting="2") for cut in cuts[:2]]
    assert posterior(setup, again, carried=state).blocks[0].reversed_scales["lever"] > 0.99


def test_advice_on_a_log_of_several_mountings_is_that_on_the_last_one_with_what_was_carried():
    setup = shop(move_sd_mm=0.02)
    log = [
        Cut(5 * j + k + 1, "test", {"lever": 0.0}, {"gap": (float(v),)}, mounting=f"m{j}")
        for j, values in enumerate(mountings(4, 3, 21))
        for k, v in enumerate(values)
    ]
    state = None
    for j in range(3):
        state = carry(state, setup, log[3 * j : 3 * j + 3])
    whole, onward = advise(setup, log), advise(setup, log[9:], carried=state)
    assert whole.as_dict() == onward.as_dict()
    assert whole.reasons[-1] == "It rests on 3 cuts of this mounting and on what 3 earlier mountings taught."
    with pytest.raises(CalibError, match="another belief"):
        advise(setup, log[9:], knowledge={"cut_sd": 0.1}, carried=state)


def test_a_first_mounting_is_advised_as_if_nothing_could_be_carried():
    """A label that never changes is no second mounting; nothing of the answer moves."""
    setup = shop(move_sd_mm=0.02)
    cuts = [Cut(k, "test", {"lever": 0.0}, {"gap": (0.02 * k,)}) for k in (1, 2, 3)]
    assert advise(setup, [replace(c, mounting="m") for c in cuts]).as_dict() == advise(setup, cuts).as_dict()


def test_pictures_expect_of_every_cut_what_the_advice_did():
    setup = shop(move_sd_mm=0.02)
    log = [
        Cut(3 * j + k + 1, "test", {"lever": 0.0}, {"gap": (float(v),)}, mounting=f"m{j}")
        for j, values in enumerate(mountings(3, 3, 22))
        for k, v in enumerate(values)
    ]
    found = {f.cut: f for f in forecasts(setup, log, advise(setup, log))}
    standing = replace(log[6], pieces=0, readings={})
    ahead = posterior(setup, [standing], carried=carry(carry(None, setup, log[:3]), setup, log[3:6]))
    assert found[7].most_mm == pytest.approx(ahead.next_reading("gap").interval(0.9), abs=1e-9)
    assert found[3].most_mm == pytest.approx(
        posterior(setup, log[:2]).next_reading("gap").interval(0.9), abs=1e-9
    )


def test_an_adjuster_whose_effect_is_learned_is_known_at_the_next_mounting():
    setup = plain(
        Adjuster("lever", moves={"gap": "learn"}), **{**KNOWN, "scales_known": False, "move_sd_mm": 0.005}
    )
    cuts = [
        Cut(n, "test", {"lever": x}, {"gap": (0.3 - 0.8 * x,)}, mounting="1")
        for n, x in enumerate((0.0, 0.3, 0.1, 0.4), 1)
    ]
    state = carry(None, setup, cuts)
    first = [Cut(1, "test", {"lever": 0.1}, {"gap": (0.2,)}, mounting="2")]
    found = posterior(setup, first, carried=state).blocks[0]
    at = found.names.index("slope:gap:lever")
    assert found.mixed_mean[at] == pytest.approx(-0.8, abs=0.1)
    assert math.sqrt(found.mixed_covariance[at, at]) < 0.2
    start = first_setting(setup, state)
    assert start.settings_mm["lever"] == pytest.approx(0.3 / 0.8, abs=0.05)
    assert start.readings[0].expected_mm == pytest.approx(0.0, abs=0.001)


def test_an_effect_that_no_mounting_has_shown_yet_is_still_explored():
    setup = plain(Adjuster("lever", moves={"gap": "learn"}), **{**KNOWN, "scales_known": False})
    state = carry(None, setup, [Cut(1, "test", {"lever": 0.2}, {"gap": (0.3,)}, mounting="1")])
    assert first_setting(setup, state).settings_mm == {"lever": 0.2}
    again = [Cut(1, "test", {"lever": 0.2}, {"gap": (0.28,)}, mounting="2")]
    assert advise(setup, again, carried=state).step == "move_and_test"

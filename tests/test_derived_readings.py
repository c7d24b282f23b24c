"""Readings that are worked out from raw ones: values, uncertainties and what shared errors do to them.

Labels: S = source read or quoted, M = from memory, D = derived here. The referee is a simulation of every
error one by one.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from calib.errors import CalibError
from calib.measurement import type_b
from calib.measurement.derived import RAW_USES, Derived, Raw, derive, factors_of, plan
from calib.measurement.kinds import Gauge, Studied, direct_worth, kind_of, raw_with, shared_sds_mm

TRUE_MM = {
    "slot": 6.02, "finger": 5.95, "over": 65.80, "across": 59.85, "left": 0.02, "right": 0.10, "float": 0.08,
    "pocket": 40.10, "insert": 39.95, "thickness": 8.0, "step": 4.1, "rise": 8.2,
}  # fmt: skip
SETS = [
    ("clearance", ("slot", "finger")),
    ("clearance", ("over", "finger")),
    ("clearance", ("across", "finger")),
    ("clearance", ("slot", "over")),
    ("clearance", ("slot", "across")),
    ("play", ("left", "right")),
    ("play", ("float",)),
    ("gap", ("pocket", "insert")),
    ("depth", ("thickness", "step")),
    ("proud", ("rise", "thickness")),
]


def worked(reading: str, raws: dict[str, Raw], pitches: int | None = None) -> Derived:
    return derive(raws, factors_of(reading, tuple(raws), pitches), reading)


def displayed(zero_mm: float, inside_mm: float = 0.0) -> dict[str, float]:
    """What a calliper shows of each size when its display is off, and its inside jaws by more."""
    return {
        name: mm + zero_mm + (inside_mm if RAW_USES[name] == "inside" else 0.0)
        for name, mm in TRUE_MM.items()
    }


@pytest.mark.parametrize(("reading", "names"), SETS)
def test_the_uncertainty_is_that_of_a_simulation_of_every_error(reading: str, names: tuple[str, ...]) -> None:
    """20000 draws of repeats, zero and jaws; the sd of the worked-out reading within four of its own sds."""
    rng, draws, n = np.random.default_rng(5), 20_000, 5
    raws = {
        name: Raw((1.0,) * (1 + i), 0.01 * (1 + i), {"zero": 0.02, RAW_USES[name]: 0.015})
        for i, name in enumerate(names)
    }
    factors = factors_of(reading, names, n)
    shared = {name: rng.normal(0.0, 1.0, draws) for name in ("zero", "inside", "outside", "depth", "travel")}
    total = np.zeros(draws)
    for name, raw in raws.items():
        own = rng.normal(0.0, raw.repeat_sd_mm, (draws, len(raw.values_mm))).mean(axis=1)
        total += factors[name] * (own + sum(sd * shared[error] for error, sd in raw.shared.items()))
    u = derive(raws, factors, reading).u_mm
    assert u == pytest.approx(float(total.std()), rel=4.0 / math.sqrt(2.0 * draws))


@pytest.mark.parametrize("reading", ["clearance"])
def test_every_way_to_a_clearance_gives_the_same_on_a_perfect_joint(reading: str) -> None:
    """D: slot 6.02, finger 5.95, five pitches of 11.97: clearance 0.07 whichever is measured."""
    p = 6.02 + 5.95
    size = {"slot": 6.02, "finger": 5.95, "over": 5 * p + 5.95, "across": 5 * p}
    for names in (
        ("slot", "finger"),
        ("over", "finger"),
        ("across", "finger"),
        ("slot", "over"),
        ("slot", "across"),
    ):
        found = worked(reading, {name: Raw((size[name],)) for name in names}, 5)
        assert found.value_mm == pytest.approx(0.07, abs=1e-12)


def test_ten_pitches_and_a_slot_have_the_uncertainty_of_the_check_row() -> None:
    """D: A17. s 9.60, ten pitches 190.62, u(s) 0.02, u(10p) 0.03: p 19.062, c 0.138, u(c) 0.0401."""
    found = worked("clearance", {"slot": Raw((9.60,), 0.02), "across": Raw((190.62,), 0.03)}, 10)
    assert found.value_mm == pytest.approx(0.138, abs=1e-9)
    assert found.u_mm == pytest.approx(0.0401, abs=5e-5)


def test_outside_jaws_alone_agree_with_the_geometry() -> None:
    """D: p = (O - f)/N, c = p - 2f, u(c)^2 = (u_O/N)^2 + ((2 + 1/N) u_f)^2, with the numbers written out."""
    found = worked("clearance", {"over": Raw((196.40,), 0.03), "finger": Raw((9.46,), 0.02)}, 10)
    assert found.value_mm == pytest.approx((196.40 - 9.46) / 10 - 2 * 9.46, rel=1e-12)
    assert found.u_mm == pytest.approx(math.hypot(0.03 / 10, 2.1 * 0.02), rel=1e-12)


def test_the_limits_of_slot_and_finger_add_to_the_check_row() -> None:
    """D: F3. Slot limit 0.04, finger limit 0.02: u(c) 0.0258, and repeats do not make it smaller."""
    inside, outside = {"inside": type_b(0.04)}, {"outside": type_b(0.02)}
    once = worked("clearance", {"slot": Raw((6.0,), 0.0, inside), "finger": Raw((5.9,), 0.0, outside)})
    often = worked(
        "clearance", {"slot": Raw((6.0,) * 9, 0.0, inside), "finger": Raw((5.9,) * 9, 0.0, outside)}
    )
    assert once.u_mm == pytest.approx(0.0258, abs=5e-5)
    assert often.u_mm == once.u_mm
    gauge = Gauge("c", "calliper", 0.01, 0.02)
    assert direct_worth(gauge, "clearance").shared_sd_mm == pytest.approx(0.0258, abs=5e-5)


def test_a_zero_error_leaves_slot_less_finger_and_shifts_outside_jaws_by_twice_itself() -> None:
    """D: display off by 0.03: slot less finger unchanged, outside jaws alone -0.06; the factors say so."""
    for pitches in (1, 5, 12):
        true, off = displayed(0.0), displayed(0.03)

        def clearance(shown: dict[str, float], *names: str, n: int = pitches) -> Derived:
            zero = {"zero": 0.02}
            return worked("clearance", {name: Raw((shown[name],), 0.0, zero) for name in names}, n)

        by_both, by_outside = ("slot", "finger"), ("over", "finger")
        same = clearance(off, *by_both).value_mm - clearance(true, *by_both).value_mm
        shifted = clearance(off, *by_outside).value_mm - clearance(true, *by_outside).value_mm
        assert same == pytest.approx(0.0, abs=1e-12)
        assert shifted == pytest.approx(-0.06, abs=1e-12)
        assert clearance(off, *by_both).u_mm == pytest.approx(0.0, abs=1e-12)
        assert clearance(off, *by_outside).u_mm == pytest.approx(2 * 0.02, rel=1e-12)


@pytest.mark.parametrize(
    ("names", "slope"),
    [
        (("slot", "finger"), 0.0), (("over", "finger"), -2.0), (("across", "finger"), 0.2 - 2.0),
        (("slot", "over"), 2.0 - 2.0 / 6.0), (("slot", "across"), 2.0 - 0.2), (("left", "right"), 0.0),
        (("pocket", "insert"), 0.0), (("thickness", "step"), 0.0), (("rise", "thickness"), 0.0),
    ],
)  # fmt: skip
def test_what_a_zero_error_does_to_each_reading(names: tuple[str, ...], slope: float) -> None:
    """D: shown sizes are all too large by 0.03; five pitches. The reading shifts by slope times that."""
    reading = next(reading for reading, given in SETS if given == names)
    true, off = displayed(0.0), displayed(0.03)
    shift = [worked(reading, {n: Raw((shown[n],)) for n in names}, 5).value_mm for shown in (true, off)]
    assert shift[1] - shift[0] == pytest.approx(0.03 * slope, abs=1e-12)
    zero = {n: Raw((1.0,), 0.0, {"zero": 0.02}) for n in names}
    assert worked(reading, zero, 5).u_mm == pytest.approx(0.02 * abs(slope), abs=1e-12)


def test_inside_jaws_that_are_off_widen_slot_less_finger() -> None:
    """D: jaws that read 0.02 too large make the clearance 0.02 too large, and its u holds their limit."""
    true, off = displayed(0.0), displayed(0.0, inside_mm=0.02)
    jaws = {"slot": {"jaws": 0.012}, "finger": {}}

    def clearance(shown: dict[str, float]) -> Derived:
        return worked(
            "clearance", {name: Raw((shown[name],), 0.0, jaws[name]) for name in ("slot", "finger")}
        )

    assert clearance(off).value_mm - clearance(true).value_mm == pytest.approx(0.02, abs=1e-12)
    assert clearance(off).u_mm == pytest.approx(0.012, rel=1e-12)


def test_two_gauges_share_no_zero() -> None:
    """Slot by one, finger by another: both zeros count."""
    one, two = (
        Gauge("a", "calliper", 0.01, zero_limit_mm=0.03),
        Gauge("b", "calliper", 0.01, zero_limit_mm=0.03),
    )
    same = {name: raw_with(one, name, (6.0,), 0.0) for name in ("slot", "finger")}
    apart = {"slot": same["slot"], "finger": raw_with(two, "finger", (6.0,), 0.0)}
    extra = worked("clearance", apart).u_mm ** 2 - worked("clearance", same).u_mm ** 2
    assert extra == pytest.approx(2.0 * type_b(0.03) ** 2, rel=1e-9)
    assert "a, zero" not in worked("clearance", same).worth.shared


def test_a_limit_of_error_does_not_cancel_between_two_sizes() -> None:
    """D: thickness less what is left, by one calliper: its zero cancels, its limit counts at each size."""
    gauge = Gauge("c", "calliper", 0.01, 0.02)
    found = worked("depth", {name: raw_with(gauge, name, (8.0,), 0.0) for name in ("thickness", "step")})
    assert found.worth.shared_sd_mm == pytest.approx(math.sqrt(2.0) * type_b(0.02), rel=1e-9)
    assert "c, zero" not in found.worth.shared


def test_what_is_worked_out_from_what_is_found_by_the_names() -> None:
    """Several readings at once; each raw reading has to be of use."""
    made = plan(["finger", "slot", "left", "right"], ["clearance", "play"])
    assert [(reading, raws) for reading, raws, _ in made] == [
        ("clearance", ("slot", "finger")),
        ("play", ("left", "right")),
    ]
    shared = plan(["rise", "thickness", "step"], ["depth", "proud"])
    assert {reading for reading, _, _ in shared} == {"depth", "proud"}


@pytest.mark.parametrize(
    ("names", "pitches", "message"),
    [
        (["slot"], None, "slot alone says nothing of the fit. Give finger, or over, or across with it"),
        (["over", "finger"], None, "over how many pitches"),
        (["slot", "finger"], 5, "pitches says how far"),
        (["over", "finger"], 0, "pitches 0 will not do"),
        (["slot", "finger", "over"], 5, "over is one reading too many beside finger and slot"),
        (["pocket", "insert"], None, "give the gap, which this setup does not have"),
    ],
)
def test_raw_readings_that_do_not_add_up_are_refused(
    names: list[str], pitches: int | None, message: str
) -> None:
    with pytest.raises(CalibError, match=message):
        plan(names, ["clearance"], pitches)


def test_a_kind_is_known_by_its_other_words_and_a_strange_one_is_refused() -> None:
    assert [kind_of(word).name for word in ("Callipers", "dial", "rule", "blades", "kept-joint")] == [
        "calliper", "indicator", "ruler", "feeler", "sample",
    ]  # fmt: skip
    with pytest.raises(CalibError, match="calliper"):
        kind_of("calipper")


def test_a_study_takes_the_place_of_the_kind_and_few_readings_are_not_taken_as_certain() -> None:
    """D: s sqrt(dof / (dof - 2)); with two degrees of freedom the kind's own number stays."""
    studied = Gauge(
        "c", "calliper", 0.01, studied={"outside": Studied(0.02, 0.01, 6), "inside": Studied(0.02, None, 2)}
    )
    plain = Gauge("c", "calliper", 0.01)
    assert raw_with(studied, "finger", (6.0,), 0.0).repeat_sd_mm == pytest.approx(
        0.02 * math.sqrt(1.5), rel=1e-12
    )
    assert (
        raw_with(studied, "slot", (6.0,), 0.0).repeat_sd_mm
        == raw_with(plain, "slot", (6.0,), 0.0).repeat_sd_mm
    )
    hand = (
        shared_sds_mm(studied, "outside", "finger")["c, outside at finger"] ** 2
        - shared_sds_mm(plain, "outside", "finger")["c, outside at finger"] ** 2
    )
    assert hand == pytest.approx(0.01**2, rel=1e-9)

"""Lengths as typed: what is understood, what is refused, and what comes back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import CalibError
from calib.units import Length, as_fraction, format_length, number_decimals, parse_length, twenty_five_fold

UNDERSTOOD = [
    # typed, unit of a bare number, mm, unit it was read in, was the unit typed
    ("6.35", "mm", 6.35, "mm", False),
    ("6.35", "in", 161.29, "in", False),
    ("1/4 in", "mm", 6.35, "in", True),
    ('1-1/4"', "mm", 31.75, "in", True),
    ("1 1/4", "in", 31.75, "in", False),
    ("1 - 1/4", "in", 31.75, "in", False),
    ('1 3/32"', "mm", 27.78125, "in", True),
    ("1 3/32 in", "mm", 27.78125, "in", True),
    ("1–3/32 in", "mm", 27.78125, "in", True),
    ("11/4 in", "mm", 69.85, "in", True),
    ("-1-1/4 in", "mm", -31.75, "in", True),
    ("1/64", "in", 0.396875, "in", False),
    ("12 thou", "mm", 0.3048, "thou", True),
    ("0,08", "mm", 0.08, "mm", False),
    ("6,35", "mm", 6.35, "mm", False),
    ("6,3500", "mm", 6.35, "mm", False),
    ("0,125", "mm", 0.125, "mm", False),
    (",5", "mm", 0.5, "mm", False),
    ("-0.07", "mm", -0.07, "mm", False),
    ("−0.07", "mm", -0.07, "mm", False),
    ("- 0.07", "mm", -0.07, "mm", False),
    ("+0.1", "mm", 0.1, "mm", False),
    ("80 µm", "mm", 0.08, "um", True),
    ("80 μm", "mm", 0.08, "um", True),
    ("80um", "in", 0.08, "um", True),
    ("80 micron", "mm", 0.08, "um", True),
    ("6.35mm", "in", 6.35, "mm", True),
    ("6 MM", "mm", 6.0, "mm", True),
    ("2 cm", "mm", 20.0, "cm", True),
    (".5", "mm", 0.5, "mm", False),
    ("6.", "mm", 6.0, "mm", False),
    ("  6 mm ", "mm", 6.0, "mm", True),
    ("6\u00a0mm", "mm", 6.0, "mm", True),
    ("¼ in", "mm", 6.35, "in", True),
    ("1¼″", "mm", 31.75, "in", True),
    ("1¼", "in", 31.75, "in", False),
    ("1⁄4 in", "mm", 6.35, "in", True),
    ("1/4''", "mm", 6.35, "in", True),
    ("0.25 in.", "mm", 6.35, "in", True),
    ("3 inches", "mm", 76.2, "in", True),
    ("1/10 mm", "mm", 0.1, "mm", True),
    ("5e-05", "mm", 5e-05, "mm", False),
    ("1.5E1", "mm", 15.0, "mm", False),
    ("0", "mm", 0.0, "mm", False),
]

REFUSED = [
    # typed, unit of a bare number, what the line says
    ("3/46", "in", "is not a length. Did you mean 3/64?"),
    ("3/46", "mm", "is not a length. Did you mean 3/64?"),
    ("3/23 in", "mm", "Did you mean 3/32?"),
    ("1/10 in", "mm", "Did you mean 1/16?"),
    ("1/100 in", "mm", "write others as a decimal"),
    ("61/46 in", "mm", "Did you mean 61/64?"),
    ("1,250", "mm", "could be 1.250 or 1250"),
    ("12,000 mm", "mm", "could be 12.000 or 12000"),
    ("1,250.5", "mm", "is not a length"),
    ("1.250,5", "mm", "is not a length"),
    ("1/4", "mm", "is a fraction without a unit. Write 1/4 in, or 0.25 mm."),
    ("1 1/4", "mm", "Write 1 1/4 in, or 1.25 mm."),
    ("1 5/4 in", "mm", "5/4 is not below 1"),
    ("1/0", "in", "divides by zero"),
    ("1/0 mm", "mm", "divides by zero"),
    ("nan", "mm", "is not a length"),
    ("inf", "mm", "is not a length"),
    ("-inf", "mm", "is not a length"),
    ("", "mm", "is not a length"),
    ("mm", "mm", "is not a length"),
    (".", "mm", "is not a length"),
    ("1 250", "mm", "is not a length"),
    ("6.3.5", "mm", "is not a length"),
    ("--1", "mm", "is not a length"),
    ("1e999", "mm", "is not a length"),
    ("0x10", "mm", "is not a length"),
    ("5 furlong", "mm", 'unit "furlong" that is not known'),
    ("5 mil", "mm", "write thou or mm"),
    ("2 m", "mm", 'a unit "m" that is not known. Use mm, cm, um, in, thou.'),
    ("6 mm 2", "mm", "is not a length"),
    ("9" * 100, "mm", "too long"),
]


@pytest.mark.parametrize(("text", "unit", "mm", "read_in", "given_"), UNDERSTOOD)
def test_a_typed_length_is_understood_exactly(text, unit, mm, read_in, given_):
    assert parse_length(text, unit) == Length(mm=mm, text=text, unit=read_in, unit_given=given_)


@pytest.mark.parametrize(("text", "unit", "said"), REFUSED)
def test_what_is_no_length_or_means_two_things_is_refused_in_one_line(text, unit, said):
    with pytest.raises(CalibError) as refusal:
        parse_length(text, unit)
    assert said in str(refusal.value)
    assert "\n" not in str(refusal.value)


def test_a_refusal_says_where_the_length_stood():
    with pytest.raises(CalibError) as refusal:
        parse_length("3/46", "in", where="chest.csv:14: key")
    assert str(refusal.value) == 'chest.csv:14: key "3/46" is not a length. Did you mean 3/64?'


@pytest.mark.parametrize(
    ("mm", "unit", "decimals", "written"),
    [
        (0.14, "mm", None, "0.14 mm"),
        (0.14, "in", None, "0.0055 in"),
        (6.35, "mm", None, "6.35 mm"),
        (6.3519, "mm", None, "6.35 mm"),
        (0.07, "mm", None, "0.07 mm"),
        (0.0734, "mm", None, "0.073 mm"),
        (-0.0734, "mm", None, "-0.073 mm"),
        (0.0, "mm", None, "0.00 mm"),
        (-0.0001, "mm", None, "0.00 mm"),
        (-0.0001, "in", None, "0.0000 in"),
        (-0.06, "mm", 3, "-0.060 mm"),
        (25.4, "in", 3, "1.000 in"),
        (100.0, "mm", 0, "100 mm"),
    ],
)
def test_a_length_is_written_with_its_unit(mm, unit, decimals, written):
    assert format_length(mm, unit, decimals) == written


@pytest.mark.parametrize(
    ("mm", "denominator", "written"),
    [
        (6.40, 64, "1/4 in + 0.05 mm"),
        (6.30, 64, "1/4 in - 0.05 mm"),
        (6.35, 64, "1/4 in"),
        (31.75, 64, "1 1/4 in"),
        (25.4, 64, "1 in"),
        (6.354, 64, "1/4 in + 0.004 mm"),
        (0.05, 64, "0 in + 0.05 mm"),
        (-6.40, 64, "-1/4 in - 0.05 mm"),
        (6.746875, 64, "17/64 in"),
        (6.746875, 16, "1/4 in + 0.40 mm"),
        (0.0, 64, "0 in"),
    ],
)
def test_a_fraction_always_says_what_is_left_over(mm, denominator, written):
    assert as_fraction(mm, denominator) == written


@pytest.mark.parametrize(
    ("mm", "expected_mm", "asks"),
    [
        (0.242, 6.14, "Was it in inches?"),
        (155.96, 6.14, "Was it in mm?"),
        (-1.778, -0.07, "Was it in mm?"),
        (6.0, 6.14, None),
        (61.4, 6.14, None),
        (1.778, -0.07, None),
        (0.0, 6.14, None),
        (6.14, 0.0, None),
        (math.inf, 6.14, None),
        (math.nan, 6.14, None),
    ],
)
def test_a_value_25_times_off_is_asked_about(mm, expected_mm, asks):
    question = twenty_five_fold(mm, expected_mm)
    assert question is None if asks is None else question.endswith(asks)


@pytest.mark.parametrize(
    ("text", "decimals"),
    [
        ("6.35", 2), ("6.350 mm", 3), ("0,08", 2), ("6", 0), ("6.", 0), (".5", 1), ("-0.070", 3),
        ("1/4 in", 0), ("1 3/32 in", 0), ("12 thou", 0), ("5e-05", 5), ("1.25e1", 1), ("1e2", 0),
    ],
)  # fmt: skip
def test_the_digits_typed_tell_the_precision(text, decimals):
    assert number_decimals(text) == decimals


def test_the_precision_of_an_ambiguous_number_is_not_guessed():
    with pytest.raises(CalibError, match=r"could be 1\.250 or 1250"):
        number_decimals("1,250")


lengths = st.floats(min_value=-5000.0, max_value=5000.0)


@given(lengths, st.sampled_from(["mm", "in"]), st.integers(0, 6))
def test_what_is_written_reads_back_to_within_its_last_digit(mm, unit, decimals):
    half_digit = 0.5 * 10.0**-decimals * (25.4 if unit == "in" else 1.0)
    back = parse_length(format_length(mm, unit, decimals)).mm
    assert back == pytest.approx(mm, rel=0.0, abs=half_digit + 1e-9)


@given(lengths)
def test_mm_to_inch_and_back_is_the_same_length(mm):
    assert parse_length(repr(mm / 25.4), "in").mm == pytest.approx(mm, rel=1e-12, abs=1e-12)


@given(lengths)
def test_a_number_as_python_writes_it_reads_back_unchanged(mm):
    assert parse_length(repr(mm)).mm == mm


@given(st.integers(0, 100), st.integers(1, 63), st.sampled_from([2, 4, 8, 16, 32, 64, 128]))
def test_every_division_of_a_rule_survives_writing_and_reading(whole, top, bottom):
    mm = (whole + (top % bottom) / bottom) * 25.4
    assert parse_length(as_fraction(mm, 128)).mm == pytest.approx(mm, rel=1e-12, abs=1e-12)


@given(lengths)
def test_fraction_and_rest_add_up_to_the_length(mm):
    inches, sign, rest = as_fraction(mm).partition(" in")[0], 1.0, 0.0
    _, _, tail = as_fraction(mm).partition(" in")
    if tail:
        sign, rest = (-1.0 if tail.strip().startswith("-") else 1.0), parse_length(tail.strip()[1:]).mm
    total = parse_length(inches, "in").mm + sign * rest
    assert total == pytest.approx(mm, rel=0.0, abs=0.0051)


@given(st.text(max_size=12))
def test_any_text_is_a_finite_length_or_a_refusal(text):
    try:
        mm = parse_length(text, "in").mm
    except CalibError:
        return
    assert math.isfinite(mm)

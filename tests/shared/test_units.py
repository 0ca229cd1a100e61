"""Lengths as people type and read them. 1 in = 25.4 mm exactly: international yard and pound agreement, 1959."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.units import (
    LengthNotUnderstood,
    both_texts,
    decimal_text,
    fraction_text,
    plain_number,
    read_length,
)


@pytest.mark.parametrize(
    ("text", "inches"),
    [
        ("14.5", 14.5),
        ("14 1/2", 14.5),
        ("14-1/2", 14.5),
        ("14 - 1/2", 14.5),
        ("1/2", 0.5),
        (".5", 0.5),
        ("14.", 14.0),
        ('14.5"', 14.5),
        ("14 1/2 in", 14.5),
        ("14.5in.", 14.5),
        ("368.3 mm", 14.5),
        ("36.83 cm", 14.5),
        ("2 ft", 24.0),
        ("2'", 24.0),
        ("-3 1/4", -3.25),
        ("14\u00a01/2", 14.5),
        (7, 7.0),
        (7.25, 7.25),
    ],
)
def test_what_people_type(text, inches):
    assert read_length(text) == pytest.approx(inches, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "inches"), [("368.3", 14.5), (368.3, 14.5), ("14.5 in", 14.5), ("25.4", 1.0)]
)
def test_a_bare_number_is_in_the_unit_of_the_form(text, inches):
    assert read_length(text, unit="mm") == pytest.approx(inches, abs=1e-12)


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        "abc",
        "1/2/4",
        "1,5",
        "14 1/0",
        "1/0",
        "14 in mm",
        "1e400",
        "nan",
        "inf",
        "--3",
        "14 1 2",
        "9" * 60,
        True,
        float("nan"),
        float("inf"),
    ],
)
def test_what_is_no_length_is_refused_with_a_way_out(text):
    with pytest.raises(LengthNotUnderstood) as caught:
        read_length(text)
    assert "14 1/2" in caught.value.sentence


@given(st.integers(0, 400), st.integers(0, 31))
def test_a_fraction_that_is_written_is_read_back(whole, parts):
    value = whole + Fraction(parts, 32)
    assert read_length(fraction_text(float(value)) or "0") == pytest.approx(float(value), abs=1e-12)


@given(st.floats(0, 400))
def test_a_fraction_is_the_nearest_thirty_second(value):
    assert abs(read_length(fraction_text(value)) - value) <= 1 / 64 + 1e-9


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (44.07, "44 1/16"),
        (0.25, "1/4"),
        (3.0, "3"),
        (3.999, "4"),
        (0.0, "0"),
        (-0.5, "-1/2"),
        (-2.5, "-2 1/2"),
        (0.001, "0"),
    ],
)
def test_fractions_are_reduced(value, text):
    assert fraction_text(value) == text


def test_a_leading_zero_always_stands():
    assert decimal_text(0.5) == "0.500"
    assert both_texts(0.5) == "1/2\u00a0in (0.500)"
    assert both_texts(14.5) == "14\u00a01/2\u00a0in (14.500)", "a number and its unit stay on one line"


def test_trailing_zeros_go():
    assert [plain_number(value) for value in (1.5, 14.0, 0.12345, 100)] == ["1.5", "14", "0.1235", "100"]

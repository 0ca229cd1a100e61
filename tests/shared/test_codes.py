"""Codes: the check character against an independent implementation, and what mistyping cannot pass."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_37_36

from shared.codes import (
    ALPHABET,
    CodeNotUnderstood,
    check_character,
    grouped,
    make_code,
    read_code,
    take_codes,
)

NUMBERS = st.integers(0, 32**7 - 1)
MARKS = st.text(ALPHABET[10:], min_size=2, max_size=2)


def _many(count: int = 400) -> list[str]:
    chance = random.Random(7)
    return [
        code
        for _ in range(count)
        if (
            code := make_code(
                "".join(chance.choices(ALPHABET[10:], k=2)), chance.randrange(32 ** chance.randint(1, 7))
            )
        )
    ]


@given(MARKS, NUMBERS)
def test_issued_codes_are_valid_to_another_implementation(mark, number):
    code = make_code(mark, number)
    if code is not None:
        assert mod_37_36.is_valid(code)


@given(st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=12))
def test_check_characters_are_those_of_another_implementation(text):
    assert check_character(text) == mod_37_36.calc_check_digit(text)


def test_what_is_not_issued():
    """Counted with the other implementation: check characters that look like others, and codes that a swap passes."""
    digits = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    expected = set()
    for number in range(5000):
        body = "KR" + "".join(digits[number // 32**place % 32] for place in (3, 2, 1, 0))
        code = body + mod_37_36.calc_check_digit(body)
        swapped = (
            code[:at] + code[at + 1] + code[at] + code[at + 2 :]
            for at in range(6)
            if code[at] != code[at + 1]
        )
        if code[-1] in "ILOU" or any(mod_37_36.is_valid(one) for one in swapped):
            expected.add(number)
    assert {number for number in range(5000) if make_code("KR", number) is None} == expected
    assert len(expected) > 100
    codes, _ = take_codes("KR", 0, 3000)
    assert not set("".join(codes)) & set("ILOU")
    assert len(set(codes)) == 3000


def test_taking_goes_on_where_it_ended():
    together, _ = take_codes("KR", 0, 60)
    first, then = take_codes("KR", 0, 25)
    second, _ = take_codes("KR", then, 35)
    assert first + second == together


def test_every_single_wrong_character_is_caught():
    for code in _many():
        for place, right in enumerate(code):
            for wrong in ALPHABET.replace(right, ""):
                with pytest.raises(CodeNotUnderstood) as caught:
                    read_code(code[:place] + wrong + code[place + 1 :])
                assert caught.value.reason == "check"


def test_every_swap_of_two_neighbours_is_caught():
    swaps = 0
    for code in _many(2000):
        for place in range(len(code) - 1):
            if code[place] == code[place + 1]:
                continue
            swaps += 1
            with pytest.raises(CodeNotUnderstood):
                read_code(code[:place] + code[place + 1] + code[place] + code[place + 2 :])
    assert swaps > 5000


def test_look_alikes_are_read_as_what_they_look_like():
    code = next(one for one in _many(4000) if "1" in one and "0" in one)
    for typed in (
        code.replace("1", "I"),
        code.replace("1", "L"),
        code.replace("1", "l"),
        code.replace("0", "O"),
    ):
        assert read_code(typed) == code


@pytest.mark.parametrize(
    "spoil", [str.lower, grouped, lambda code: f"  {code}\r\n", lambda code: "-".join(code)]
)
def test_case_spaces_and_dashes_do_not_matter(spoil):
    for code in _many(50):
        assert read_code(spoil(code)) == code


def test_codes_are_short_and_fit_a_small_symbol():
    """Version 1 QR symbols hold 25 alphanumeric characters at level L, 20 at M, 16 at Q, 10 at H."""
    assert len(make_code("KR", 0)) == 7
    longest = max((make_code("ZZ", 32**7 - at) or "" for at in range(1, 9)), key=len)
    assert len(longest) == 10
    with pytest.raises(ValueError, match="more than 10"):
        make_code("ZZ", 32**7)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("", "empty"),
        ("   ", "empty"),
        (None, "empty"),
        ("KR", "form"),
        ("KR0000000000", "form"),
        ("http://example.invalid/a", "form"),
        ("ÄÖÜ1234", "form"),
        ("KU00000", "form"),
        ("\x00\x01\x02\x03\x04\x05\x06", "form"),
        ("9" * 5000, "form"),
    ],
)
def test_what_cannot_be_a_code_says_so(text, reason):
    with pytest.raises(CodeNotUnderstood) as caught:
        read_code(text)
    assert caught.value.reason == reason
    assert caught.value.sentence.endswith(".")
    assert len(caught.value.sentence.split()) <= 14

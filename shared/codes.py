"""Short codes that people scan and type: alphabet, check character, reading. Pure: no Django.

A code is a shop mark (2 characters), a number in base 32 (4 to 7 characters) and one check character, 10 at most.
The alphabet leaves out I, L, O and U. The check character is ISO/IEC 7064 MOD 37,36 over 0-9A-Z. It catches every
wrong character, but not every swap of two neighbours. So a number is not issued where its check character would be
I, L, O or U, nor where a swap would pass: about one in nine for the first, six in a thousand for the second.
"""

from __future__ import annotations

import re

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHECK_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
LONGEST = 10
SHORTEST = 6
MARK_LENGTH = 2
_NUMBER_LENGTH = 4
_IGNORED = re.compile(r"[\s\-.·‐-―­​-‏⁠﻿]+")
_LOOK_ALIKES = str.maketrans({"I": "1", "L": "1", "O": "0"})
_VALUE = {character: value for value, character in enumerate(CHECK_ALPHABET)}


class CodeNotUnderstood(ValueError):
    """The text cannot be a code of ours. `reason` is "empty", "form" or "check"; `sentence` is for the operator."""

    def __init__(self, reason: str, sentence: str):
        self.reason = reason
        self.sentence = sentence
        super().__init__(sentence)


def check_character(text: str) -> str:
    """The ISO/IEC 7064 MOD 37,36 check character of text over 0-9A-Z.

    >>> check_character("A12425GABC1234002")
    'M'
    """
    running = 36
    for character in text:
        running = (running + _VALUE[character]) % 36 or 36
        running = running * 2 % 37
    return CHECK_ALPHABET[(37 - running) % 36]


def number_text(number: int) -> str:
    """A number in the code alphabet, at least four characters."""
    if number < 0:
        raise ValueError(f"number {number} is below zero")
    characters = []
    while number:
        number, digit = divmod(number, 32)
        characters.append(ALPHABET[digit])
    return "".join(reversed(characters)).rjust(_NUMBER_LENGTH, ALPHABET[0])


def make_code(mark: str, number: int) -> str | None:
    """The code of a number in a shop, or None where the number is not issued.

    mark    the shop's two characters
    number  0 to 32**7 - 1
    raises  ValueError when the code would be longer than ten characters
    """
    body = mark + number_text(number)
    if len(body) >= LONGEST:
        raise ValueError(f"number {number} needs a code of more than {LONGEST} characters")
    code = body + check_character(body)
    return code if code[-1] in ALPHABET and not _a_swap_passes(code) else None


def _a_swap_passes(code: str) -> bool:
    """Whether the code with some two different neighbours swapped would pass its check too."""
    for place in range(len(code) - 1):
        first, second = code[place : place + 2]
        if first != second:
            swapped = code[:place] + second + first + code[place + 2 :]
            if check_character(swapped[:-1]) == swapped[-1]:
                return True
    return False


def take_codes(mark: str, first_number: int, count: int) -> tuple[list[str], int]:
    """`count` codes from first_number on, and the next number that is free."""
    codes: list[str] = []
    number = first_number
    while len(codes) < count:
        code = make_code(mark, number)
        number += 1
        if code is not None:
            codes.append(code)
    return codes, number


def read_code(text: str) -> str:
    """A code as scanned or typed, in its stored form.

    Any case; I and L are read as 1, O as 0; spaces, dots, dashes and invisible characters are ignored.
    raises  CodeNotUnderstood, naming what is wrong
    """
    if not isinstance(text, str) or not text.strip():
        raise CodeNotUnderstood("empty", "Nothing was scanned. Scan or type a code.")
    code = _IGNORED.sub("", text[:80]).upper().translate(_LOOK_ALIKES)
    if not SHORTEST <= len(code) <= LONGEST or any(character not in ALPHABET for character in code):
        shown = " ".join("".join(one if one.isprintable() else " " for one in text[:80]).split())[:24]
        raise CodeNotUnderstood("form", f"“{shown}” is not a code of this shop. Scan a traveler or a label.")
    if check_character(code[:-1]) != code[-1]:
        raise CodeNotUnderstood("check", "That code has a mistyped character. Scan it again.")
    return code


def grouped(code: str) -> str:
    """A code in groups of four for reading aloud.

    >>> grouped("K3000A2BX")
    'K300 0A2B X'
    """
    return " ".join(code[start : start + 4] for start in range(0, len(code), 4))

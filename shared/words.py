"""Words for operators, in the language in use. Pure: the framework gives its translator when the app starts.

Every text that an operator reads is marked where it stands, by `say`, `say_count` or `mark`, in English and with named
places for what changes: `say("{piece} is void.", piece=…)`. `python -m tests.languages` collects them for translation.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

ENGLISH = "en"
LANGUAGES = (("en", "English"), ("es", "Español"))
"""What operators can be spoken to in: code and its own name. The texts in the code are English."""


def _one_or_many(one: str, many: str, number: int) -> str:
    return one if number == 1 else many


_translate: Callable[[str], str] = str
_translate_count: Callable[[str, str, int], str] = _one_or_many


def speak_through(one: Callable[[str], str], count: Callable[[str, str, int], str]) -> None:
    """Take a translator: of a text, and of a pair of texts for one and for many."""
    global _translate, _translate_count
    _translate, _translate_count = one, count


def mark(text: str) -> str:
    """The text itself, marked for translation: it is said later, by `say`.

    >>> mark("Gore")
    'Gore'
    """
    return text


def say(text: str, **values: object) -> str:
    """A marked text in the language in use.

    >>> say("{piece} is void.", piece="Gore 2 of 5")
    'Gore 2 of 5 is void.'
    """
    said = _translate(text) if text else text
    return said.format_map(values) if values else said


def say_count(one: str, many: str, number: int, **values: object) -> str:
    """A text that counts, in the language in use; its place is `{n}`.

    >>> say_count("{n} piece", "{n} pieces", 41)
    '41 pieces'
    """
    return _translate_count(one, many, number).format_map({"n": number, **values})


_DAYS = (mark("Mon"), mark("Tue"), mark("Wed"), mark("Thu"), mark("Fri"), mark("Sat"), mark("Sun"))
_MONTHS = (
    mark("Jan"),
    mark("Feb"),
    mark("Mar"),
    mark("Apr"),
    mark("May"),
    mark("Jun"),
    mark("Jul"),
    mark("Aug"),
    mark("Sep"),
    mark("Oct"),
    mark("Nov"),
    mark("Dec"),
)


def day_said(day: date) -> str:
    """
    >>> day_said(date(2026, 3, 4))
    'Wed 4 Mar'
    """
    return f"{say(_DAYS[day.weekday()])} {day.day} {say(_MONTHS[day.month - 1])}"

"""The languages of the floor: the shop's own, and what is said in each of them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils import translation

from fittings import tables
from shared.problems import NotFound
from shared.words import ENGLISH, LANGUAGES

CODES = tuple(code for code, _ in LANGUAGES)


def shop_language() -> str:
    """What the shop's own table says under `language`; English where it says nothing that is known."""
    try:
        rows = tables.rows("shop")
    except NotFound:
        return ENGLISH
    given = next((row["value"] for row in rows if row["key"] == "language"), ENGLISH)
    return given if given in CODES else ENGLISH


def speaking(language: str):
    """A context in which `say` speaks this language; English where it is not known."""
    return translation.override(language if language in CODES else ENGLISH)


def in_languages(words: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """What `words` makes, in English; and under "in", by language, whatever is otherwise there."""
    with speaking(ENGLISH):
        found = words()
    other = {}
    for code in CODES:
        if code != ENGLISH:
            with speaking(code):
                said = words()
            other[code] = {key: value for key, value in said.items() if value != found[key]}
    return {**found, "in": other}


__all__ = ["in_languages", "shop_language", "speaking"]

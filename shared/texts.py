"""Texts as they come in: tidied, shortened, and fit to be shown again. Pure: no Django."""

from __future__ import annotations

import unicodedata
from typing import Any

LONGEST_SEARCH = 80


def tidy(text: str, *, multiline: bool = False) -> str | None:
    """The text without spaces around it; None if it holds control characters or half a character."""
    if multiline:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    allowed = "\n\t" if multiline else ""
    if any(is_unprintable(character) and character not in allowed for character in text):
        return None
    return text.strip() if multiline else " ".join(text.split())


def is_unprintable(character: str) -> bool:
    return unicodedata.category(character) in ("Cc", "Cs")


def printable(value: Any) -> Any:
    """The value as it can be shown: control characters and half characters become a mark."""
    if not isinstance(value, str):
        return value
    return "".join("\N{REPLACEMENT CHARACTER}" if is_unprintable(one) else one for one in value[:200])


def search_text(q: str) -> str:
    """What of a search can be looked for: no control characters, at most 80 characters."""
    shown = "".join(" " if is_unprintable(one) else one for one in q[:LONGEST_SEARCH])
    return " ".join(shown.split())


def said_value(value: Any) -> str:
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "missing"}[value]
    if isinstance(value, int | float):
        return f"{value:g}" if abs(value) >= 1e12 or isinstance(value, float) else str(value)
    if isinstance(value, str):
        return f"“{printable(value)[:40]}”"
    return "a list" if isinstance(value, list | tuple) else "an object"

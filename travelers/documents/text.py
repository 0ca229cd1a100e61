"""Type on paper: the fonts, and text that is made to fit its box whatever was typed into it."""

from __future__ import annotations

import unicodedata
from datetime import date
from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FOLDER = Path(__file__).parent / "fonts"
PLAIN, BOLD, MONO, MONO_BOLD = "B612-Regular", "B612-Bold", "B612Mono-Regular", "B612Mono-Bold"
FONTS = (PLAIN, BOLD, MONO, MONO_BOLD)
ELLIPSIS = "…"
MISSING = "\ufffd"  # drawn as the font's box for a missing character
LONGEST = 2000
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@lru_cache(maxsize=1)
def register_fonts() -> frozenset[int]:
    """Makes the fonts known to the PDF library, once; returns the characters that all of them have."""
    known: set[int] | None = None
    for name in FONTS:
        font = TTFont(name, FOLDER / f"{name}.ttf")
        pdfmetrics.registerFont(font)
        have = set(font.face.charToGlyph)
        known = have if known is None else known & have
    return frozenset(known or ())


@lru_cache(maxsize=4096)
def clean(text: str) -> str:
    """The text as it can be set: one line, full-width letters narrowed, what has no glyph as a box.

    A letter whose accents the font lacks stands without them. Loose accents and characters that only steer (direction,
    joiners) are left out: they would print over their neighbours or turn the line round.
    """
    known = register_fonts()
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    found = []
    for character in unicodedata.normalize("NFC", text[:LONGEST]):
        if unicodedata.east_asian_width(character) == "F":
            character = unicodedata.normalize("NFKC", character)
        kind = unicodedata.category(character[0])
        if kind in ("Cc", "Zl", "Zp", "Zs"):
            found.append(" ")
        elif kind in ("Mn", "Me", "Cf"):
            continue
        elif all(ord(part) in known for part in character):
            found.append(character)
        else:
            base = unicodedata.normalize("NFD", character)[0]
            found.append(base if ord(base) in known else MISSING)
    return " ".join("".join(found).split())


def width_of(text: str, font: str, size: float) -> float:
    return pdfmetrics.stringWidth(text, font, size)


@lru_cache(maxsize=4096)
def fit(text: str, font: str, size: float, width: float, floor: float) -> tuple[str, float]:
    """One line within `width`: (text, size) [pt], shrunk from size to floor, then cut with an ellipsis."""
    text = clean(text)
    wide = width_of(text, font, 1.0)
    if wide * size <= width:
        return text, size
    if wide * floor <= width:
        return text, width / wide * 0.999
    return _cut(text, font, floor, width), floor


def _cut(text: str, font: str, size: float, width: float) -> str:
    """The longest beginning that fits with an ellipsis."""
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width_of(text[:middle].rstrip() + ELLIPSIS, font, size) <= width:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + ELLIPSIS


@lru_cache(maxsize=4096)
def wrap(text: str, font: str, size: float, width: float, most: int) -> tuple[str, ...]:
    """Lines within `width` [pt], at most `most`; the last is cut with an ellipsis, too wide words are broken."""
    lines: list[str] = []
    rest = clean(text)
    while rest:
        if width_of(rest, font, size) <= width:
            lines.append(rest)
            break
        if len(lines) == most - 1:
            lines.append(_cut(rest, font, size, width))
            break
        count = _fitting(rest, font, size, width)
        space = rest.rfind(" ", 0, count + 1)
        take = space if space > 0 else max(count, 1)
        lines.append(rest[:take].rstrip())
        rest = rest[take:].lstrip()
    return tuple(lines)


def _fitting(text: str, font: str, size: float, width: float) -> int:
    """How many characters from the first on fit."""
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width_of(text[:middle], font, size) <= width:
            low = middle
        else:
            high = middle - 1
    return low


def day_text(day: date | None) -> str:
    """A date that no one reads wrong: "Thu 3 Dec 2026"."""
    if day is None:
        return "no date"
    return f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]} {day.year}"

"""What a line can be found by, and what a search asks for, as words of one form. Pure.

A text word is its letters and digits, small and without accents: AHU-3 is "ahu3", and "ahu". A number counts by what it
measures: "@l14.5" a length in inches to the nearest sixteenth, "@a90" an angle, "@g24" a gauge, "@n5" so many pieces.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from shared.units import MM_PER_IN

LONGEST_WORD = 60
MOST_WORDS = 12
GAUGES = range(4, 37)
KIND_WORDS = {
    "gored_elbow": ("gored", "elbow", "ell", "bend"),
    "reducing_elbow": ("reducing", "elbow", "ell", "bend", "gored"),
    "reducer": ("reducer", "increaser", "taper"),
    "offset": ("offset",),
    "end_cap": ("end", "cap", "endcap"),
    "tee": ("tee",),
    "conical_tee": ("conical", "tee"),
    "wye": ("wye", "y"),
    "saddle": ("saddle", "tap"),
    "square_to_round": ("square", "round", "transition"),
    "pipe": ("pipe", "straight", "duct"),
}
"""The words of the trade for each kind: common practice, no source."""
MAIN_SIZES = (
    "diameter",
    "diameter_a",
    "diameter_b",
    "base_diameter",
    "branch_diameter",
    "width",
    "height",
    "length",
    "main_length",
    "offset",
    "depth",
)
IGNORED = frozenset(("order", "orders", "no", "of", "and", "the", "to", "in", "x", "for", "a", "@"))

_VULGAR = re.compile("(?<=[0-9])(?=[¼½¾⅐-⅞])")
_RUN = re.compile(r"[^\W_]+")
_SIZE = re.compile(
    r"""(?:(?P<whole>\d{1,6})(?:\s+|\s*-\s*)(?P<top>\d{1,3})/(?P<bottom>\d{1,3})
         |(?P<only_top>\d{1,3})/(?P<only_bottom>\d{1,3})
         |(?P<decimal>\d{1,9}\.\d{1,6}|\.\d{1,6}|\d{1,9}))
        \s*(?P<unit>"|”|″|''|in(?:ch(?:es)?)?\b\.?|mm\b|cm\b|ft\b|feet\b|'|′|’|°|deg(?:rees?)?\b\.?
         |ga(?:uges?)?\b\.?|gores?\b|pcs?\b\.?|pieces?\b)?
        (?=\s|,|;|[x×]\s*[\d.]|$)""",
    re.VERBOSE,
)
_BETWEEN = re.compile(r"(?:\s|,|;|[x×](?=\s*[\d.]))+")
_CHUNK = re.compile(r"[^\s,;]+")


@dataclass(frozen=True)
class Asked:
    """One word of a search, as typed and as it can stand in the index: one of `exact`, or beginning with `prefix`."""

    typed: str
    exact: tuple[str, ...]
    prefix: str = ""
    text: str = ""
    """What names are searched for: letters and digits; empty where the word is a size with its unit."""


# -- what there is ---------------------------------------------------------------


def line_words(line: Mapping[str, Any], *, number: str, purchase_order: str) -> set[str]:
    """All words by which a line is found.

    line  kind, material, gauge, params (lengths in inches), tag, system
    """
    params = line["params"] or {}
    words = set(KIND_WORDS.get(line["kind"], ()))
    words |= _runs(line["kind"].replace("_", " "), least=1) | _runs(line["material"], least=1)
    for name in ("tag", "system"):
        words |= _of_text(line.get(name) or "", least=3)
    words |= _of_text(number, least=2) | _of_text(purchase_order, least=2)
    words.add(gauge_word(line["gauge"]))
    for name in MAIN_SIZES:
        size = params.get(name)
        if _is_number(size) and size > 0:
            words.add(length_word(size))
    angle = params.get("angle", 90 if line["kind"] in ("tee", "conical_tee", "saddle") else None)
    if _is_number(angle):
        words.add(angle_word(angle))
        if "tee" in line["kind"] and abs(angle - 90) > 1e-6:
            words.add("lateral")
    if line["kind"] == "reducer":
        words.add("eccentric" if params.get("offset") else "concentric")
    pieces = params.get("pieces")
    if _is_number(pieces):
        words.add(pieces_word(pieces))
    return {word[:LONGEST_WORD] for word in words}


def length_word(inches: float) -> str:
    return f"@l{_rounded(inches * 16) / 16:g}"


def angle_word(degrees: float) -> str:
    return f"@a{_rounded(degrees * 10) / 10:g}"


def gauge_word(gauge: float) -> str:
    return f"@g{gauge:g}"


def pieces_word(pieces: float) -> str:
    return f"@n{pieces:g}"


def _rounded(value: float) -> int:
    return math.floor(value + 0.5)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def folded(text: str) -> str:
    """Small letters without accents."""
    spread = unicodedata.normalize("NFKD", text.casefold())
    return "".join(one for one in spread if not unicodedata.combining(one))


def _of_text(text: str, *, least: int) -> set[str]:
    """The words of a tag or a number: each part between spaces whole, and its runs of letters and digits."""
    parts = [joined(part) for part in folded(text).split()]
    return {part for part in (*parts, joined(text)) if part} | _runs(text, least=least)


def _runs(text: str, *, least: int) -> set[str]:
    """Runs of letters and digits; of digits alone only from `least` digits on: a 3 says too little."""
    return {run for run in _RUN.findall(folded(text)) if not run.isdigit() or len(run) >= least}


def joined(text: str) -> str:
    return "".join(_RUN.findall(folded(text)))


# -- what is asked for -------------------------------------------------------------


def words_asked(text: str, *, unit: str = "in") -> list[Asked]:
    """The words of a search in their order, at most twelve; what says nothing (order, of, x) is left out.

    unit  what a length without a unit is in: "in" or "mm"
    """
    left = unicodedata.normalize("NFKC", _VULGAR.sub(" ", text)).replace("⁄", "/").casefold()
    found: list[Asked] = []
    at = 0
    while len(found) < MOST_WORDS:
        between = _BETWEEN.match(left, at)
        at = between.end() if between else at
        if at >= len(left):
            break
        match = _SIZE.match(left, at)
        asked = _size_asked(match, unit) if match else None
        if asked is None:
            match = _CHUNK.match(left, at)
            if match is None:
                break
            asked = _text_asked(match.group())
        at = match.end()
        if asked is not None:
            found.append(asked)
    return found


def _text_asked(chunk: str) -> Asked | None:
    word = joined(chunk)[:LONGEST_WORD]
    if not word or word in IGNORED:
        return None
    exact = (word, word[:-1]) if len(word) > 3 and word.endswith("s") else (word,)
    return Asked(chunk, exact, word if len(word) > 1 else "", word)


def _size_asked(match: re.Match, unit: str) -> Asked | None:
    """None where the number is none (a fraction over nought)."""
    value = _value(match)
    if value is None:
        return None
    typed = match.group().strip()
    mark = (match["unit"] or "").rstrip(".")
    if mark in ("°",) or mark.startswith("deg"):
        return Asked(typed, (angle_word(value),))
    if mark.startswith("ga"):
        return Asked(typed, (gauge_word(value),))
    if mark.startswith(("gore", "pc", "piece")):
        return Asked(typed, (pieces_word(value),))
    per_inch = {"mm": MM_PER_IN, "cm": MM_PER_IN / 10}.get(mark)
    if mark in ("ft", "feet", "'", "′", "’"):
        per_inch = 1 / 12
    if per_inch or mark:
        return Asked(typed, (length_word(value / (per_inch or 1.0)),))
    exact = [length_word(value / (MM_PER_IN if unit == "mm" else 1.0)), angle_word(value)]
    if value in GAUGES:
        exact.append(gauge_word(value))
    digits = match["decimal"] if (match["decimal"] or "").isdigit() else ""
    if digits:
        exact.append(digits)
    return Asked(typed, tuple(exact), digits if len(digits) > 2 else "", digits)


def _value(match: re.Match) -> float | None:
    if match["decimal"]:
        return float(match["decimal"])
    top, bottom = match["top"] or match["only_top"], match["bottom"] or match["only_bottom"]
    if not int(bottom):
        return None
    return int(match["whole"] or 0) + int(top) / int(bottom)

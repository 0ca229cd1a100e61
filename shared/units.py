"""Inches, millimetres and shop fractions. Pure: no Django.

1 in = 25.4 mm exactly (international inch). Values are held as decimals of an inch and rounded for display only.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction

MM_PER_IN = 25.4
IN2_PER_FT2 = 144.0
KG_PER_LB = 0.45359237
NO_BREAK = "\N{NO-BREAK SPACE}"

_NUMBER = r"\d+(?:\.\d*)?|\.\d+"
_LENGTH = re.compile(
    rf"""^\s*(?P<sign>-)?\s*
    (?:(?P<feet>\d+)\s*(?:'|’|′|ft\.?|feet)\s*-?\s*(?=\d))?
    (?:
        (?P<whole>\d+)(?:\s+|\s*-\s*)(?P<top>\d+)\s*/\s*(?P<bottom>\d+)
      | (?P<only_top>\d+)\s*/\s*(?P<only_bottom>\d+)
      | (?P<decimal>{_NUMBER})
    )\s*(?P<unit>"|”|″|''|in\.?|inch|inches|mm|cm|ft\.?|feet|'|′)?\s*$""",
    re.VERBOSE | re.IGNORECASE,
)
_FEET = dict.fromkeys(("ft", "ft.", "feet", "'", "′"), 12.0)
_IN_PER_UNIT = {"mm": 1 / MM_PER_IN, "cm": 10 / MM_PER_IN} | _FEET
_VULGAR = str.maketrans(
    {
        chr(code): f" {top}/{bottom}"
        for code, top, bottom in ((0xBC, 1, 4), (0xBD, 1, 2), (0xBE, 3, 4), (0x215B, 1, 8))
        + ((0x215C, 3, 8), (0x215D, 5, 8), (0x215E, 7, 8))
    }
    | {NO_BREAK: " ", "\N{FRACTION SLASH}": "/", "\N{EN DASH}": "-"}
)


class LengthNotUnderstood(ValueError):
    """The text is no length; `sentence` says what is."""

    def __init__(self, text: str):
        self.sentence = f"“{text}” is not a length. Write 14.5, 14 1/2, 14-1/2 or 368.3 mm."
        super().__init__(self.sentence)


def read_length(text: str | float | int, *, unit: str = "in") -> float:
    """A length as people type it, in inches.

    text     "14 1/2", "14-1/2", "14½", "14.5", '14.5"', "368.3 mm", "1'-2 1/2\\"", or a number
    unit     what a bare number means: "in" or "mm"
    returns  inches
    raises   LengthNotUnderstood for anything else ("1/2/4", "1,5", "")

    >>> read_length("14 1/2"), read_length("368.3 mm"), read_length("1'-2 1/2\\"")
    (14.5, 14.5, 14.5)
    """
    if isinstance(text, bool):
        raise LengthNotUnderstood(str(text))
    if isinstance(text, int | float):
        if not math.isfinite(text):
            raise LengthNotUnderstood(str(text))
        return float(text) / MM_PER_IN if unit == "mm" else float(text)
    found = _LENGTH.match(text.translate(_VULGAR)) if len(text) <= 40 else None
    if not found or (found["feet"] and _unit_given(found["unit"]) in ("mm", "cm", *_FEET)):
        raise LengthNotUnderstood(text[:40])
    part = found.groupdict()
    if part["decimal"] is not None:
        value = float(part["decimal"])
    else:
        bottom = int(part["bottom"] or part["only_bottom"])
        if bottom == 0:
            raise LengthNotUnderstood(text)
        value = int(part["whole"] or 0) + int(part["top"] or part["only_top"]) / bottom
    given = _unit_given(part["unit"])
    if part["feet"]:
        value += 12 * int(part["feet"])
    elif given:
        value *= _IN_PER_UNIT.get(given, 1.0)
    elif unit == "mm":
        value /= MM_PER_IN
    if part["sign"]:
        value = -value
    if not math.isfinite(value):
        raise LengthNotUnderstood(text)
    return value


def _unit_given(text: str | None) -> str:
    return (text or "").lower()


def fraction_text(value_in: float, denominator: int = 32) -> str:
    """Inches to the nearest fraction, reduced: the way a tape is read.

    >>> fraction_text(44.07), fraction_text(0.25), fraction_text(3)
    ('44 1/16', '1/4', '3')
    """
    sign = "-" if value_in < 0 else ""
    nearest = Fraction(round(abs(value_in) * denominator), denominator)
    whole, rest = divmod(nearest, 1)
    if rest == 0:
        return f"{sign if whole else ''}{whole}"
    return f"{sign}{whole} {rest}" if whole else f"{sign}{rest}"


def decimal_text(value_in: float, places: int = 3) -> str:
    """Decimal inches; a leading zero always stands (a lost dot is a tenfold error)."""
    return f"{value_in:.{places}f}"


def both_texts(value_in: float) -> str:
    """Fraction and decimal together, for where hand and machine meet.

    >>> both_texts(44.07).replace(NO_BREAK, " ")
    '44 1/16 in (44.070)'
    """
    return f"{fraction_text(value_in).replace(' ', NO_BREAK)}{NO_BREAK}in ({decimal_text(value_in)})"


def stock_text(*sides_in: float, unit: str) -> str:
    """Sides as they are measured on stock: to a 16th of an inch, or a tenth of a millimetre.

    >>> stock_text(60, 120, unit="in"), stock_text(47.83, unit="in"), stock_text(60, 120, unit="mm")
    ('60 × 120 in', '47 13/16 in', '1524 × 3048 mm')
    """
    sides = (
        plain_number(side * MM_PER_IN, 1) if unit == "mm" else fraction_text(side, 16) for side in sides_in
    )
    return f"{' × '.join(sides)} {unit}"


def plain_number(value: float, places: int = 4) -> str:
    """A number without trailing zeros.

    >>> plain_number(1.50), plain_number(14.0)
    ('1.5', '14')
    """
    text = f"{value:.{places}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text

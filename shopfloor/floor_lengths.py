"""Lengths on the floor: feet, or metres where the shop types millimetres. Kept in feet."""

from __future__ import annotations

from dataclasses import dataclass

from fittings.forms import shop_unit
from shared.units import MM_PER_IN, NO_BREAK, LengthNotUnderstood, plain_number, read_length

IN_PER_FT = 12.0


@dataclass(frozen=True)
class FloorUnit:
    """sign: "ft" or "m"; feet: of one of them; _typed: a unit of `read_length` and how many of it one is."""

    sign: str
    feet: float
    _typed: tuple[str, float]

    def read(self, text: str) -> float:
        """A length as people type it, in feet, to the hundredth of this unit; a bare number is in it.

        Raises LengthNotUnderstood.
        """
        unit, many = self._typed
        try:
            found = read_length(f"{text} {unit}") * many
        except LengthNotUnderstood:
            found = read_length(text)
        return round(round(found / IN_PER_FT / self.feet, 2) * self.feet, 4)

    def typed(self, feet: float) -> str:
        """To the hundredth, without its sign.

        >>> FEET.typed(12.5), METRES.typed(12.5)
        ('12.5', '3.81')
        """
        return plain_number(feet / self.feet, 2)

    def said(self, feet: float) -> str:
        return f"{self.typed(feet)} {self.sign}"

    def whole(self, feet: float) -> str:
        """Rounded to the whole, for what is summed up over a day."""
        return f"{feet / self.feet:,.0f}{NO_BREAK}{self.sign}"


FEET = FloorUnit("ft", 1.0, ("ft", 1.0))
METRES = FloorUnit("m", 1000 / MM_PER_IN / IN_PER_FT, ("cm", 100.0))


def floor_unit() -> FloorUnit:
    return METRES if shop_unit() == "mm" else FEET

"""A sheet with the pieces that lie on it, as the drawings take it. Pure, lengths [in].

x runs along the sheet's length from the front of the table, y across its width, the origin is the sheet's corner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fittings.drawing.sheet import MarkLine

Line = Sequence[Sequence[float]]


@dataclass(frozen=True)
class PlacedPiece:
    """One piece where it lies on its sheet: outline, holes and marks in the sheet's coordinates [in].

    feed     its number on the sheet, from 1, the front of the table first
    label    in a few words: "Gore 2 of 5"
    code     of its segment
    pattern  key shared by equal patterns
    lines    what else there is to say, a line each: order, tag, plate
    is_off   taken off the sheet before it was cut: drawn crossed out, and not cut
    """

    feed: int
    label: str
    code: str
    outline: Line
    holes: tuple[Line, ...] = ()
    marks: tuple[MarkLine, ...] = ()
    pattern: str = ""
    lines: tuple[str, ...] = ()
    is_off: bool = False

    @property
    def part_mark(self) -> str:
        """What is marked on the metal: feed number and code."""
        return f"{self.feed} {self.code}".strip()


@dataclass(frozen=True)
class SheetDrawing:
    """One sheet, or one length of coil, with its pieces in feed order [in].

    width, length   of the stock: across the table and along it
    used_length     to the last part and the margin behind it; of a coil it is the length to cut off
    remnant         x, y of its corner, its width and its length; None where nothing is kept
    offset          where the sheet begins on the table
    code            of the sheet, blank before its plan is sent
    """

    title: str
    width: float
    length: float
    margin: float
    used_length: float
    is_coil: bool = False
    pieces: tuple[PlacedPiece, ...] = ()
    remnant: tuple[float, float, float, float] | None = None
    code: str = ""
    remnant_code: str = ""
    offset: float = 0.0

    @property
    def shown_length(self) -> float:
        """Length of the metal on the table: a coil is cut off at the length used."""
        return self.used_length if self.is_coil else self.length


__all__ = ["Line", "MarkLine", "PlacedPiece", "SheetDrawing"]

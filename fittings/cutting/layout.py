"""Where each part lies: placements on sheets, what did not go on, and how much of the stock became parts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from .work import Stock, Work


@dataclass(frozen=True)
class Placement:
    """One part: its outline turned counter-clockwise by `rotation` [deg] about its own origin, then moved by x, y.

    x along the sheet's length, y across its width; the sheet's corner is the origin. `alternative` is 0 for the
    part's own outline, else the number of its alternative from 1.
    """

    part: str
    x: float
    y: float
    rotation: float = 0.0
    alternative: int = 0


@dataclass(frozen=True)
class PlacedSheet:
    """One sheet of a stock with what lies on it. `used_length` reaches to the last part, and the margin behind it."""

    stock: Stock
    placements: tuple[Placement, ...]
    used_length: float
    area: float  # of the parts on it

    @property
    def utilisation(self) -> float:
        """Of the whole sheet; of the length used where it is cut off a coil."""
        length = self.used_length if self.stock.is_coil else self.stock.length
        return self.area / (self.stock.width * length)


@dataclass(frozen=True)
class Unplaced:
    """Parts that did not go on, and why, in a sentence."""

    part: str
    count: int
    why: str


@dataclass(frozen=True)
class Layout:
    """A whole answer. `bound` is a proven upper limit of `utilisation`; `method` says which way won."""

    sheets: tuple[PlacedSheet, ...]
    unplaced: tuple[Unplaced, ...] = ()
    bound: float = 1.0
    method: str = ""

    @property
    def utilisation(self) -> float:
        """Area of placed parts over stock used; the last sheet of each stock and every coil by its used length."""
        used = stock_used(self.sheets)
        return sum(sheet.area for sheet in self.sheets) / used if used else 0.0


@dataclass(frozen=True)
class Progress:
    """How far the search is: share of the effort from 0 to 1, and the best figures so far."""

    share: float
    utilisation: float
    sheets: int
    words: str = ""


def stock_used(sheets: Sequence[PlacedSheet]) -> float:
    """Area of stock used: the sheet of each stock with the least used length, and every coil, by the length used."""
    by_stock: dict[str, list[PlacedSheet]] = {}
    for sheet in sheets:
        by_stock.setdefault(sheet.stock.name, []).append(sheet)
    total = 0.0
    for group in by_stock.values():
        stock = group[0].stock
        if stock.is_coil:
            total += stock.width * sum(sheet.used_length for sheet in group)
        else:
            last = min(sheet.used_length for sheet in group)
            total += stock.width * (stock.length * (len(group) - 1) + last)
    return total


def placed_outline(outline: np.ndarray, placement: Placement) -> np.ndarray:
    """The outline, shape (n, 2), where the placement puts it on its sheet."""
    turn = np.deg2rad(placement.rotation)
    cos, sin = np.cos(turn), np.sin(turn)
    x = outline[:, 0] * cos - outline[:, 1] * sin + placement.x
    y = outline[:, 0] * sin + outline[:, 1] * cos + placement.y
    return np.column_stack([x, y])


def sheet_of(work: Work, stock: Stock, placements: Iterable[Placement]) -> PlacedSheet:
    """A sheet with its used length (to the last part and the margin behind it) and the area of its parts."""
    parts = {part.id: part for part in work.parts}
    placements = tuple(placements)
    end = area = 0.0
    for one in placements:
        part = parts[one.part]
        end = max(end, float(placed_outline(part.outlines[one.alternative], one)[:, 0].max()))
        area += abs(part.area)
    used = min(stock.length, end + work.rules.margin) if placements else 0.0
    return PlacedSheet(stock, placements, used, area)

"""Blocks laid out on pages before anything is drawn, so that page n of m is known. Lengths in pt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from travelers.documents.page import BOTTOM

Draw = Callable[[], None]


@dataclass(frozen=True)
class Placed:
    """A block at its place. `is_shared`: equal on all sheets of equal fittings, so it may be drawn once and stamped."""

    draw: Draw
    is_shared: bool


class Flow:
    """Blocks laid out one under another on as many pages as they take, before anything is drawn."""

    def __init__(self, start: float, later: float):
        self.pages: list[list[Placed]] = [[]]
        self._later = later
        self._y = start

    def room(self) -> float:
        return self._y - BOTTOM

    def is_fresh(self) -> bool:
        return self._y == self._later

    def place(self, height: float, draw: Callable[[float], None], *, is_shared: bool = False) -> bool:
        """Puts a block of that height, drawn from its top; True where it began a new page."""
        turned = height > self.room() and not self.is_fresh()
        if turned:
            self.pages.append([])
            self._y = self._later
        self.pages[-1].append(Placed(partial(draw, self._y), is_shared))
        self._y -= height
        return turned

    def need(self, height: float) -> None:
        """Begins a new page where less room than that is left."""
        if height > self.room() and not self.is_fresh():
            self.pages.append([])
            self._y = self._later

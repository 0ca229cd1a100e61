"""What still goes between the parts of a sheet: pockets found on a fine raster, filled with the largest part first.

The raster is conservative: a part covers every cell that its grown outline touches, so what goes on by the raster
keeps the gap and the margin.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from .layout import Placement
from .profiles import grown, profile, turned, turns_of
from .work import Part, Rules, Stock

RASTER = 900  # cells of the longer side


@dataclass(frozen=True, eq=False)
class _Shape:
    """A grown part in one turn on the raster: for each column the first and the last cell, in its own box."""

    part: int
    alternative: int
    turn: float
    first: np.ndarray
    last: np.ndarray
    corner: tuple[float, float]


@njit(cache=True, nogil=True)
def _cover(taken, x, y, lower, upper, step):
    """Mark the cells under a profile whose box begins at x, y [cells, not whole]."""
    nx, ny = taken.shape
    for j in range(lower.shape[0]):
        for c in (int(np.floor(x + j * step + 1e-9)), int(np.floor(x + (j + 1) * step - 1e-9))):
            if c < 0 or c >= nx:
                continue
            a = max(0, int(np.floor(y + lower[j] + 1e-7)))
            b = min(ny, int(np.ceil(y + upper[j] - 1e-7)))
            for k in range(a, b):
                taken[c, k] = 1


@njit(cache=True, nogil=True)
def _free_runs(taken):
    """How many cells are free from each one upward."""
    nx, ny = taken.shape
    runs = np.zeros((nx, ny), np.int16)
    for c in range(nx):
        run = 0
        for k in range(ny - 1, -1, -1):
            run = 0 if taken[c, k] else run + 1
            runs[c, k] = run
    return runs


@njit(cache=True, nogil=True)
def _place_for(runs, first, last, top):
    """The first column and row from the front where a shape goes on; (-1, -1) where none is."""
    nx, ny = runs.shape
    n = first.shape[0]
    middle = n // 2
    for c in range(nx - n + 1):
        k = 0
        while k <= ny - top:
            # the middle is looked at first: where it is taken, skip what it cannot pass
            need = last[middle] - first[middle]
            if runs[c + middle, k + first[middle]] < need:
                k += 1
                continue
            good = True
            for j in range(n):
                if runs[c + j, k + first[j]] < last[j] - first[j]:
                    good = False
                    break
            if good:
                return c, k
            k += 1
    return -1, -1


@njit(cache=True, nogil=True)
def _put(taken, runs, c, k, first, last):
    ny = taken.shape[1]
    for j in range(first.shape[0]):
        for at in range(k + first[j], k + last[j]):
            taken[c + j, at] = 1
        run = 0
        for at in range(ny - 1, -1, -1):
            run = 0 if taken[c + j, at] else run + 1
            runs[c + j, at] = run


class Pockets:
    """Fills the pockets of sheets of one stock."""

    def __init__(self, stock: Stock, parts: Sequence[Part], rules: Rules):
        self.parts = parts
        self.rules = rules
        self.inset = rules.margin - rules.gap / 2
        self.cell = max(stock.length, stock.width) / RASTER
        self.nx = int((stock.length - 2 * self.inset) / self.cell + 1e-9)
        self.ny = int((stock.width - 2 * self.inset) / self.cell + 1e-9)
        self._shapes: dict[tuple[int, int, float], tuple] = {}
        self._turned: dict[int, list[_Shape]] = {}

    def _profile(self, part: int, alternative: int, turn: float) -> tuple:
        """Lower and upper profile [cells] in steps of half a cell, and the corner of the grown, turned outline."""
        key = (part, alternative, turn)
        if key not in self._shapes:
            outline = np.asarray(self.parts[part].outlines[alternative], float)
            shape = turned(grown(outline, self.rules.gap), turn)
            corner = shape.min(axis=0)
            lower, upper = profile(shape - corner, self.cell / 2)
            self._shapes[key] = (lower / self.cell, upper / self.cell, (float(corner[0]), float(corner[1])))
        return self._shapes[key]

    def _of(self, part: int) -> list[_Shape]:
        """The shapes of a part in all its turns, those alike once."""
        if part not in self._turned:
            found: list[_Shape] = []
            for alternative, outline in enumerate(self.parts[part].outlines):
                for turn in turns_of(np.asarray(outline, float), self.rules.turns, len(self.parts)):
                    lower, upper, corner = self._profile(part, alternative, turn)
                    n = math.ceil(len(lower) / 2)
                    low, high = np.full(2 * n, np.inf), np.full(2 * n, -np.inf)
                    low[: len(lower)], high[: len(upper)] = lower, upper
                    first = np.floor(low.reshape(n, 2).min(axis=1) + 1e-7).astype(np.int64)
                    last = np.ceil(high.reshape(n, 2).max(axis=1) - 1e-7).astype(np.int64)
                    if (
                        n <= self.nx
                        and last.max() <= self.ny
                        and not any(
                            np.array_equal(first, one.first) and np.array_equal(last, one.last)
                            for one in found
                        )
                    ):
                        found.append(_Shape(part, alternative, turn, first, last, corner))
            self._turned[part] = found
        return self._turned[part]

    def end(self, one: Placement, part: int) -> float:
        """How far a placement reaches along the sheet, half the gap included [length]."""
        _, _, corner = self._profile(part, one.alternative, one.rotation)
        outline = np.asarray(self.parts[part].outlines[one.alternative], float)
        wide = np.ptp(turned(outline, one.rotation)[:, 0]) + self.rules.gap
        return one.x + corner[0] + float(wide)

    def filled(
        self,
        placements: Sequence[Placement],
        index: dict[str, int],
        left: np.ndarray,
    ) -> list[Placement]:
        """More parts between those that lie there, at most `left` of each (lowered)."""
        taken = np.zeros((self.nx, self.ny), np.uint8)
        for one in placements:
            lower, upper, corner = self._profile(index[one.part], one.alternative, one.rotation)
            x = (one.x + corner[0] - self.inset) / self.cell
            y = (one.y + corner[1] - self.inset) / self.cell
            _cover(taken, x, y, lower, upper, 0.5)
        runs = _free_runs(taken)
        room = int((taken == 0).sum())
        found: list[Placement] = []
        order = sorted(np.nonzero(left)[0], key=lambda part: -abs(self.parts[part].area))
        for part in order:
            for shape in self._of(int(part)):
                cells = int((shape.last - shape.first).sum())
                while left[part] > 0 and cells <= room:
                    c, k = _place_for(runs, shape.first, shape.last, int(shape.last.max()))
                    if c < 0:
                        break
                    _put(taken, runs, c, k, shape.first, shape.last)
                    room -= cells
                    left[part] -= 1
                    x = self.inset + c * self.cell - shape.corner[0]
                    y = self.inset + k * self.cell - shape.corner[1]
                    found.append(Placement(self.parts[part].id, x, y, shape.turn, shape.alternative))
        return found

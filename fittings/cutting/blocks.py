"""A sheet divided into rectangles, each one column of rows: the most valuable division for given values.

Each rectangle is cut from edge to edge of the one that it was part of, so the best division of every smaller
rectangle serves the larger ones (a dynamic programme over a grid of widths and heights).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

NOTHING, ACROSS, ALONG, SPLIT_X, SPLIT_Y = 0, 1, 2, 3, 4
COARSE = 16  # grid units between the places where a rectangle is split at will
MOST_WORK = 4.5e7


@dataclass(frozen=True)
class Block:
    """One rectangle in grid units: which way its column stands, and which column."""

    kind: int
    column: int
    x: int
    y: int
    width: int
    height: int


def grid_for(length: float, width: float) -> float:
    """The step of the grid: as fine as keeps a division within some milliseconds."""
    step = max(length, width) / 1000
    while (length / step) * (width / step) * (length + width) / step / 4 > MOST_WORK:
        step *= 1.06
    return step


@njit(cache=True, nogil=True, fastmath=True)
def _row(value, w, across_width, across_gain, along_width, along_gain, short):
    """What rectangles of width w are worth, for all heights at once where they do not rest upon each other."""
    heights = value.shape[1]
    best = value[w - 1].copy()
    for c in range(across_width.shape[0]):
        rest = w - across_width[c]
        if rest >= 0:
            gain, other = across_gain[c], value[rest]
            for h in range(heights):
                best[h] = max(best[h], gain[h] + other[h])
    for x in range(COARSE, w // 2 + 1, COARSE):
        one, other = value[x], value[w - x]
        for h in range(heights):
            best[h] = max(best[h], one[h] + other[h])
    for begin in range(0, heights, COARSE):
        end = min(heights, begin + COARSE)
        for c in range(along_width.shape[0]):
            gain, step = along_gain[c, w], along_width[c]
            if step >= COARSE:
                for h in range(max(begin, step), end):
                    best[h] = max(best[h], gain + best[h - step])
        for y in range(COARSE, (end - 1) // 2 + 1, COARSE):
            worth = best[y]
            for h in range(begin, end):
                best[h] = max(best[h], worth + best[h - y])
        for h in range(max(1, begin), end):
            best[h] = max(best[h], best[h - 1])
            for c in short:  # rectangles of one chunk rest upon each other there
                if along_width[c] <= h:
                    best[h] = max(best[h], along_gain[c, w] + best[h - along_width[c]])
    value[w] = best


@njit(cache=True, nogil=True)
def divide(nx, ny, across_width, across_gain, along_width, along_gain):
    """What the best division of every rectangle up to nx by ny is worth, shape (nx + 1, ny + 1).

    across_width  grid units of the columns that stand across, shape (a,)
    across_gain   what a stack in each is worth by its height in grid units, shape (a, ny + 1)
    along_*       the same for the columns that lie along: widths in y, stacks in x, shape (b, nx + 1)
    """
    value = np.zeros((nx + 1, ny + 1), np.float32)
    short = np.nonzero(along_width < COARSE)[0]
    for w in range(1, nx + 1):
        _row(value, w, across_width, across_gain, along_width, along_gain, short)
    return value


def _cut(value, across_width, across_gain, along_width, along_gain, w: int, h: int) -> tuple[int, int]:
    """How the best division of w by h begins: the column that fills it, or where it is split."""
    options = []
    for kind, split, widths, gain, size, rest in (
        (ACROSS, SPLIT_X, across_width, across_gain[:, h], w, value[:, h]),
        (ALONG, SPLIT_Y, along_width, along_gain[:, w], h, value[w]),
    ):
        fits = np.nonzero(widths <= size)[0]
        worth = gain[fits] + rest[size - widths[fits]]
        for c, one in zip(fits.tolist(), worth.tolist(), strict=True):
            whole = widths[c] == size
            options.append((one, whole, kind if whole else split, c if whole else int(widths[c])))
        at = np.arange(COARSE, size // 2 + 1, COARSE)
        worth = rest[at] + rest[size - at]
        options += [(one, False, split, x) for x, one in zip(at.tolist(), worth.tolist(), strict=True)]
    _, _, what, where = max(options, key=lambda one: one[:2], default=(0.0, False, NOTHING, 0))
    return what, where


def blocks_of(nx: int, ny: int, *columns: np.ndarray) -> list[Block]:
    """The rectangles of the best division of nx by ny, empty ones too; the columns as `divide` takes them."""
    columns = tuple(one.astype(np.float32) if one.ndim == 2 else one for one in columns)
    value = divide(nx, ny, *columns)
    found: list[Block] = []
    open_ = [(0, 0, nx, ny)]
    while open_:
        x, y, w, h = open_.pop()
        if w <= 0 or h <= 0:
            continue
        # what a smaller rectangle does as well leaves a strip free
        wide, high = w, h
        while w > 1 and value[wide, h] > 0 and value[w - 1, h] >= value[wide, h] * 0.999999:
            w -= 1
        while h > 1 and value[w, high] > 0 and value[w, h - 1] >= value[w, high] * 0.999999:
            h -= 1
        if wide > w:
            found.append(Block(NOTHING, -1, x + w, y, wide - w, high))
        if high > h:
            found.append(Block(NOTHING, -1, x, y + h, w, high - h))
        if value[w, h] <= 0:
            found.append(Block(NOTHING, -1, x, y, w, h))
            continue
        what, where = _cut(value, *columns, w, h)
        if what == SPLIT_X:
            open_ += [(x, y, where, h), (x + where, y, w - where, h)]
        elif what == SPLIT_Y:
            open_ += [(x, y, w, where), (x, y + where, w, h - where)]
        else:
            found.append(Block(what, where, x, y, w, h))
    return sorted(found, key=lambda block: (block.x, block.y))

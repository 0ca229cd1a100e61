"""Stacks: rows of equal parts one upon another, crest to trough, in a column of given width.

A row is as many equal parts side by side as the column takes, at its left or at its right; where the profiles have a
period, rows half a period apart mate. How close a row comes to the one below it is computed for each pair at hand; the
best stack for given values is then a longest path over heights.
"""

from __future__ import annotations

import numpy as np
from numba import njit

NEVER = -1e30


@njit(cache=True, nogil=True, fastmath=True)
def lifts(rows_from, rows_cells, rows_at, lower, upper):
    """How far each row must stand above each other one's base, shape (rows, rows): [below, above]."""
    n = rows_from.shape[0]
    out = np.zeros((n, n))
    for a in range(n):
        for b in range(n):
            begin = max(rows_at[a], rows_at[b])
            end = min(rows_at[a] + rows_cells[a], rows_at[b] + rows_cells[b])
            t = 0.0
            fa = rows_from[a] - rows_at[a]
            fb = rows_from[b] - rows_at[b]
            for c in range(begin, end):
                d = upper[fa + c] - lower[fb + c]
                if d > t:
                    t = d
            out[a, b] = t
    return out


@njit(cache=True, nogil=True, fastmath=True)
def _climb(steps, heights, worth, most, limit, under, value, before, gains):
    """Values of all stacks: by top row and its base; and the most that a stack of each height is worth, in `gains`."""
    n = heights.shape[0]
    reached = np.full(n, NEVER)
    for b in range(n):
        base = 0 if under < 0 else steps[under, b]
        if base + heights[b] <= limit and most[b] > 0:
            value[b, base] = worth[b]
    for h in range(limit + 1):
        for a in range(n):
            have = value[a, h]
            if have <= reached[a]:  # a lower stack with the same top is worth as much
                continue
            reached[a] = have
            end = h + heights[a]
            if have > gains[end]:
                gains[end] = have
            for b in range(n):
                to = h + steps[a, b]
                if to + heights[b] > limit or most[b] <= 0:
                    continue
                if have + worth[b] > value[b, to]:
                    value[b, to] = have + worth[b]
                    before[b, to] = a
    for h in range(1, limit + 1):
        if gains[h] < gains[h - 1]:
            gains[h] = gains[h - 1]


@njit(cache=True, nogil=True, fastmath=True)
def stack_gains(steps, heights, worth, most, limit):
    """The most that a stack is worth, for each height from 0 to limit.

    steps    whole height units from the base of one row to that of the next, shape (rows, rows), from 1
    heights  whole height units of each row
    worth    value of each row; most: 0 where it may not be used
    limit    whole height units that there are
    """
    n = heights.shape[0]
    gains = np.zeros(limit + 1)
    _climb(
        steps, heights, worth, most, limit,
        -1, np.full((n, limit + 1), NEVER), np.full((n, limit + 1), -1, np.int16), gains,
    )  # fmt: skip
    return gains


@njit(cache=True, nogil=True, fastmath=True)
def best_stack(steps, heights, worth, most, limit, under):
    """The rows of the most valuable stack from the bottom; arguments as in `stack_gains`.

    under  the row that it stands on, whose base is height 0; -1 for the ground
    """
    n = heights.shape[0]
    gains = np.zeros(limit + 1)
    value = np.full((n, limit + 1), NEVER)
    before = np.full((n, limit + 1), -1, np.int16)
    _climb(steps, heights, worth, most, limit, under, value, before, gains)
    best, row, at = 0.0, -1, 0
    for b in range(n):
        for h in range(limit + 1 - min(limit + 1, heights[b])):
            if value[b, h] > best:
                best, row, at = value[b, h], b, h
        h = limit - heights[b]
        if h >= 0 and value[b, h] > best:
            best, row, at = value[b, h], b, h
    rows = []
    while row >= 0:
        rows.append(row)
        last = before[row, at]
        if last >= 0:
            at -= steps[last, row]
        row = last
    return rows[::-1]


@njit(cache=True, nogil=True, fastmath=True)
def drop(sky, limit, at, cells, begin, lower, upper, height):
    """Lower one part onto the skyline at a cell; its base, or -1 where it would stand out above the limit."""
    t = 0.0
    for j in range(cells):
        d = sky[at + j] - lower[begin + j]
        if d > t:
            t = d
    if t + height > limit + 1e-9:
        return -1.0
    for j in range(cells):
        sky[at + j] = t + upper[begin + j]
    return t

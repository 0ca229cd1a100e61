"""The inner loop of the search: one sheet filled from its edge, part on part, along the skyline of what lies there.

Compiled; plain arrays only. Heights grow from 0 to `limit`, the skyline has one height a cell.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from .stacks import drop

SKIP = 4  # cells from one looked at to the next, where places are compared


@njit(cache=True, nogil=True)
def _next(state):
    """xorshift64*: the next state of a random stream."""
    state ^= state >> np.uint64(12)
    state ^= state << np.uint64(25)
    state ^= state >> np.uint64(27)
    return state


@njit(cache=True, nogil=True)
def _share(state):
    """A number in [0, 1) from a random state."""
    return float((state * np.uint64(2685821657736338717)) >> np.uint64(11)) / 9007199254740992.0


@njit(cache=True, nogil=True, fastmath=True)
def _score(sky, limit, step, head, c, w, lower, upper, height, worth, area):
    """About what a part is worth at a cell, by its value and what it wastes below and above; -1 beyond the limit."""
    t = 0.0
    for j in range(0, w, SKIP):
        t = max(t, sky[c + j] - lower[j])
    if t > limit - height + 1e-9:
        return -1.0
    waste = 0.0
    for j in range(0, w, SKIP):
        waste += t + lower[j] - sky[c + j]
    if limit - t - height < head:
        for j in range(0, w, SKIP):
            waste += limit - t - upper[j]
    return worth * area / (area + waste * step * SKIP)


@njit(cache=True, nogil=True, fastmath=True)
def fill(
    sky,
    limit,
    step,
    first,
    cells,
    lower,
    upper,
    height,
    part,
    area,
    value,
    left,
    head,
    noise,
    seed,
    most,
    out,
):
    """Place parts one by one where they waste least for their value, until none goes on any more.

    A part goes to the right or to the left of an edge of the skyline. What it is worth there is kept for each edge
    until the skyline changes below it.

    sky      heights, shape (n,), changed
    first, cells, height, part, area   of each variant; lower and upper of all, one after another
    value    of each part per unit of area: 1 is usual, 0 leaves it out
    left     how many of each part there are, changed
    head     least height that anything still needs: less room than that above a part is waste
    noise    how far the values are shaken
    out      shape (most, 3): variant, cell, height of each placed part, filled
    returns  how many were placed
    """
    n, kinds = sky.shape[0], first.shape[0]
    state = np.uint64(seed * 2 + 1) * np.uint64(0x9E3779B97F4A7C15) | np.uint64(1)
    for _ in range(4):
        state = _next(state)
    shaken = np.empty(left.shape[0])
    for p in range(left.shape[0]):
        state = _next(state)
        shaken[p] = value[p] * (1.0 + noise * (2.0 * _share(state) - 1.0)) if left[p] > 0 else 0.0
    some = np.array([v for v in range(kinds) if shaken[part[v]] > 0.0 and cells[v] <= n])
    edge = np.zeros(n + 1, np.bool_)
    edge[0] = edge[n] = True
    for c in range(1, n):
        edge[c] = abs(sky[c] - sky[c - 1]) > 4 * step
    fresh = edge.copy()
    slot = np.empty(n + 1, np.int64)  # of each edge, in what is kept
    free = np.arange(n, -1, -1)
    frees = n + 1
    # kept: [0] to the left of the edge, [1] to its right
    score = np.empty((n + 1, 2, len(some)), np.float32)
    begin, end = 0, n  # where the skyline is new
    placed = 0
    while placed < most:
        best = np.float32(0.0)
        best_e, best_side, best_i = -1, 0, -1
        for e in range(n + 1):
            if not edge[e]:
                continue
            if fresh[e]:
                frees -= 1
                slot[e] = free[frees]
            at = slot[e]
            for side in range(2):
                for i in range(len(some)):
                    v = some[i]
                    w = cells[v]
                    c = e if side else e - w
                    if fresh[e] or (c < end and c + w > begin):
                        if c < 0 or c + w > n:
                            score[at, side, i] = -1.0
                        else:
                            low, up = lower[first[v] : first[v] + w], upper[first[v] : first[v] + w]
                            score[at, side, i] = _score(
                                sky, limit, step, head, c, w, low, up, height[v], shaken[part[v]], area[v]
                            )
                    if score[at, side, i] > best and left[part[v]] > 0:
                        best, best_e, best_side, best_i = score[at, side, i], e, side, i
            fresh[e] = False
        if best_e < 0:
            break
        v = some[best_i]
        f, w = first[v], cells[v]
        begin = best_e if best_side else best_e - w
        t = drop(sky, limit, begin, w, f, lower, upper, height[v])
        if t < 0.0:
            score[slot[best_e], best_side, best_i] = -1.0
            begin, end = 0, 0
            continue
        end = begin + w
        for c in range(begin + 1, end):
            if edge[c]:
                edge[c] = False
                free[frees] = slot[c]
                frees += 1
        for c in (begin, end):
            if not edge[c]:
                edge[c] = fresh[c] = True
        left[part[v]] -= 1
        out[placed, 0] = v
        out[placed, 1] = begin
        out[placed, 2] = t
        placed += 1
    return placed

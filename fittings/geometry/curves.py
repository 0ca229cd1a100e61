"""Sampling of edges: no point of the true curve is farther than the tolerance from the polyline."""

import math

import numpy as np

CHORD_TOLERANCE = 0.002  # in; the promise to the outside is 0.005 in, the rest is for rounding and offsets
_LINES_PER_QUARTER = 4  # never coarser than the sixteen element lines of a hand layout


def quarter_steps(amplitude: float, *, tolerance: float = CHORD_TOLERANCE) -> int:
    """Equal steps in a quarter turn that keep the chord error of a cosine edge within the tolerance.

    y = A cos ψ has |y″| ≤ A, and a chord over a step h is off by at most |y″| h² / 8

    amplitude  A, half the rise of the edge [in], ≥ 0
    tolerance  greatest distance from curve to chord [in], > 0
    returns    steps in 90°, a multiple of 4, so that sixteen equal element lines are always among the points
    source     error bound of linear interpolation (any text on numerical analysis, from memory); measured
               against the closed formula in tests/fittings/geometry/test_gored_elbow_properties.py

    >>> quarter_steps(1.4), quarter_steps(0.0)
    (16, 4)
    """
    needed = (math.pi / 2) / math.sqrt(8 * tolerance / amplitude) if amplitude > 0 else 1.0
    return _LINES_PER_QUARTER * max(1, math.ceil(needed / _LINES_PER_QUARTER - 1e-9))


def turn_positions(steps_per_quarter: int) -> np.ndarray:
    """Positions of a full turn in equal steps, as parts of the turn from 0 to 1, both ends included.

    steps_per_quarter  steps in 90°, ≥ 1
    returns            shape (4 n + 1,), parts of the stretch-out [1]
    source             equal division of the girth: E. M. Longfield, Sheet Metal Drafting (1921), p. 63

    >>> turn_positions(1).tolist()
    [0.0, 0.25, 0.5, 0.75, 1.0]
    """
    count = 4 * steps_per_quarter
    return np.arange(count + 1) / count


def part_of_edge(edge: np.ndarray, x_from: float, x_to: float) -> np.ndarray:
    """The part of an edge between two positions, moved so that it begins at x = 0.

    edge         polyline in increasing x, shape (n, 2) [in]
    x_from, x_to positions along the stretch-out [in], x_from < x_to, both on the edge
    returns      polyline, shape (m, 2) [in]; its ends lie on the polyline, so no accuracy is lost
    source       definition of linear interpolation

    >>> part_of_edge(np.array([[0, 0], [2, 2], [4, 0]], float), 1, 4).tolist()
    [[0.0, 1.0], [1.0, 2.0], [3.0, 0.0]]
    """
    x, y = edge[:, 0], edge[:, 1]
    near = 1e-9 * max(1.0, abs(x[-1]))
    inner = edge[(x > x_from + near) & (x < x_to - near)]
    ends = np.interp([x_from, x_to], x, y)
    part = np.vstack([[x_from, ends[0]], inner, [x_to, ends[1]]])
    part[:, 0] -= x_from
    return part


def edge_length(edge: np.ndarray) -> float:
    """Length of a polyline.

    edge     shape (n, 2) or (n, 3) [in]
    returns  [in]
    source   definition

    >>> edge_length(np.array([[0, 0], [3, 4], [3, 5]], float))
    6.0
    """
    return float(np.linalg.norm(np.diff(edge, axis=0), axis=1).sum())


def sampled(curve, breaks, *, tolerance: float = CHORD_TOLERANCE) -> np.ndarray:
    """Parameters of a curve, dense enough that no part of it is farther than the tolerance from its chords.

    curve      function of parameters, shape (n,), to points, shape (n, 2) or (n, 3) [in]; smooth between the breaks
    breaks     increasing parameters that must be among the result: ends, corners, quarter elements
    tolerance  greatest distance from curve to chord [in], > 0
    returns    increasing parameters, shape (m,)
    source     bisection; each part is measured at its quarters, against the curve itself

    >>> t = sampled(lambda t: np.column_stack([np.cos(t), np.sin(t)]), [0, math.pi])
    >>> bool(1 - np.cos(np.diff(t).max() / 2) <= CHORD_TOLERANCE), float(t[-1]) == math.pi
    (True, True)
    """
    breaks = np.asarray(breaks, dtype=float)
    parts = np.arange(_LINES_PER_QUARTER) / _LINES_PER_QUARTER
    t = np.append((breaks[:-1, None] + np.diff(breaks)[:, None] * parts).ravel(), breaks[-1])
    is_new = np.ones(len(t) - 1, dtype=bool)
    for _ in range(24):
        low, high = t[:-1][is_new], t[1:][is_new]
        if not len(low):
            break
        inner = low[:, None] + (high - low)[:, None] * np.array([0.25, 0.5, 0.75])
        ends = curve(np.concatenate([low, high]))
        start, chord = ends[: len(low)], ends[len(low) :] - ends[: len(low)]
        away = curve(inner.ravel()).reshape(len(low), 3, -1) - start[:, None]
        length = np.maximum(np.einsum("ij,ij->i", chord, chord), 1e-24)
        along = np.clip(np.einsum("ikj,ij->ik", away, chord) / length[:, None], 0, 1)
        off = np.linalg.norm(away - along[..., None] * chord[:, None], axis=2).max(axis=1)
        split = np.zeros(len(t) - 1, dtype=bool)
        split[is_new] = off > 0.8 * tolerance
        if not split.any():
            break
        middles = (t[:-1][split] + t[1:][split]) / 2
        t = np.sort(np.concatenate([t, middles]))
        is_new = np.isin(t[:-1], middles) | np.isin(t[1:], middles)
    return t

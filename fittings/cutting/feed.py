"""What the table does with the sheets of a plan: in which order it cuts, how it is loaded, what is left over."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

_SLACK = 1e-6


def feed_numbers(outlines: Sequence[np.ndarray]) -> list[int]:
    """The numbers in which pieces are cut, from 1: the front of the table (small x) first, then across it.

    outlines  where they lie on the sheet, shape (n, 2) each
    returns   a number an outline, in their order; by least x, then least y. What lies in front can be picked while
              the rear is cut.

    >>> square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], float)
    >>> feed_numbers([square + [5, 0], square + [0, 3], square])
    [3, 2, 1]
    """
    corners = [tuple(np.round(np.asarray(outline, float).min(axis=0), 4)) for outline in outlines]
    numbers = [0] * len(corners)
    for number, at in enumerate(sorted(range(len(corners)), key=lambda at: (*corners[at], at)), start=1):
        numbers[at] = number
    return numbers


def table_loads(
    lengths: Sequence[float], table_length: float, alone: Sequence[bool] = ()
) -> list[tuple[int, float]]:
    """The load of the table that each sheet is in, from 1, and where it begins on the table.

    Sheets lie end to end in their order; one that does not go on any more begins the next load. So does one longer
    than the table, which is then alone.

    lengths  of the sheets, in the order of cutting
    alone    True for what has the table to itself, such as a length of coil
    returns  (load, offset) a sheet

    >>> table_loads([120, 120, 96, 120], 240)
    [(1, 0.0), (1, 120.0), (2, 0.0), (2, 96.0)]
    >>> table_loads([96, 100, 96], 240, [False, True, False])
    [(1, 0.0), (2, 0.0), (3, 0.0)]
    """
    found: list[tuple[int, float]] = []
    load, end, is_closed = 0, 0.0, True
    for at, length in enumerate(lengths):
        is_alone = bool(alone) and alone[at]
        if is_closed or is_alone or end + length > table_length + _SLACK:
            load, end = load + 1, 0.0
        found.append((load, float(end)))
        end += length
        is_closed = is_alone
    return found


def remnant_of(
    length: float, width: float, outlines: Sequence[np.ndarray], gap: float, margin: float, least: float
) -> tuple[float, float] | None:
    """The rectangle of full width that is left of a sheet behind its last piece: (width, length), or None.

    length, width  of the sheet, length along x
    outlines       of the pieces where they lie, shape (n, 2) each
    gap, margin    of the plan; the greater is left between the last piece and the remnant
    least          both sides of a remnant that is kept are at least this

    >>> piece = np.array([[0.25, 0.25], [70, 0.25], [70, 20], [0.25, 20]])
    >>> remnant_of(120, 48, [piece], 0.125, 0.25, 12), remnant_of(80, 48, [piece], 0.125, 0.25, 12)
    ((48.0, 49.75), None)
    """
    end = max((float(np.asarray(outline)[:, 0].max()) for outline in outlines), default=0.0)
    left = length - end - max(gap, margin)
    if left <= _SLACK or min(left, width) < least - _SLACK:
        return None
    return float(width), round(left, 4)

"""Parts as the skyline sees them: for each allowed turn, the lower and upper profile over a fine grid.

Each outline is grown by half the gap, a hair more where arcs are sampled, so that grown parts that do not overlap are
at least the gap apart. A profile's cell holds the least (lower) and the greatest (upper) height within the cell: what
is placed by profiles never overlaps, whatever the grid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from .work import ANY, HALF, Part

QUARTERS = {ANY: (0.0, 90.0, 180.0, 270.0), HALF: (0.0, 180.0)}
LONG_SIDE = 0.12  # of the way round: a straight side that a part may lie on
SMALLER = 0.98  # a box so much smaller than the upright one counts
MOST_PARTS = 80  # different ones, beyond which there are only quarter turns
MOST_SLANTED = 2  # slants beside the quarter turns
ARC = 8  # segments a quarter circle of the grown corner
SAME = 1e-4


@dataclass(frozen=True, eq=False)
class Variant:
    """One part in one turn. Its grown outline begins at (0, 0) of its own box, which is `width` cells by `height`.

    lower, upper  heights [length], shape (cells,)
    shift         to be added to the place of the box's corner to get the placement's x and y
    """

    part: int
    alternative: int
    turn: float
    lower: np.ndarray
    upper: np.ndarray
    height: float
    width: float
    shift: tuple[float, float]

    @property
    def cells(self) -> int:
        return len(self.lower)


def grown(outline: np.ndarray, gap: float) -> np.ndarray:
    """The outline grown by half the gap all round, shape (n, 2); never less than that."""
    if gap <= 0:
        return outline
    from shapely import Polygon

    # an arc is divided into the nearest whole number of steps, so one step may be half as long again
    more = gap / 2 / math.cos(1.5 * math.pi / (4 * ARC)) + 1e-7
    ring = Polygon(outline).buffer(more, quad_segs=ARC, join_style="round").exterior
    return np.asarray(ring.coords)[:-1]


def turned(outline: np.ndarray, degrees: float) -> np.ndarray:
    """The outline turned counter-clockwise about the origin; quarter turns exactly."""
    quarter = round(degrees / 90.0)
    if abs(degrees - 90.0 * quarter) < 1e-12:
        cos, sin = ((1, 0), (0, 1), (-1, 0), (0, -1))[quarter % 4]
    else:
        cos, sin = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    x, y = outline[:, 0], outline[:, 1]
    return np.column_stack([x * cos - y * sin, x * sin + y * cos])


def turns_of(outline: np.ndarray, turns: str, parts: int) -> list[float]:
    """The turns to be tried [deg]: quarters; where any is allowed, also the smallest box and long sides flat.

    parts  how many different parts there are: of many, quarter turns alone, as each turn takes time
    """
    found = list(QUARTERS.get(turns, (0.0,)))
    if turns != ANY or parts > MOST_PARTS:
        return found
    from shapely import MultiPoint, get_coordinates

    points = MultiPoint(outline)
    smallest = points.minimum_rotated_rectangle
    is_smaller = smallest.area < SMALLER * np.prod(np.ptp(outline, axis=0))
    box = np.diff(get_coordinates(smallest), axis=0)[: int(is_smaller)]
    around = points.convex_hull.length
    sides = np.diff(outline, axis=0, append=outline[:1])
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    longest = [at for at in np.argsort(-lengths, kind="stable") if lengths[at] >= LONG_SIDE * around]
    slants: list[float] = []
    for x, y in (*box, *sides[longest]):
        slant = -math.degrees(math.atan2(y, x)) % 90.0
        if all(min(abs(slant - other), 90.0 - abs(slant - other)) > 1.0 for other in (0.0, *slants)):
            slants.append(round(slant, 6))
    return found + [quarter + slant for slant in slants[:MOST_SLANTED] for quarter in QUARTERS[ANY]]


def profile(points: np.ndarray, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest height of a closed outline in each cell of the grid that begins at its least x.

    points   shape (n, 2), least x and y at 0
    returns  lower, upper, shape (cells,)
    """
    return _profile(np.ascontiguousarray(points, dtype=float), float(step))


@njit(cache=True, nogil=True)
def _profile(points, step):
    cells = max(1, int(math.ceil(points[:, 0].max() / step - 1e-9)))
    lower = np.full(cells, np.inf)
    upper = np.full(cells, -np.inf)
    n = points.shape[0]
    for i in range(n):
        xa, ya = points[i, 0], points[i, 1]
        xb, yb = points[(i + 1) % n, 0], points[(i + 1) % n, 1]
        if xa > xb:
            xa, ya, xb, yb = xb, yb, xa, ya
        first = min(cells - 1, int(xa / step))
        last = min(cells - 1, max(first, int(math.ceil(xb / step - 1e-12)) - 1))
        slope = (yb - ya) / (xb - xa) if xb > xa else 0.0
        for c in range(first, last + 1):
            y1, y2 = ya, yb
            if xb > xa:
                y1 = ya + slope * (min(max(c * step, xa), xb) - xa)
                y2 = ya + slope * (min(max((c + 1) * step, xa), xb) - xa)
            lower[c] = min(lower[c], y1, y2)
            upper[c] = max(upper[c], y1, y2)
    return lower, upper


def variants(parts: Sequence[Part], *, gap: float, turns: str, step: float, quarter: bool) -> list[Variant]:
    """Every part, alternative and turn that differs from the others of the same part.

    step     of the grid
    quarter  True where the skyline lies across: all turns are given in the skyline's own frame, a quarter turn off
    """
    found: list[Variant] = []
    for number, part in enumerate(parts):
        mine: list[Variant] = []
        for alternative, outline in enumerate(part.outlines):
            big = grown(np.asarray(outline, float), gap)
            for turn in turns_of(np.asarray(outline, float), turns, len(parts)):
                shape = turned(big, turn + (90.0 if quarter else 0.0))
                corner = shape.min(axis=0)
                shape = shape - corner
                lower, upper = profile(shape, step)
                one = Variant(
                    number,
                    alternative,
                    turn,
                    lower,
                    upper,
                    float(shape[:, 1].max()),
                    float(shape[:, 0].max()),
                    (-float(corner[0]), -float(corner[1])),
                )
                if not any(_same(one, other) for other in mine):
                    mine.append(one)
        found += mine
    return found


def _same(one: Variant, other: Variant) -> bool:
    return (
        one.cells == other.cells
        and np.abs(one.lower - other.lower).max() < SAME
        and np.abs(one.upper - other.upper).max() < SAME
    )

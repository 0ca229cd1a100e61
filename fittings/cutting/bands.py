"""How much of each band across a sheet a large part must cover, however it is turned and moved.

A band is a stripe across the sheet, or several at equal distances. A part longer than half the sheet covers some of
the middle stripe wherever it lies: the least such area is its measure. Measures of parts on one sheet add up to no
more than the stripe. `least_cover` finds them from below, so that whatever is built on them is proven.

Turning: all turns are divided into intervals. Within d of a point of the turned part lies the same point at any other
turn of the interval, so the part less a border of width d is covered at each of them; the places that it can take are
those of the middle turn, d wider. Intervals whose measure is low are halved until it is nearly that of a real place.
Moving: places stand a cell apart, and stripes are whole cells wide. From one place to the next the part's height on
either side of a stripe changes linearly where no corner of it lies, which limits the least between; where a corner
lies, the cell's whole area does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numba
import numpy as np
import shapely

from .work import ANY

_CELLS = 160  # of the way from stripe to stripe
_FIRST = 24  # intervals of the half turn
_CLOSE = 0.98  # of a real place's measure is close enough
_TOLERANCE = 1e-6


@dataclass(frozen=True)
class Band:
    """Stripes across one side of the usable sheet: `stripes` as (from, to) along it, symmetric about its middle.

    axis  0: along the length, 1: along the width
    cell  stripes and the ways between them are whole numbers of it
    """

    axis: int
    stripes: tuple[tuple[float, float], ...]
    cell: float

    @property
    def width(self) -> float:
        return sum(high - low for low, high in self.stripes)


def bands_of(sides: Sequence[float], widths: Sequence[Sequence[float]] = ((), ())) -> list[Band]:
    """One to three stripes at equal distances along either side, of several widths.

    sides   length and width of the usable sheet
    widths  for each axis more half widths of the one stripe in the middle
    """
    found = []
    for axis, side in enumerate(sides):
        for count in (1, 2, 3):
            step = side / (count + 1)
            cell = step / _CELLS
            halves = [(cells * cell, cell) for cells in (8, 32, 64, 100)]
            for half in widths[axis] if count == 1 else ():
                if 0.01 * side < half < step:
                    halves.append((half, 2 * half / max(64, math.ceil(2 * half / cell))))
            middles = [step * (at + 1) for at in range(count)]
            for half, own in sorted(set(halves)):
                found.append(Band(axis, tuple((mid - half, mid + half) for mid in middles), own))
    return found


def least_extents(outline: np.ndarray, sides: Sequence[float], turns: str) -> tuple[float, float] | None:
    """From below: the least length and the least width that the outline takes, turned so that it goes on.

    sides    length and width that there are
    returns  (length, width), or None if it goes on in no turn
    """
    hull = _hull(outline)
    angles, spread = (np.arange(360) * math.pi / 360, math.pi / 720) if turns == ANY else (np.zeros(1), 0.0)
    x, y = _extents(hull, angles)
    loose = 2 * spread * _reach(hull)
    may = (x - loose <= sides[0] + _TOLERANCE) & (y - loose <= sides[1] + _TOLERANCE)
    if not may.any():
        return None
    return float(x[may].min() - loose), float(y[may].min() - loose)


def least_cover(
    polygon: shapely.Polygon,
    sides: Sequence[float],
    bands: Sequence[Band],
    turns: str,
    *,
    halvings: int = 7,
    most: int = 400,
) -> tuple[np.ndarray, np.ndarray]:
    """For each band, an area that the polygon covers at least, in every place on the sheet that it can take.

    polygon   the part, grown by half the gap if there is one
    sides     length and width of the usable sheet, grown likewise
    halvings  of the intervals of turns at most
    most      intervals to look at
    returns   (that area; the least area of the places that were tried), both of shape (len(bands),);
              0 where it can avoid the band
    """
    polygon = shapely.transform(polygon, lambda points: points - _hull(points).mean(axis=0))
    hull = _hull(shapely.get_coordinates(polygon.exterior))
    groups = _grouped(bands)
    if turns != ANY:
        cover = _cover(_edges(polygon), 0.0, _box(hull, 0.0), 0.0, sides, groups, len(bands))
        cover = np.where(np.isfinite(cover), cover, 0.0)
        return cover, cover
    reach, fine = _reach(hull), _reach(hull) / 2000
    real = np.full(len(bands), math.inf)
    done = np.full(len(bands), math.inf)  # of the intervals that are looked at no more
    whole = _edges(polygon.simplify(fine))
    spread = math.pi / _FIRST / 2
    todo = [(2 * at + 1) * spread for at in range(_FIRST)]
    looked = 0
    for halving in range(halvings + 1):
        border = 2 * reach * math.sin(spread / 2)
        smaller = _edges(polygon.buffer(-1.003 * border - fine).simplify(fine))
        covers = []
        for angle in todo:
            box = _box(hull, angle)
            cover = _cover(smaller, angle, box, border, sides, groups, len(bands))
            if np.isfinite(cover).any():
                covers.append((angle, cover))
                real = np.minimum(real, _cover(whole, angle, box, 0.0, sides, groups, len(bands)))
        looked += len(covers)
        low = [angle for angle, cover in covers if np.any(cover < _CLOSE * real)]
        is_last = halving == halvings or looked + 2 * len(low) > most or not np.any(real > 0)
        for angle, cover in covers:
            if is_last or angle not in low:
                done = np.minimum(done, cover)
        if is_last or not low:
            break
        spread /= 2
        todo = [angle + side * spread for angle in low for side in (-1, 1)]
    return np.where(np.isfinite(done), done, 0.0), np.where(np.isfinite(real), real, 0.0)


def covers_middle(polygon: shapely.Polygon, sides: Sequence[float], turns: str, *, halvings: int = 8) -> bool:
    """Whether the polygon covers the middle of the sheet in every place that it can take: two such lie on two sheets.

    The places of the sheet's middle within the part, as it is moved, are a rectangle: it must lie in the part.
    """
    polygon = shapely.transform(polygon, lambda points: points - _hull(points).mean(axis=0))
    hull = _hull(shapely.get_coordinates(polygon.exterior))
    middle = np.asarray(sides) / 2
    reach, spread = _reach(hull), math.pi / _FIRST / 2
    todo = [(2 * at + 1) * spread for at in range(_FIRST)] if turns == ANY else [0.0]
    for _ in range(halvings + 1):
        border = 2 * reach * math.sin(spread / 2) if turns == ANY else 0.0
        smaller = polygon.buffer(-1.003 * border) if border else polygon
        open_ = []
        for angle in todo:
            low, high = _box(hull, angle)
            if np.any(high - low - 2 * border > np.asarray(sides) + _TOLERANCE):
                continue
            goes_on = np.all(high - low <= np.asarray(sides))
            if goes_on and not _holds(polygon, angle, high - middle, low + middle):
                return False
            # the part may lie `border` farther to each side
            if not _holds(smaller, angle, high - middle - border, low + middle + border):
                open_.append(angle)
        if not open_:
            return True
        spread /= 2
        todo = [angle + side * spread for angle in open_ for side in (-1, 1)]
    return False


def _holds(polygon, angle: float, low: np.ndarray, high: np.ndarray) -> bool:
    """Whether the turned polygon holds a box, or its middle where it has no extent that way."""
    low, high = np.minimum(low, high), np.maximum(low, high)
    corners = np.array([low, [high[0], low[1]], high, [low[0], high[1]]])
    box = shapely.convex_hull(shapely.multipoints(_turned(corners, -angle)))
    return bool(shapely.covers(polygon, box))


def _grouped(bands: Sequence[Band]) -> list[list[tuple]]:
    """For either axis, of each band: its place, first side, cell, and in cells its stripes' first sides and width."""
    groups = ([], [])
    for at, band in enumerate(bands):
        first = band.stripes[0][0]
        starts = np.array([round((low - first) / band.cell) for low, _ in band.stripes])
        width = round((band.stripes[0][1] - first) / band.cell)
        groups[band.axis].append((at, first, band.cell, starts, width))
    return list(groups)


def _hull(outline: np.ndarray) -> np.ndarray:
    return shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(outline)))[:-1]


def _reach(hull: np.ndarray) -> float:
    return float(np.hypot(*hull.T).max()) if len(hull) else 0.0


def _extents(hull: np.ndarray, angles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    cos, sin = np.cos(angles)[:, None], np.sin(angles)[:, None]
    return (
        np.ptp(hull[:, 0] * cos - hull[:, 1] * sin, axis=1),
        np.ptp(hull[:, 0] * sin + hull[:, 1] * cos, axis=1),
    )


def _turned(points: np.ndarray, angle: float) -> np.ndarray:
    cos, sin = math.cos(angle), math.sin(angle)
    return points @ np.array([[cos, sin], [-sin, cos]])


def _box(hull: np.ndarray, angle: float) -> tuple[np.ndarray, np.ndarray]:
    turned = _turned(hull, angle)
    return turned.min(axis=0), turned.max(axis=0)


def _edges(shape) -> np.ndarray:
    """Edges of a polygon or several, (n, 4), counter-clockwise; holes clockwise."""
    rows = []
    for polygon in shapely.get_parts(shape):
        polygon = shapely.orient_polygons(polygon)
        for ring in (polygon.exterior, *polygon.interiors):
            points = shapely.get_coordinates(ring)
            rows.append(np.hstack([points[:-1], points[1:]]))
    return np.vstack(rows) if rows else np.zeros((0, 4))


def _cover(edges, angle, box, loose, sides, groups, count) -> np.ndarray:
    """Least cover at a turn, of each band; infinite where the part does not go on."""
    cover = np.full(count, math.inf)
    low, high = box
    if np.any(high - low - 2 * loose > np.asarray(sides) + _TOLERANCE):
        return cover
    if not len(edges):
        return np.zeros(count)
    ends = np.hstack([_turned(edges[:, :2], angle), _turned(edges[:, 2:], angle)])
    for axis, group in enumerate(groups):
        if not group:
            continue
        order = [0, 1, 2, 3] if axis == 0 else [3, 2, 1, 0]  # mirrored, and so the other way round
        own = np.ascontiguousarray(ends[:, order])
        first, last = -low[axis] - loose, sides[axis] - high[axis] + loose
        for at, side, cell, starts, width in group:
            moves = math.ceil(max(0.0, last - first) / cell - 1e-9)
            cover[at] = max(0.0, _least_between(own, side - first - moves * cell, cell, moves, starts, width))
    return cover


@numba.njit(cache=True)
def _least_between(edges, start, cell, moves, starts, width):
    """Least area between the sides of stripes, from below, over all moves.

    edges   of the part, (n, 4), counter-clockwise
    start   place in the part where the first stripe begins; it moves on by as many cells as `moves`
    starts  where each stripe begins, in cells from the first; each is `width` cells wide
    """
    cells = moves + starts[-1] + width
    before = np.zeros(cells + 1)  # area before each place
    height = np.zeros(cells + 1)  # of the part at each place
    step = np.zeros(cells + 2)  # what an edge adds to all places behind it
    corner = np.zeros(cells + 1, dtype=np.bool_)  # whether the cell behind a place holds a corner
    for at in range(len(edges)):
        x0, y0, x1, y1 = edges[at]
        place = int(math.floor((x0 - start) / cell))
        for near in (place - 1, place, place + 1):
            if 0 <= near <= cells and start + (near - 1e-6) * cell <= x0 <= start + (near + 1 + 1e-6) * cell:
                corner[near] = True
        if x0 == x1:
            continue
        sign = -1.0
        if x0 > x1:
            x0, y0, x1, y1, sign = x1, y1, x0, y0, 1.0
        slope = (y1 - y0) / (x1 - x0)
        place = min(max(int(math.ceil((x0 - start) / cell)), 0), cells + 1)
        while place <= cells and start + place * cell < x1:
            length = start + place * cell - x0
            before[place] += sign * length * (y0 + slope * length / 2)
            height[place] += sign * (y0 + slope * length)
            place += 1
        step[place] += sign * (x1 - x0) * (y0 + y1) / 2
    total = 0.0
    for place in range(cells + 1):
        total += step[place]
        before[place] += total
    least = math.inf
    for place in range(moves + 1):
        here = after = onward = back = grows = falls = 0.0
        for stripe in range(len(starts)):
            low = place + starts[stripe]
            high = low + width
            here += before[high] - before[low]
            if place == moves:
                continue
            gained, lost = before[high + 1] - before[high], before[low + 1] - before[low]
            after += before[high + 1] - before[low + 1]
            if corner[low]:
                onward -= lost
            else:
                grows -= cell * max(height[low], height[low + 1])
                falls += cell * min(height[low], height[low + 1])
            if corner[high]:
                back -= gained
            else:
                grows += cell * min(height[high], height[high + 1])
                falls -= cell * max(height[high], height[high + 1])
        least = min(least, here)
        if place < moves:
            least = min(least, max(here + onward + min(0.0, grows), after + back + min(0.0, falls)))
    return least

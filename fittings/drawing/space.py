"""The fitting shaded, from the front, the right and above: facets in greys, the farthest first.

The outside is light, the inside that one sees through an open end is dark, a picked segment is darker than the others:
it reads in black and white, and on a dark screen the body stays as light as sheet metal is.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from fittings.drawing.facts import Development, fitting_text
from fittings.drawing.measures import faces_of
from fittings.drawing.scene import ADVANCE, ASCENT, Facet, Item, Path, Scene, Text
from fittings.drawing.solid import Solid, Strip, is_plane, solid_of

AROUND, ABOVE = math.radians(36), math.radians(27)  # of the eye, from the front towards the right, and up
LIGHT = np.array([-0.55, 0.65, 0.8]) / np.linalg.norm([-0.55, 0.65, 0.8])  # to the right, up, to the eye
OUTSIDE, INSIDE = (0.62, 0.97), (0.36, 0.52)  # greys from unlit to lit
PICKED_OUTSIDE, PICKED_INSIDE = (0.3, 0.5), (0.14, 0.22)
LEVELS = 10  # of grey in each range
_WIDEST, _WIDEST_AT_CURVES = (
    4,
    2,
)  # quadrilaterals of a cell round the duct: it is ordered as if it were plane
_MANY = 12  # segments; of more, each is so small on the paper that fewer rulings show it
_TIE = 0.02  # of the drawing's size: pieces that are no farther apart meet there
_OVERLAP = 1.5  # paper units by which neighbours run into each other: no ground shines through
_CREASE = math.cos(math.radians(12))
_BEND = math.cos(math.radians(1))  # between a flat of a braked piece and its neighbour
_WIDE = 3  # a flat is so much wider than the middle quadrilateral of its strip


@lru_cache(maxsize=1)
def eye() -> np.ndarray:
    """Rows: the directions of the paper's right, its up, and towards the eye, in the fitting's frame."""
    towards = (math.sin(AROUND) * math.cos(ABOVE), -math.cos(AROUND) * math.cos(ABOVE), math.sin(ABOVE))
    right = (math.cos(AROUND), math.sin(AROUND), 0.0)
    return np.array([right, np.cross(towards, right), towards])


@dataclass(frozen=True, eq=False)
class Cell:
    """A part of a strip of one shade, from one ruling to another.

    rows   of the whole strip: the ends of its rulings on the paper, then towards the eye, shape (n, 3)
    lines  drawn with it: (role, rows, first, last)
    """

    low: np.ndarray
    high: np.ndarray
    first: int
    last: int
    strip: int
    shade: float
    is_outside: bool
    is_round: bool
    lines: tuple[tuple[str, np.ndarray], ...]

    @property
    def outline(self) -> np.ndarray:
        span = slice(self.first, self.last + 1)
        return np.concatenate([self.low[span, :2], self.high[span, :2][::-1]])


def space_scene(
    development: Development,
    *,
    width: float = 480,
    height: float = 400,
    text_size: float = 15,
    highlight: int | None = None,
) -> Scene:
    """The fitting shaded, laid out for width × height paper units, its free ends named by their letters.

    highlight   position of the segment that is darker than the others, from 1, or None
    raises      KeyError where the development has no strips in space
    """
    solid = solid_of(development)
    if len(solid.positions) > _MANY:
        solid = solid.coarser(2 if len(solid.positions) <= 2 * _MANY else 4)
    points = np.concatenate([row for strip in solid.strips for row in (strip.a, strip.b)]) @ eye().T
    low, high = points.min(axis=0)[:2], points.max(axis=0)[:2]
    room = 1.7 * text_size
    spread = np.maximum(high - low, 1e-6)
    scale = float(min((width - 2 * room) / spread[0], (height - 2 * room) / spread[1]))
    shift = np.array([width / 2, height / 2, 0.0])
    shift[:2] -= (low + high) / 2 * scale
    paper = _Paper(eye() * scale, shift)
    cells = _ordered(_cells(solid, paper, highlight))
    items: list[Item] = []
    for cell in cells:
        items.append(Facet(_drawn_out(cell), cell.shade))
        items += [Path(_points(line), role) for role, line in cell.lines]
    items += _letters(development, solid, paper, cells, text_size)
    title = fitting_text(development)
    if highlight is not None:
        title = f"{title}; segment {highlight} of {len(development['segments'])}"
    return Scene(width, height, tuple(items), title)


@dataclass(frozen=True, eq=False)
class _Paper:
    """From the fitting's frame to the paper: x, y, and the nearness to the eye in the same units."""

    turn: np.ndarray
    shift: np.ndarray

    def __call__(self, points: np.ndarray) -> np.ndarray:
        return points @ self.turn.T + self.shift


def _points(array: np.ndarray) -> tuple[tuple[float, float], ...]:
    return tuple(map(tuple, array[:, :2].tolist()))


def _cells(solid: Solid, paper: _Paper, highlight: int | None) -> list[Cell]:
    """All cells that can be seen: those turned away only behind an open end."""
    joints = {(id(edge.points)): edge.is_joint for edge in solid.edges}
    is_curved = any(edge.is_joint and not is_plane(edge.points) for edge in solid.edges)
    most = _WIDEST_AT_CURVES if is_curved else _WIDEST
    found: list[Cell] = []
    for number, strip in enumerate(solid.strips):
        normals = _outward(strip, solid) @ eye().T
        facing = normals[:, 2] > 0
        is_empty = np.abs(normals).max(axis=1) < 0.5
        light = np.clip(np.where(facing, 1.0, -1.0) * (normals @ LIGHT), 0.0, 1.0)
        level = np.rint(light * LEVELS).astype(int)
        low, high = paper(strip.a), paper(strip.b)
        is_round = _is_round(strip)
        form = solid.forms.get(strip.position)
        is_flat = form == "flat"
        rims = []
        for row, points in ((strip.a, low), (strip.b, high)):
            is_joint = joints.get(id(row))
            if is_joint is not None or is_flat:  # where a disc turns into its rim is an edge like any other
                rims.append(("meet" if is_joint and not is_flat else "contour", points))
        creases = _creases(strip, form == "brake", normals, facing, is_empty)
        is_picked = strip.position == highlight
        widest = 1 if form == "brake" else most
        for first, last in _spans(np.where(is_empty, -1, level + 100 * facing).tolist(), widest):
            is_outside = bool(facing[first])
            lines = [(role, points[first : last + 1]) for role, points in rims]
            for at in (first, last):
                role = creases.get((at, is_outside))
                if role:
                    lines.append((role, np.stack([low[at], high[at]])))
            shade = _shade(is_outside, int(level[first]), is_picked)
            found.append(Cell(low, high, first, last, number, shade, is_outside, is_round, tuple(lines)))
    return _seen(found, _openings(solid, paper))


def _is_round(strip: Strip) -> bool:
    """Whether its last ruling is its first."""
    ends = np.concatenate([strip.a[0] - strip.a[-1], strip.b[0] - strip.b[-1]])
    return bool(np.abs(ends).max() < 3e-3)


def _creases(strip: Strip, is_braked: bool, normals, facing, is_empty) -> dict[tuple[int, bool], str]:
    """The rulings that are drawn, by whether it is with the cell that faces the eye: contours, and sharp bends."""
    count = len(facing)
    before = np.roll(normals, 1, axis=0)
    turns = facing != np.roll(facing, 1)
    turn = np.einsum("ij,ij->i", normals, before)
    is_sharp = turn < _CREASE
    if is_braked:
        wide = np.maximum(*(np.linalg.norm(np.diff(row, axis=0), axis=1) for row in (strip.a, strip.b)))
        is_flat = wide > _WIDE * np.median(wide)
        is_sharp |= (turn < _BEND) & (is_flat | np.roll(is_flat, 1))
    found: dict[tuple[int, bool], str] = {}
    for at in np.flatnonzero((turns | is_sharp) & ~is_empty & ~np.roll(is_empty, 1)).tolist():
        if at or _is_round(strip):
            for end in (at, count) if at == 0 else (at,):
                found[end, True if turns[at] else bool(facing[at])] = "contour" if turns[at] else "meet"
    return found


def _seen(cells: list[Cell], openings: list) -> list[Cell]:
    inner = np.array([not cell.is_outside for cell in cells])
    keep = ~inner
    if inner.any() and openings:
        outlines = _outlines([cell for cell in cells if not cell.is_outside])
        keep[inner] = shapely.intersects(np.array(openings)[:, None], outlines).any(axis=0)
    return [cell for cell, is_kept in zip(cells, keep, strict=True) if is_kept]


def _ordered(cells: list[Cell]) -> list[Cell]:
    """The farthest first: of two cells that overlap on the paper, the one that is nearer there comes later."""
    outlines = _outlines(cells, shrunk=0.3)  # what only touches does not overlap
    side = np.array(
        [2 * cell.strip + cell.is_outside for cell in cells]
    )  # one side of a strip never covers itself
    first, second = shapely.STRtree(outlines).query(outlines, predicate="intersects")
    use = (first < second) & (side[first] != side[second])
    first, second = first[use], second[use]
    shared = shapely.intersection(outlines[first], outlines[second])
    use = shapely.area(shared) > 1e-6
    first, second = first[use], second[use]
    spots, pair = shapely.get_coordinates(shared[use], return_index=True)
    middles, normals, spans = _planes(cells)

    def depth(which: np.ndarray) -> np.ndarray:
        away = spots - middles[which, :2]
        found = middles[which, 2] - (away * normals[which, :2]).sum(axis=1) / normals[which, 2]
        return np.clip(found, spans[which, 0], spans[which, 1])

    # Two pieces meet at their joint: which is nearer shows where they are farthest apart.
    apart = depth(first[pair]) - depth(second[pair])
    most, least = np.full(len(first), -np.inf), np.full(len(first), np.inf)
    np.maximum.at(most, pair, apart)
    np.minimum.at(least, pair, apart)
    is_nearer = most > -least
    is_close = np.maximum(most, -least) < _TIE * float(np.ptp(middles[:, :2], axis=0).max())
    is_nearer &= ~is_close  # a branch is drawn over its run: later segments over earlier ones
    behind, front = np.where(is_nearer, second, first), np.where(is_nearer, first, second)
    waits = np.bincount(front, minlength=len(cells)).tolist()
    covers: dict[int, list[int]] = {}
    for far, near in zip(behind.tolist(), front.tolist(), strict=True):
        covers.setdefault(far, []).append(near)
    return [cells[at] for at in _topological(waits, covers, middles[:, 2].tolist())]


def _planes(cells: list[Cell]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of each cell its middle, the normal of the plane through its corners, and its least and greatest depth."""
    corners = np.array([(c.low[c.first], c.low[c.last], c.high[c.last], c.high[c.first]) for c in cells])
    normals = np.cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1])
    normals[:, 2] = np.where(np.abs(normals[:, 2]) < 1e-9, 1e-9, normals[:, 2])
    depths = corners[:, :, 2]
    return corners.mean(axis=1), normals, np.column_stack([depths.min(axis=1), depths.max(axis=1)])


def _topological(waits: list[int], covers: dict[int, list[int]], depths: list[float]) -> list[int]:
    """Indices so that each comes before those that it is covered by; a ring of them is cut at its farthest."""
    ready = [(depths[at], at) for at, count in enumerate(waits) if not count]
    heapq.heapify(ready)
    left = set(range(len(waits)))
    ordered: list[int] = []
    while left:
        if ready:
            at = heapq.heappop(ready)[1]
            if at not in left:
                continue
        else:
            at = min(left, key=depths.__getitem__)
        left.remove(at)
        ordered.append(at)
        for near in covers.get(at, ()):
            waits[near] -= 1
            if not waits[near] and near in left:
                heapq.heappush(ready, (depths[near], near))
    return ordered


def _outlines(cells: list[Cell], *, shrunk: float = 0.0) -> np.ndarray:
    """Their polygons, each point moved inwards by `shrunk` paper units."""
    parts = [cell.outline for cell in cells]
    which = np.repeat(np.arange(len(parts)), [len(part) for part in parts])
    points = np.concatenate(parts)
    if shrunk:
        middles = np.array([part.mean(axis=0) for part in parts])
        inwards = middles[which] - points
        length = np.maximum(np.hypot(*inwards.T), 1e-9)
        points = points + inwards * np.minimum(shrunk / length, 0.1)[:, None]
    outlines = shapely.polygons(shapely.linearrings(points, indices=which))
    broken = ~shapely.is_valid(outlines)
    outlines[broken] = shapely.convex_hull(outlines[broken])
    return outlines


def _outward(strip: Strip, solid: Solid) -> np.ndarray:
    """Unit normals of the quadrilaterals, out of the duct: rulings run counter-clockwise round it, seen from end B.

    A disc has no such side: its outside is the one away from the middle of the fitting.
    """
    across = np.cross(strip.a[1:] - strip.b[:-1], strip.b[1:] - strip.a[:-1])
    length = np.linalg.norm(across, axis=1)
    normals = across / np.where(length > 1e-12, length, np.inf)[:, None]
    if solid.forms.get(strip.position) == "flat":
        away = (strip.a[1:] + strip.b[:-1]) / 2 - solid.middle
        normals *= np.where(np.einsum("ij,ij->i", away, normals) < 0, -1.0, 1.0)[:, None]
    return normals


def _spans(keys: list[int], widest: int) -> Iterator[tuple[int, int]]:
    """Runs of quadrilaterals of one key, at most a few long: first and last ruling; key −1 is left out."""
    start = 0
    for at in range(1, len(keys) + 1):
        if at == len(keys) or keys[at] != keys[start] or at - start >= widest:
            if keys[start] >= 0:
                yield start, at
            start = at


def _shade(is_outside: bool, level: int, is_picked: bool) -> float:
    if is_picked:
        dark, bright = PICKED_OUTSIDE if is_outside else PICKED_INSIDE
    else:
        dark, bright = OUTSIDE if is_outside else INSIDE
    return round(dark + (bright - dark) * level / LEVELS, 3)


def _openings(solid: Solid, paper: _Paper) -> list:
    """The open ends on the paper, but those that face away: what lies behind them can be seen."""
    found = []
    for edge in solid.edges:
        if edge.is_joint or solid.forms.get(edge.position) == "flat":
            continue
        points = paper(edge.points)
        body = np.concatenate([row for strip in solid.of(edge.position) for row in (strip.a, strip.b)])
        out = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][2]
        out = out if out @ (points.mean(axis=0) - paper(body).mean(axis=0)) > 0 else -out
        if out[2] > 0:
            polygon = shapely.Polygon(points[:, :2])
            found.append(polygon if polygon.is_valid else polygon.convex_hull)
    return found


def _drawn_out(cell: Cell) -> tuple[tuple[float, float], ...]:
    """The outline, a little over its neighbours in the strip, or the ground would shine through between them."""
    span = slice(cell.first, cell.last + 1)
    low, high = cell.low[span, :2].tolist(), cell.high[span, :2].tolist()
    count = len(cell.low) - 1
    for at, beyond, place in ((cell.first, cell.first - 1, 0), (cell.last, cell.last + 1, len(low))):
        if not 0 <= beyond <= count:
            if not cell.is_round:
                continue
            beyond %= count
        steps = [(row[beyond, 0] - row[at, 0], row[beyond, 1] - row[at, 1]) for row in (cell.low, cell.high)]
        length = max(math.hypot(*step) for step in steps)
        part = min(1.0, _OVERLAP / length) if length > 0 else 0.0
        for points, row, step in ((low, cell.low, steps[0]), (high, cell.high, steps[1])):
            points.insert(place, [row[at, 0] + part * step[0], row[at, 1] + part * step[1]])
    return tuple((float(x), float(y)) for x, y in (*low, *reversed(high)))


def _letters(development, solid: Solid, paper: _Paper, cells: list[Cell], size: float) -> Iterator[Text]:
    """The letters of the free ends, as near to them as they stand clear of the body."""
    body = _outlines(cells)
    for face in faces_of(development, solid).values():
        middle = paper(np.array([face.centre]))[0, :2]
        way = (eye() @ np.array(face.normal))[:2]
        if np.hypot(*way) < 0.2:
            way = np.array([0.0, 1.0])
        way = way / np.hypot(*way)
        half = np.array([ADVANCE * size / 2, ASCENT * size / 2]) + 0.3 * size
        places = middle + way * size * (0.9 + 0.25 * np.arange(80))[:, None]
        boxes = shapely.box(*(places - half).T, *(places + half).T)
        taken = np.zeros(len(boxes), dtype=bool)
        taken[shapely.STRtree(boxes).query(body, predicate="intersects")[1]] = True
        x, y = places[int(np.argmin(taken))].tolist()
        yield Text(x, y - ASCENT * size / 2, face.letter, size, role="label")


__all__ = ["eye", "space_scene"]

"""The formed fitting as seen from its side: silhouettes, joints, what lies behind. From the strips in space alone.

A development gives each segment as strips of rulings in the fitting's frame (Z along the axis from end A, X towards the
throat). The side is the X-Z plane with Z up, seen from −Y: what has the smaller y is in front. Points are [in], on the
mean surface, as the patterns are; a drawing of the inside would be half a thickness smaller all round.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from fittings.drawing.facts import Development

SIDE = [0, 2]  # the axes seen
DEPTH = 1
_MOST = 0.9  # of the points of a row that lies on another
_EACH = 3  # of so many points of a row one is looked at for that
_BEND = math.cos(math.radians(1))
_FEW_BENDS = 8
_SAMPLES = 5  # of a ruling, to see how much of it is hidden


@dataclass(frozen=True, eq=False)
class Strip:
    """Rulings of one segment: row A and row B, shape (n, 3) [in]."""

    position: int
    a: np.ndarray
    b: np.ndarray

    @property
    def triangles(self) -> np.ndarray:
        """Two of each quadrilateral, shape (2 (n − 1), 3, 3)."""
        a, b = self.a, self.b
        low = np.stack([a[:-1], a[1:], b[1:]], axis=1)
        high = np.stack([a[:-1], b[1:], b[:-1]], axis=1)
        return np.concatenate([low, high])


@dataclass(frozen=True, eq=False)
class Edge:
    """A row of a strip: an end of the fitting, a joint with other segments, or a cut that meets nothing drawn."""

    position: int
    row: str  # "a" or "b"
    points: np.ndarray  # shape (n, 3)
    is_joint: bool


@dataclass(frozen=True, eq=False)
class Solid:
    """All segments of a fitting in space."""

    strips: tuple[Strip, ...]
    forms: dict[int, str]

    @cached_property
    def size(self) -> float:
        """The longest side of the box round it [in]."""
        points = np.concatenate([row for strip in self.strips for row in (strip.a, strip.b)])
        return float(np.ptp(points, axis=0).max())

    @cached_property
    def middle(self) -> np.ndarray:
        """Of the box round it."""
        points = np.concatenate([row for strip in self.strips for row in (strip.a, strip.b)])
        return (points.min(axis=0) + points.max(axis=0)) / 2

    @property
    def tolerance(self) -> float:
        """How far two edges that are the same may be drawn apart [in]."""
        return 0.004 * self.size

    @property
    def positions(self) -> tuple[int, ...]:
        return tuple(dict.fromkeys(strip.position for strip in self.strips))

    def of(self, position: int) -> list[Strip]:
        return [strip for strip in self.strips if strip.position == position]

    def coarser(self, step: int) -> Solid:
        """The same with one in `step` rulings; 2 and 4 keep the quarters of strips of 48."""
        strips = []
        for strip in self.strips:
            kept = np.unique(np.append(np.arange(0, len(strip.a), step), len(strip.a) - 1))
            strips.append(Strip(strip.position, strip.a[kept], strip.b[kept]))
        return Solid(tuple(strips), self.forms)

    @cached_property
    def silhouettes(self) -> dict[int, BaseGeometry]:
        """By position, the region that a segment covers; a disc seen from its edge is a line."""
        return {position: self._silhouette(position) for position in self.positions}

    def _silhouette(self, position: int) -> BaseGeometry:
        strips = self.of(position)
        points = np.concatenate([row for strip in strips for row in (strip.a, strip.b)])[:, SIDE]
        hull = shapely.convex_hull(shapely.multipoints(points))
        is_convex = len(strips) == 1 and all(is_plane(row) for row in (strips[0].a, strips[0].b))
        if is_convex or hull.geom_type != "Polygon":
            return hull
        triangles = shapely.polygons(np.concatenate([strip.triangles for strip in strips])[:, :, SIDE])
        whole = shapely.union_all(triangles[shapely.area(triangles) > 1e-9])
        return shapely.simplify(shapely.make_valid(whole), self.tolerance / 8)

    @cached_property
    def outline(self) -> BaseGeometry:
        """Everything together."""
        regions = [region for region in self.silhouettes.values() if region.geom_type != "LineString"]
        whole = shapely.union_all(regions)
        gap = self.tolerance / 4  # the edges of two neighbors are sampled apart
        return whole.buffer(gap, join_style="mitre").buffer(-gap, join_style="mitre")

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """Every row that is an edge of its segment; a joint is there once for each of its segments."""
        found: list[Edge] = []
        rows = [(strip, name, getattr(strip, name)) for strip in self.strips for name in "ab"]
        low = np.array([row.min(axis=0) for _, _, row in rows])
        high = np.array([row.max(axis=0) for _, _, row in rows])
        reach = self.tolerance
        for at, (strip, name, row) in enumerate(rows):
            if (high[at] - low[at]).max() < 1e-6:
                continue  # an apex
            near = {own: np.full(len(row[::_EACH]), np.inf) for own in (True, False)}
            touching = ((low <= high[at] + reach) & (high >= low[at] - reach)).all(axis=1)
            for other in np.flatnonzero(touching).tolist():
                own = rows[other][0].position == strip.position
                if rows[other][0] is not strip and near[own].max() > reach:
                    near[own] = np.minimum(near[own], _distance(row[::_EACH], rows[other][2]))
            if (near[True] < reach).mean() <= _MOST:
                is_joint = bool((near[False] < reach).mean() > _MOST)
                is_joint |= len(self.positions) > 1 and not is_plane(row)  # cut to the surface of another
                found.append(Edge(strip.position, name, row, is_joint))
        return tuple(found)

    def shown(self, points: np.ndarray) -> np.ndarray:
        """Which of some points, shape (n, 3), nothing lies in front of; points on a surface are not behind it."""
        hidden = np.zeros(len(points), dtype=bool)
        for strip in self.strips:
            corners = strip.triangles
            x, z = corners[:, :, 0], corners[:, :, 2]
            area = (x[:, 1] - x[:, 0]) * (z[:, 2] - z[:, 0]) - (x[:, 2] - x[:, 0]) * (z[:, 1] - z[:, 0])
            use = np.abs(area) > 1e-9
            corners, x, z, area = corners[use], x[use], z[use], area[use]
            px, pz = points[:, 0][:, None], points[:, 2][:, None]
            v = ((px - x[:, 0]) * (z[:, 2] - z[:, 0]) - (x[:, 2] - x[:, 0]) * (pz - z[:, 0])) / area
            w = ((x[:, 1] - x[:, 0]) * (pz - z[:, 0]) - (px - x[:, 0]) * (z[:, 1] - z[:, 0])) / area
            inside = (v > 0) & (w > 0) & (v + w < 1)
            depth = corners[:, 0, DEPTH]
            depth = depth + v * (corners[:, 1, DEPTH] - depth) + w * (corners[:, 2, DEPTH] - depth)
            hidden |= (inside & (depth < points[:, DEPTH][:, None] - 2 * self.tolerance)).any(axis=1)
        return ~hidden

    def lines(self) -> Iterator[tuple[str, np.ndarray]]:
        """Joints, bends and edges inside the outline: (role, points (n, 2)), what is hidden last."""
        rim = self.outline.boundary.buffer(self.tolerance)
        drawn: list[BaseGeometry] = [rim]
        behind: list[np.ndarray] = []
        front: list[tuple[str, np.ndarray, BaseGeometry]] = []
        for role, points in self._inner():
            for is_shown, run in self._runs(points):
                if is_shown:
                    front.append((role, run, shapely.LineString(run)))
                else:
                    behind.append(run)
        for role, run, line in sorted(front, key=lambda found: -found[2].length):
            if not any(region.contains(line) for region in drawn):
                drawn.append(line.buffer(2 * self.tolerance))
                yield role, run
        covered = shapely.union_all(drawn)
        for run in behind:
            rest = shapely.LineString(run).difference(covered)
            for part in shapely.get_parts(rest):
                if part.length > 4 * self.tolerance:
                    yield "hidden", shapely.get_coordinates(part)

    def _inner(self) -> Iterator[tuple[str, np.ndarray]]:
        for edge in self.edges:
            yield ("joint" if edge.is_joint else "outline"), edge.points
        for strip in self.strips:
            crease = _creases(strip) if self.forms.get(strip.position) == "brake" else ()
            for at in crease:
                yield "fold", _ruling(strip, at)
            if len(self.positions) > 1 or len(self.strips) > 1:
                for at in _turning_points(strip):
                    yield "outline", _ruling(strip, at)

    def _runs(self, points: np.ndarray) -> Iterator[tuple[bool, np.ndarray]]:
        """A line in parts that are shown or hidden, projected; straight ones seen from their edge are shown whole."""
        flat = points[:, SIDE]
        ends = np.array([flat[np.argmin(flat @ axis)] for axis in _ways(flat)])
        straight = len(points) > _SAMPLES and _off(flat, ends) < self.tolerance / 4
        if straight:
            yield True, ends
            return
        shown = self.shown(points)
        start = 0
        for at in range(1, len(points) + 1):
            if at == len(points) or shown[at] != shown[start]:
                behind = int(not shown[start])  # hidden parts reach to the shown ones beside them
                run = flat[max(start - behind, 0) : at + behind]
                if len(run) > 1:
                    yield bool(shown[start]), run
                start = at


def solid_of(development: Development) -> Solid:
    """The fitting in space; KeyError where its development has no strips (frozen before there were any)."""
    strips, forms = [], {}
    for segment in development["segments"]:
        forms[int(segment["position"])] = str(segment.get("form", "cylinder"))
        for a, b in segment["space"]:
            strips.append(Strip(int(segment["position"]), np.array(a, float), np.array(b, float)))
    if not strips:
        raise KeyError("space")
    return Solid(tuple(strips), forms)


def is_plane(points: np.ndarray) -> bool:
    """Whether points in space, shape (n, 3), lie in a plane."""
    centred = points - points.mean(axis=0)
    spread = np.linalg.svd(centred, compute_uv=False)
    return bool(spread[-1] < 2e-3 * max(spread[0], 1e-9))


def _distance(points: np.ndarray, line: np.ndarray) -> np.ndarray:
    """From each point to a polyline, in space [in]."""
    each = line[:: math.ceil(len(line) / len(points))] if len(line) > len(points) else line
    if len(each) == len(points) and np.abs(each - points).max() < 1e-3:
        return np.zeros(len(points))  # sampled alike
    start, way = line[:-1], np.diff(line, axis=0)
    apart = points[:, None] - start
    place = np.einsum("ijk,jk->ij", apart, way) / np.maximum(np.einsum("jk,jk->j", way, way), 1e-18)
    off = apart - np.clip(place, 0, 1)[..., None] * way
    return np.sqrt(np.einsum("ijk,ijk->ij", off, off).min(axis=1))


def _normals(strip: Strip) -> np.ndarray:
    """Of each quadrilateral, by its diagonals; no length."""
    across = np.cross(strip.b[1:] - strip.a[:-1], strip.b[:-1] - strip.a[1:])
    return across / np.maximum(np.linalg.norm(across, axis=1), 1e-12)[:, None]


def _creases(strip: Strip) -> list[int]:
    """Rulings at which a braked piece turns from a flat into a corner; all of them where they are few."""
    normals = _normals(strip)
    turn = np.einsum("ij,ij->i", normals[:-1], normals[1:])
    creases = np.flatnonzero(turn < _BEND) + 1
    if len(creases) > _FEW_BENDS:
        wide = np.maximum(*(np.linalg.norm(np.diff(row, axis=0), axis=1) for row in (strip.a, strip.b)))
        is_flat = wide > 3 * np.median(wide)
        creases = creases[is_flat[creases - 1] | is_flat[creases]]
    return creases.tolist()


def _turning_points(strip: Strip) -> list[int]:
    """Rulings where the surface turns from the face seen to the one that is not."""
    facing = _normals(strip)[:, DEPTH]
    return [int(at) + 1 for at in np.flatnonzero(facing[:-1] * facing[1:] < 0)]


def _ruling(strip: Strip, at: int) -> np.ndarray:
    steps = np.linspace(0, 1, _SAMPLES)[:, None]
    return strip.a[at] + steps * (strip.b[at] - strip.a[at])


def _ways(flat: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The direction in which points spread most, and its opposite."""
    _, _, axes = np.linalg.svd(flat - flat.mean(axis=0), full_matrices=False)
    return axes[0], -axes[0]


def _off(flat: np.ndarray, ends: np.ndarray) -> float:
    way = ends[1] - ends[0]
    length = max(float(np.hypot(*way)), 1e-12)
    apart = flat - ends[0]
    return float(np.abs(apart[:, 0] * way[1] - apart[:, 1] * way[0]).max() / length)

"""Where a line of text fits wholly inside a piece: as large as asked, upright if it can be, else turned and smaller."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

Outline = Sequence[Sequence[float]]
WIDEST = (
    1.0  # advance of the widest letters of a drawing table's own fonts, in heights of a capital; from memory
)
DESCENT = 0.3  # of commas and of letters such as g, in heights
_SHRINK, _STEPS, _CLEAR = 0.86, 40, 0.15  # _CLEAR: room kept round the box, in heights
_GRID, _BEST = 16, 12
_TRIES = 3  # steps of shrinking to come off the marks, and to stand upright


@dataclass(frozen=True)
class TextPlace:
    """Lower left end of the base line, height of capitals [in], direction of the line [rad], -π/2 to π/2."""

    x: float
    y: float
    height: float
    angle: float

    def box(self, letters: int) -> list[tuple[float, float]]:
        """The four corners of the box that the text takes, counter-clockwise [in]."""
        along = (math.cos(self.angle), math.sin(self.angle))
        wide, low, high = letters * WIDEST * self.height, -DESCENT * self.height, self.height
        return [
            (self.x + along[0] * u - along[1] * v, self.y + along[1] * u + along[0] * v)
            for u, v in ((0, low), (wide, low), (wide, high), (0, high))
        ]


def text_place(
    cut: Outline, holes: Sequence[Outline], letters: int, most: float, marks: Sequence[Outline] = ()
) -> TextPlace:
    """The place of a line of text inside an outline and outside its holes.

    cut      outline of the piece [in]
    holes    outlines cut out of it [in]
    letters  how many the text has
    most     height of capitals wanted [in]; smaller where the piece is small
    marks    lines that the text keeps off where it need not become much smaller for it [in]
    """
    piece = shapely.make_valid(shapely.Polygon(cut, [hole for hole in holes if len(hole) > 2]))
    if piece.geom_type != "Polygon":
        piece = max(shapely.get_parts(piece), key=lambda part: part.area)
    lines = shapely.MultiLineString([mark for mark in marks if len(mark) > 1])
    points, angles = _candidates(piece, lines)
    shapely.prepare(piece)
    shapely.prepare(lines)
    is_upright = np.abs(angles) < 1e-9
    height, best, rank, tries = (
        most,
        0,
        0,
        0,
    )  # rank: 0 nothing fits, 1 over marks, 2 clear of them, 3 upright too
    for step in range(_STEPS):
        now = most * _SHRINK**step
        boxes = _boxes(points, angles, letters, now)
        fits = shapely.contains_properly(piece, boxes)
        clear = fits & ~shapely.intersects(lines, boxes)
        for better, which in ((3, clear & is_upright), (2, clear), (1, fits & is_upright), (1, fits)):
            if better > rank and which.any():
                rank, best, height = better, int(np.argmax(which)), now
        tries += rank > 0
        if rank == 3 or tries > _TRIES:
            break
    middle, angle = points[best], float(angles[best])
    wide, up = letters * WIDEST * height / 2, height * (1 - DESCENT) / 2
    x = middle[0] - math.cos(angle) * wide + math.sin(angle) * up
    y = middle[1] - math.sin(angle) * wide - math.cos(angle) * up
    return TextPlace(float(x), float(y), height, angle)


def _candidates(piece, lines) -> tuple[np.ndarray, np.ndarray]:
    """Middles of boxes, shape (n, 2), and directions, shape (n,): the roomiest places first."""
    frame = shapely.minimum_rotated_rectangle(piece)
    corners = shapely.get_coordinates(frame)
    sides = corners[1:3] - corners[:2]
    long = sides[int(np.argmax(np.hypot(*sides.T)))]
    own = math.atan2(long[1], long[0])
    steps = (np.arange(_GRID) + 0.5) / _GRID
    u, v = np.meshgrid(steps, steps)
    if len(corners) < 4:
        corners = shapely.get_coordinates(shapely.box(*piece.bounds))
    grid = corners[0] + u.reshape(-1, 1) * (corners[1] - corners[0])
    grid = grid + v.reshape(-1, 1) * (corners[3] - corners[0])
    tolerance = 0.01 * max(math.sqrt(piece.area), 1e-6)
    roomiest = shapely.get_coordinates(shapely.maximum_inscribed_circle(piece, tolerance=tolerance))[:1]
    centre = np.array([shapely.get_coordinates(piece.centroid)[0]])
    points = np.vstack([roomiest, centre, grid])
    spots = shapely.points(points)
    spots = spots[shapely.contains_properly(piece, spots)]
    room = shapely.distance(piece.boundary, spots)
    between = np.minimum(room, shapely.distance(lines, spots)) if len(lines.geoms) else room
    order = [np.argsort(-room, kind="stable")[:_BEST], np.argsort(-between, kind="stable")[:_BEST]]
    spots = spots[np.concatenate(order)]
    points = shapely.get_coordinates(spots)
    nearest = shapely.get_coordinates(shapely.shortest_line(spots, piece.boundary)).reshape(-1, 2, 2)
    away = nearest[:, 1] - nearest[:, 0]
    beside = np.arctan2(away[:, 1], away[:, 0]) + np.pi / 2
    turns = np.arange(-5, 7) * math.pi / 12
    angles = np.column_stack([np.zeros(len(points)), np.full(len(points), own), beside])
    angles = np.hstack([angles, np.tile(turns, (len(points), 1))])
    angles = (angles + math.pi / 2 - 1e-9) % math.pi - math.pi / 2 + 1e-9
    angles[np.abs(angles) < 1e-9] = 0.0
    return np.repeat(points, angles.shape[1], axis=0), angles.ravel()


def _boxes(points: np.ndarray, angles: np.ndarray, letters: int, height: float) -> np.ndarray:
    half = (letters * WIDEST / 2 + _CLEAR) * height
    tall = ((1 + DESCENT) / 2 + _CLEAR) * height
    along = np.column_stack([np.cos(angles), np.sin(angles)])
    up = np.column_stack([-along[:, 1], along[:, 0]])
    corners = [points + su * half * along + sv * tall * up for su, sv in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return shapely.polygons(np.stack(corners, axis=1))


__all__ = ["DESCENT", "WIDEST", "TextPlace", "text_place"]

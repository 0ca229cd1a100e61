"""Developable surfaces between two edges: flat from space, and back into space again."""

from dataclasses import dataclass

import numpy as np

_FLAT = 1e-9  # of the other: a triangle with no area, at the tip of a cone


@dataclass(frozen=True, eq=False)
class Cylinder:
    """A rolled cylinder: mean radius [in], and the angle of x = 0 round the duct from the throat [rad]."""

    radius: float
    start_angle: float

    def to_space(self, points) -> np.ndarray:
        """Flat points, shape (n, 2) [in], on the cylinder, shape (n, 3) [in]: Z is y, X towards the throat."""
        points = np.asarray(points, dtype=float).reshape(-1, 2)
        angle = self.start_angle + points[:, 0] / self.radius
        return np.column_stack([self.radius * np.cos(angle), self.radius * np.sin(angle), points[:, 1]])


@dataclass(frozen=True, eq=False)
class Ruled:
    """A strip of straight rulings, flat and in space: flat_a, flat_b (n, 2) and space_a, space_b (n, 3) [in]."""

    flat_a: np.ndarray
    flat_b: np.ndarray
    space_a: np.ndarray
    space_b: np.ndarray

    def to_space(self, points) -> np.ndarray:
        """Flat points, shape (n, 2) [in], in space, shape (n, 3) [in]: between the two rulings beside them."""
        points = np.asarray(points, dtype=float).reshape(-1, 2)
        # how far a point lies outside each of the four sides of what lies between two rulings
        right = _left_of(points, self.flat_b, self.flat_a - self.flat_b)
        under, over = (
            _left_of(points, edge[:-1], np.diff(edge, axis=0)) for edge in (self.flat_a, self.flat_b)
        )
        sides = (right[:, :-1], -right[:, 1:], under, -over)
        off = sum(np.maximum(-side, 0) for side in sides)
        ruling = self.flat_b - self.flat_a
        size = _cross(np.diff(self.flat_a, axis=0), ruling[:-1]) - _cross(
            np.diff(self.flat_b, axis=0), -ruling[1:]
        )
        off[:, size <= 1e-15] = np.inf
        return self._between(np.argmin(off, axis=1), points)

    def _between(self, at, points):
        """Points, shape (n, 2), by the flat triangle that they lie in between ruling `at` and the next, as unrolled."""
        flat, space = (
            (low[at], low[at + 1], high[at], high[at + 1])
            for low, high in ((self.flat_a, self.flat_b), (self.space_a, self.space_b))
        )
        low, next_low, high, next_high = flat
        under = _cross(next_low - low, high - low)  # of the triangle on edge A, and of that on edge B
        over = _cross(high - next_high, next_low - next_high)
        is_under = _cross(high - next_low, points - next_low) >= 0
        is_under = (is_under | (over <= _FLAT * under)) & (under > _FLAT * over)

        def triangle(low, next_low, high, next_high):
            origin = np.where(is_under[:, None], low, next_high)
            ends = [np.where(is_under[:, None], *pair) for pair in ((next_low, high), (high, next_low))]
            return origin, ends[0] - origin, ends[1] - origin

        origin, first, second = triangle(*flat)
        whole = _cross(first, second)
        shares = [_cross(points - origin, second) / whole, _cross(first, points - origin) / whole]
        origin, first, second = triangle(*space)
        return origin + first * shares[0][:, None] + second * shares[1][:, None]


def _cross(first, second):
    return first[..., 0] * second[..., 1] - first[..., 1] * second[..., 0]


def _left_of(points, start, way):
    """How far points, shape (n, 2), lie to the left of lines, shape (m, 2); 0 for a line without length."""
    length = np.hypot(*way.T)
    return np.divide(1, length, out=0 * length, where=length > 1e-9) * _cross(way, points[:, None] - start)


def _lengths(vectors):
    return np.sqrt(np.einsum("ij,ij->i", vectors, vectors))


def _angles(first, second):
    """Angle between rows of vectors [rad]; 0 where one of them has no length."""
    cross = np.cross(first, second)
    return np.arctan2(_lengths(cross), np.einsum("ij,ij->i", first, second))


def unrolled(space_a, space_b) -> tuple[np.ndarray, np.ndarray]:
    """The flat edges of a developable strip, each quadrilateral between two rulings laid flat as two triangles.

    Edge A lies below, edge B above, and the strip runs to the right as its rulings are seen from outside; the middle
    ruling stands upright, the least x and the least y of the edges are 0.

    space_a, space_b  ends of the rulings on edge A and edge B, shape (n, 3) [in], n ≥ 2, dense: the lengths of curved
                      edges are those of their chords, short by the square of the step
    returns           flat_a, flat_b, shape (n, 2) [in]
    source            triangulation: F. S. Kidder, Triangulation Applied to Sheet Metal Pattern Cutting (1920); the
                      error is measured against closed formulas in tests/fittings/geometry/test_surfaces.py

    >>> square = np.array([[0, 0, 0], [3, 0, 0]], float)
    >>> flat_a, flat_b = unrolled(square, square + [0, 0, 4])
    >>> flat_a.round(9).tolist(), flat_b.round(9).tolist()
    ([[0.0, 0.0], [3.0, 0.0]], [[0.0, 4.0], [3.0, 4.0]])
    """
    space_a, space_b = np.asarray(space_a, float), np.asarray(space_b, float)
    ruling = space_b - space_a
    step = space_a[1:] - space_a[:-1]
    diagonal = space_b[:-1] - space_a[1:]  # from the next point of A back to this point of B
    at_a = _angles(ruling[:-1], step)
    turn = _angles(-ruling[:-1], -diagonal) - _angles(diagonal, ruling[1:])
    heading = np.pi / 2 + np.concatenate([[0.0], np.cumsum(turn)])
    heading += np.pi / 2 - heading[len(heading) // 2]
    way = heading[:-1] - at_a
    steps = _lengths(step)[:, None] * np.column_stack([np.cos(way), np.sin(way)])
    flat_a = np.vstack([[0.0, 0.0], np.cumsum(steps, axis=0)])
    flat_b = flat_a + _lengths(ruling)[:, None] * np.column_stack([np.cos(heading), np.sin(heading)])
    corner = np.minimum(flat_a.min(axis=0), flat_b.min(axis=0))
    return flat_a - corner, flat_b - corner

"""Developable surfaces between two edges: flat from space, and back into space again."""

from dataclasses import dataclass

import numpy as np


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
        along = self.flat_b - self.flat_a
        length = np.maximum(np.hypot(*along.T), 1e-12)
        apart = points[:, None, :] - self.flat_a[None]
        # distance to the right of each ruling, and the place along it in parts of its length
        right = (along[:, 1] * apart[..., 0] - along[:, 0] * apart[..., 1]) / length
        place = (along[:, 0] * apart[..., 0] + along[:, 1] * apart[..., 1]) / length**2
        span = right[:, :-1] - right[:, 1:]
        part = np.divide(right[:, :-1], span, out=np.zeros_like(span), where=span > 1e-12)
        between = place[:, :-1] * (1 - part) + place[:, 1:] * part
        off = np.maximum(-right[:, :-1], 0) + np.maximum(right[:, 1:], 0)
        off += length[:-1] * (np.maximum(-between, 0) + np.maximum(between - 1, 0))
        off[span <= 1e-12] = np.inf
        at = np.argmin(off, axis=1)
        rows = np.arange(len(points))
        share, height = np.clip(part[rows, at], 0, 1)[:, None], between[rows, at][:, None]
        low = self.space_a[at] * (1 - share) + self.space_a[at + 1] * share
        high = self.space_b[at] * (1 - share) + self.space_b[at + 1] * share
        return low + (high - low) * height


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

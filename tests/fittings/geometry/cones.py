"""A cone laid flat from first principles, by numpy alone, to compare patterns of conical segments with."""

import numpy as np

from tests.fittings.geometry.soundness import length_of, to_polyline


def finer(edge, count):
    """The same polyline with points at even steps along it besides its own."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(edge, axis=0), axis=1))])
    at = np.union1d(along, np.linspace(0, along[-1], count))
    return np.column_stack([np.interp(at, along, column) for column in edge.T])


def laid_flat(low, high):
    """Both edges of a strip of rulings laid flat, from dense points in space, shape (n, 3).

    About the apex, where the rulings meet, in polar coordinates: the distance, and the sum of the angles between
    neighbors; where they are parallel, the way square to them, and the way along them.
    """
    ruling = high - low
    length = np.linalg.norm(ruling, axis=1)
    way = ruling / length[:, None]
    apart = way[:-1] + 0.0
    turn = np.arctan2(
        np.linalg.norm(np.cross(way[:-1], way[1:]), axis=1), np.einsum("ij,ij->i", way[:-1], way[1:])
    )
    if turn.sum() < 1e-5:
        steps = np.diff(low, axis=0)
        along = np.einsum("ij,ij->i", steps, apart)
        across = np.sqrt(np.maximum(np.einsum("ij,ij->i", steps, steps) - along**2, 0.0))
        x, y = (np.concatenate([[0.0], np.cumsum(one)]) for one in (across, along))
        return np.column_stack([x, y]), np.column_stack([x, y + length])
    apex = _nearest_to_all(low, way)
    theta = np.concatenate([[0.0], np.cumsum(turn)])
    flat = []
    for edge in (low, high):
        distance = np.linalg.norm(edge - apex, axis=1)
        flat.append(distance[:, None] * np.column_stack([np.cos(theta), np.sin(theta)]))
    return tuple(flat)


def _nearest_to_all(points, ways):
    """The point nearest to all lines, by least squares."""
    square = np.eye(3)[None] - ways[:, :, None] * ways[:, None, :]
    return np.linalg.solve(square.sum(axis=0), np.einsum("nij,nj->i", square, points))


def spread(points):
    """Distances between all pairs of points."""
    return np.linalg.norm(points[:, None] - points[None], axis=2)


def assert_laid_flat(segment, low, high, within):
    """The pattern has the shape of the true rulings laid flat: same edges, and no point farther off than allowed."""
    flat_a, flat_b = laid_flat(low, high)
    for edge, true in ((segment.edge_a, flat_a), (segment.edge_b, flat_b)):
        assert abs(length_of(edge) - length_of(true)) <= 1e-3 * length_of(true)
    # one rigid motion takes the true net to the pattern: fit it on the four ends of the seams and check everything
    ends = np.array([flat_a[0], flat_b[0], flat_a[-1], flat_b[-1]])
    own = np.array([segment.edge_a[0], segment.edge_b[0], segment.edge_a[-1], segment.edge_b[-1]])
    middle, own_middle = ends.mean(axis=0), own.mean(axis=0)
    u, _, v = np.linalg.svd((ends - middle).T @ (own - own_middle))
    turn = u @ v  # a reflection is allowed: the true net may have been laid with the other face up
    for edge, true in ((segment.edge_a, flat_a), (segment.edge_b, flat_b)):
        moved = (true - middle) @ turn + own_middle
        assert to_polyline(moved[:: max(1, len(moved) // 400)], edge).max() <= within
        assert to_polyline(edge, moved).max() <= within

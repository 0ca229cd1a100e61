"""Closed outlines: area, size, and whether they are sound."""

import numpy as np
import shapely


def signed_area(outline: np.ndarray) -> float:
    """Area enclosed by an outline, positive when it runs counter-clockwise.

    A = ½ Σ (xᵢ yᵢ₊₁ − xᵢ₊₁ yᵢ)

    outline  closed polygon, first point not repeated, shape (n, 2) [in]
    returns  area [in²]
    source   Gauss's area formula; checked against shapely in the tests

    >>> signed_area(np.array([[0, 0], [4, 0], [4, 3], [0, 3]], float))
    12.0
    """
    x, y = outline[:, 0], outline[:, 1]
    return 0.5 * float(np.dot(x, np.roll(y, -1)) - np.dot(np.roll(x, -1), y))


def extent(outline: np.ndarray) -> tuple[float, float]:
    """Width and height of the box round an outline.

    outline  shape (n, 2) [in]
    returns  (width along x, height along y) [in]
    source   definition

    >>> extent(np.array([[0, 1], [4, 0], [4, 3]], float))
    (4.0, 3.0)
    """
    width, height = np.ptp(outline, axis=0)
    return float(width), float(height)


def is_sound(outline: np.ndarray) -> bool:
    """Whether an outline is a simple polygon that runs counter-clockwise.

    outline  shape (n, 2) [in]
    returns  True if it neither crosses nor touches itself and its area is positive
    source   OGC Simple Features validity, as shapely (GEOS) applies it

    >>> is_sound(np.array([[0, 0], [1, 1], [1, 0], [0, 1]], float))
    False
    """
    return bool(shapely.is_valid(shapely.polygons(outline))) and signed_area(outline) > 0


def closed_between(edge_a: np.ndarray, edge_b: np.ndarray) -> np.ndarray:
    """The outline between two edges: along edge A, back along edge B.

    edge_a   lower edge in increasing x, shape (n, 2) [in]
    edge_b   upper edge in increasing x, shape (m, 2) [in]
    returns  counter-clockwise outline, first point not repeated, shape (n + m, 2) [in]
    source   definition; the order of points is that of the HTTP contract

    >>> closed_between(np.array([[0, 0], [4, 0]], float), np.array([[0, 3], [4, 3]], float)).tolist()
    [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]
    """
    return np.vstack([edge_a, edge_b[::-1]])

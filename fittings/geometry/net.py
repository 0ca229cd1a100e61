"""A net pattern before allowances: two edges, holes and marks, and how it is parted and moved."""

from dataclasses import replace

import numpy as np
import shapely

from .outline import closed_between

_SAME_PLACE = 1e-6  # of the way round
_NO_AREA = 1e-6  # in², what rounding leaves between two shapes


class Net:
    """A net pattern before allowances: two edges with the place of each point round the segment, from 0 to 1.

    edge_a, edge_b        polylines, shape (n, 2) [in]; at_a, at_b the places of their points, increasing from 0 to 1
    corners_a, corners_b  indices of points where the edge itself has a corner: flanges part there
    holes                 outlines, shape (n, 2) [in]
    marks                 Marks
    """

    def __init__(self, edge_a, edge_b, at_a, at_b, *, corners_a=(), corners_b=(), holes=(), marks=()):
        self.edge_a, self.edge_b = np.asarray(edge_a, float), np.asarray(edge_b, float)
        self.at_a, self.at_b = np.asarray(at_a, float), np.asarray(at_b, float)
        self.corners_a, self.corners_b = tuple(corners_a), tuple(corners_b)
        self.holes, self.marks = tuple(np.asarray(hole, float) for hole in holes), tuple(marks)
        self._distinct: dict[str, tuple[np.ndarray, tuple[int, ...]]] = {}

    def outline(self) -> np.ndarray:
        return closed_between(self.edge("a")[0], self.edge("b")[0])

    def covers_itself(self, lap: float) -> bool:
        """Whether it, or its lap [in], comes to lie over its own first end, as that of a nearly flat ring does."""
        whole = shapely.polygons(self.outline())
        if not shapely.is_valid(whole):
            return True
        low, high = self.edge_a[-1], self.edge_b[-1]
        up = (high - low) / np.hypot(*(high - low))
        beyond = lap * np.array([up[1], -up[0]])
        tongue = shapely.polygons([low, low + beyond, high + beyond, high])
        return lap > 0 and bool(shapely.area(shapely.intersection(whole, tongue)) > _NO_AREA)

    def edge(self, name: str) -> tuple[np.ndarray, tuple[int, ...]]:
        """Edge 'a' or 'b' with each point once (an apex has many rulings), and its corners among those points."""
        if name not in self._distinct:
            points, corners = getattr(self, f"edge_{name}"), getattr(self, f"corners_{name}")
            is_new = np.concatenate([[True], np.hypot(*np.diff(points, axis=0).T) > 1e-9])
            number = np.cumsum(is_new) - 1
            own = tuple(sorted({int(number[corner]) for corner in corners}))
            self._distinct[name] = (points[is_new], own)
        return self._distinct[name]

    def part(self, start: float, end: float) -> "Net":
        """The part between two places, still where it lies."""
        edges = {}
        for name in "ab":
            edge, at = getattr(self, f"edge_{name}"), getattr(self, f"at_{name}")
            inner = (at > start + 1e-9) & (at < end - 1e-9)
            ends = [[np.interp(place, at, edge[:, k]) for k in (0, 1)] for place in (start, end)]
            edges[f"edge_{name}"] = np.vstack([ends[:1], edge[inner], ends[1:]])
            places = np.concatenate([[start], at[inner], [end]])
            edges[f"at_{name}"] = (places - start) / (end - start)
            first = int(np.argmax(inner)) if inner.any() else 0
            corners = getattr(self, f"corners_{name}")
            edges[f"corners_{name}"] = tuple(k - first + 1 for k in corners if inner[k])
        marks = [
            replace(mark, at=(mark.at - start) / (end - start))
            for mark in self.marks
            if start + _SAME_PLACE < mark.at < end - _SAME_PLACE
        ]
        return Net(**edges, holes=self.holes, marks=marks)

    def moved(self, turn: np.ndarray, shift: np.ndarray) -> "Net":
        """Turned by a (2, 2) matrix, then shifted."""

        def move(points):
            return np.asarray(points) @ turn.T + shift

        return Net(
            move(self.edge_a),
            move(self.edge_b),
            self.at_a,
            self.at_b,
            corners_a=self.corners_a,
            corners_b=self.corners_b,
            holes=[move(hole) for hole in self.holes],
            marks=[replace(mark, line=move(mark.line)) for mark in self.marks],
        )

    def upright(self) -> tuple[np.ndarray, np.ndarray]:
        """The (2, 2) turn and the shift [in] after which the line from the middle of edge A to that of edge B stands
        upright, in the axes' corner."""
        low, high = (
            np.array([np.interp(0.5, at, edge[:, k]) for k in (0, 1)])
            for edge, at in ((self.edge_a, self.at_a), (self.edge_b, self.at_b))
        )
        up = high - low
        cos, sin = up[1] / np.hypot(*up), up[0] / np.hypot(*up)
        turn = np.array([[cos, -sin], [sin, cos]])
        return turn, -(self.outline() @ turn.T).min(axis=0)

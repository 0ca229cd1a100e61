"""What every development must satisfy, whatever its kind; by shapely, numpy and json only."""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import strategies as st

from fittings.geometry import Allowances, GeometryError, Sheet, development_as_dict

WITHIN = 0.005  # in, the promise of the HTTP contract
MEETS = 0.01  # in
_GRID = 2e-4  # in; outlines made by union lie on a grid of 0.0001 in

ALLOWANCES = st.builds(
    Allowances,
    lap=st.floats(0, 1.5),
    edge_a=st.one_of(st.just(0.0), st.floats(0, 1)),
    edge_b=st.floats(0, 1),
    end_a=st.one_of(st.none(), st.floats(0, 2)),
    end_b=st.one_of(st.none(), st.floats(0, 2)),
    end_c=st.one_of(st.none(), st.floats(0, 2)),
)
SHEETS = st.builds(
    lambda thickness, stock: Sheet("galvanized", 24, thickness, 1.156, *stock),
    st.floats(0.01, 0.14),
    st.sampled_from([(None, None), (120, 60), (120, None), (60, 48)]),
)


def once_each(dev):
    """One segment for each distinct pattern."""
    return {id(segment.net_outline): segment for segment in dev.segments}.values()


def length_of(points):
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def finer(points, parts=6):
    """A polyline with each of its chords divided, so that it stays on the surface when it is formed."""
    share = np.arange(parts)[:, None] / parts
    steps = points[:-1, None] + share[None] * np.diff(points, axis=0)[:, None]
    return np.vstack([steps.reshape(-1, points.shape[1]), points[-1:]])


def to_polyline(points, line):
    """Distance of each point to a polyline, shape (n,), in the plane or in space."""
    start, chord = line[:-1], np.diff(line, axis=0)
    apart = points[:, None] - start[None]
    length = np.maximum(np.einsum("ij,ij->i", chord, chord), 1e-18)
    along = np.clip(np.einsum("nij,ij->ni", apart, chord) / length, 0, 1)
    return np.linalg.norm(apart - along[..., None] * chord[None], axis=2).min(axis=1)


def triangles_area(low, high):
    """Area of the strip between two rows of points in space, by triangles."""
    first = np.cross(low[1:] - low[:-1], high[:-1] - low[:-1])
    second = np.cross(high[1:] - low[1:], high[:-1] - high[1:])
    return float((np.linalg.norm(first, axis=1).sum() + np.linalg.norm(second, axis=1).sum()) / 2)


def assert_sound(dev, sheet, allowances):
    for segment in once_each(dev):
        for piece in (segment, *segment.plates):
            _assert_piece(piece, is_whole=piece is segment)
        parts = segment.plates or (segment,)
        assert sum(part.net_area for part in parts) == pytest.approx(segment.net_area, rel=1e-6)
        assert sum(part.cut_area for part in parts) == pytest.approx(segment.cut_area, rel=1e-6)
        assert segment.weight == pytest.approx(segment.net_area / 144 * sheet.weight_lb_ft2)
        assert [part.number for part in segment.plates] == list(range(1, len(segment.plates) + 1))
        if segment.fits_stock:
            for part in parts:
                assert _fits(part.cut_outline, sheet, may_turn=segment.form != "cylinder")
        if segment.form != "cylinder":
            edges = [length_of(edge) for edge in (segment.edge_a, segment.edge_b)]
            assert segment.stretch_out == pytest.approx(max(edges))
            continue
        around = segment.net_outline[:, 0].max()
        assert segment.stretch_out == pytest.approx(around)
        if not segment.plates:
            assert segment.blank.width == pytest.approx(around + allowances.lap, abs=_GRID)
    for name in ("net_area", "cut_area", "weight"):
        assert getattr(dev, name) == pytest.approx(sum(getattr(segment, name) for segment in dev.segments))
    assert dev.net_area <= dev.cut_area * (1 + 1e-6)
    for unit in ("in", "mm"):
        json.dumps(development_as_dict(dev, unit), allow_nan=False)  # a number that is not finite fails here


def _assert_piece(piece, *, is_whole):
    net, cut = shapely.Polygon(piece.net_outline), shapely.Polygon(piece.cut_outline)
    for outline, points in ((net, piece.net_outline), (cut, piece.cut_outline)):
        assert outline.is_valid and outline.exterior.is_ccw
        assert tuple(points[0]) != tuple(points[-1])
    assert cut.buffer(_GRID).covers(net)
    holes = [shapely.Polygon(hole) for hole in piece.holes]
    for hole in holes:
        assert hole.is_valid and net.contains_properly(hole)
    open_area = sum(hole.area for hole in holes)
    assert piece.net_area == pytest.approx(net.area - open_area, rel=1e-9)
    if not (is_whole and getattr(piece, "plates", ())):
        assert piece.cut_area == pytest.approx(cut.area - open_area, rel=1e-9)
    low_x, low_y, high_x, high_y = cut.bounds
    assert (piece.blank.width, piece.blank.height) == pytest.approx((high_x - low_x, high_y - low_y))
    for mark in piece.marks:  # a line on metal, not across a hole
        middle = shapely.Point(mark.line.mean(axis=0))
        assert cut.buffer(_GRID).contains(middle)
        assert not any(hole.buffer(-_GRID).contains(middle) for hole in holes)


def _fits(outline, sheet, *, may_turn):
    long, wide = (side or math.inf for side in (sheet.longest_stock_in, sheet.widest_stock_in))
    box = np.ptp(outline, axis=0)
    if may_turn:  # with any side of its hull along the stock
        x, y = np.array(shapely.convex_hull(shapely.Polygon(outline)).exterior.coords).T
        angle = np.arctan2(np.diff(y), np.diff(x))[:, None]
        sizes = [np.ptp(x * np.cos(turn) + y * np.sin(turn), axis=1) for turn in (angle, angle + math.pi / 2)]
        return bool(np.any((np.maximum(*sizes) <= long + 1e-6) & (np.minimum(*sizes) <= wide + 1e-6)))
    return box.max() <= long + 1e-6 and box.min() <= wide + 1e-6


def bounds_to_try(kind):
    """(name, value, whether it may be accepted) at, just below and just above each bound of a kind's numbers."""
    tried = []
    for param in kind.params:
        if param.unit in ("choice", "bool"):
            continue
        step = 1 if param.unit == "count" else 1e-6 * max(1.0, abs(param.high))
        tried += [
            (param.name, param.low - step, False),
            (param.name, param.low, not param.low_open),
            (param.name, param.low + step, True),
            (param.name, param.high - step, True),
            (param.name, param.high, True),
            (param.name, param.high + step, False),
        ]
    return tried


def assert_bound(make, kind, name, value, may_be_accepted):
    """A value at a bound is developed, or refused by a problem that names a field of the kind."""
    try:
        make(**{name: value})
    except GeometryError as error:
        fields = {problem.field for problem in error.problems}
        assert fields <= {param.name for param in kind.params}
        assert all(problem.limit in problem.sentence for problem in error.problems)
        if not may_be_accepted:
            assert fields == {name}
    else:
        assert may_be_accepted

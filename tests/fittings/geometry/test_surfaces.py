"""Strips laid flat by triangles, against closed developments; flat points back into space; sampling of curves.

Closed forms, written here: a right cone's frustum is a ring sector with radii R s / (R − r), r s / (R − r) and angle
2 π (R − r) / s, s its slant (Math Forum, Designing and building a cone frustum); a cylinder is a rectangle; a cylinder
cut square and by a sloping plane is parallel lines under a cosine (plane section of a cylinder).
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fittings.geometry.curves import CHORD_TOLERANCE, sampled
from fittings.geometry.surfaces import Cylinder, Ruled, unrolled
from tests.cases import cases

from .soundness import to_polyline

RULINGS = 2000
WITHIN = 5e-4  # in
FRUSTA = [
    (big, big * ratio, big * height)
    for big in (1.0, 6.0, 24.0, 60.0, 120.0)
    for ratio in (0.1, 0.5, 0.95)
    for height in (0.05, 0.5, 2.0)
]


def turn(count=RULINGS):
    return np.linspace(0, 2 * math.pi, count + 1)


def ring(radius, height, psi):
    return np.column_stack([radius * np.cos(psi), radius * np.sin(psi), np.broadcast_to(height, psi.shape)])


def matched(flat, closed):
    """Greatest distance of flat points from the closed ones, both moved by the least-squares rigid motion."""
    flat, closed = flat - flat.mean(axis=0), closed - closed.mean(axis=0)
    left, _, right = np.linalg.svd(flat.T @ closed)
    motion = left @ right
    assert np.linalg.det(motion) == pytest.approx(1)  # not mirrored
    return np.linalg.norm(flat @ motion - closed, axis=1).max()


@pytest.mark.parametrize(("big", "small", "height"), FRUSTA)
def test_right_frusta_become_ring_sectors(big, small, height):
    low, high, psi = big / 2, small / 2, turn()
    flat_a, flat_b = unrolled(ring(low, 0.0, psi), ring(high, height, psi))
    slant = math.hypot(low - high, height)
    outer, inner, sector = (
        low * slant / (low - high),
        high * slant / (low - high),
        2 * math.pi * (low - high) / slant,
    )
    at = (psi / (2 * math.pi) - 0.5) * sector
    arc = np.column_stack([np.sin(at), -np.cos(at)])  # edge A, the larger, lies below
    assert matched(np.vstack([flat_a, flat_b]), np.vstack([outer * arc, inner * arc])) < WITHIN
    middle = len(psi) // 2
    assert flat_a[middle, 0] == pytest.approx(flat_b[middle, 0], abs=1e-9)  # its middle ruling stands upright
    assert min(flat_a.min(), flat_b.min()) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("diameter", [1.0, 14.0, 120.0])
@pytest.mark.parametrize("height", [0.5, 240.0])
def test_cylinders_become_rectangles(diameter, height):
    psi = turn()
    flat_a, flat_b = unrolled(ring(diameter / 2, 0.0, psi), ring(diameter / 2, height, psi))
    x = diameter / 2 * psi
    closed = np.vstack([np.column_stack([x, 0 * x]), np.column_stack([x, 0 * x + height])])
    assert matched(np.vstack([flat_a, flat_b]), closed) < WITHIN
    assert flat_b - flat_a == pytest.approx(np.tile([0, height], (len(psi), 1)), abs=1e-8)


@pytest.mark.parametrize("diameter", [2.0, 14.0, 120.0])
@pytest.mark.parametrize("slope", [5, 30, 60])
def test_cylinders_cut_by_a_sloping_plane_keep_their_ordinates(diameter, slope):
    psi, radius = turn(), diameter / 2
    height = radius * (2 - np.cos(psi)) * math.tan(math.radians(slope))
    flat_a, flat_b = unrolled(ring(radius, 0.0, psi), ring(radius, height, psi))
    x = radius * psi
    closed = np.vstack([np.column_stack([x, 0 * x]), np.column_stack([x, height])])
    assert matched(np.vstack([flat_a, flat_b]), closed) < WITHIN


@pytest.mark.parametrize("diameter", [2.0, 14.0, 120.0])
@pytest.mark.parametrize("lean", [10, 35])
def test_oblique_cylinders_between_parallel_circles(diameter, lean):
    """Rulings lean by β towards ψ = 0: the flat edge is r ∫√(1 − sin²β sin²ψ) dψ wide and r sin β (1 − cos ψ) high."""
    psi, radius, beta = turn(), diameter / 2, math.radians(lean)
    shift = np.array([diameter * math.tan(beta), 0.0, diameter])
    flat_a, flat_b = unrolled(ring(radius, 0.0, psi), ring(radius, 0.0, psi) + shift)
    dense = turn(400 * RULINGS)
    widths = (
        np.sqrt(1 - (math.sin(beta) * np.sin((dense[1:] + dense[:-1]) / 2)) ** 2) * radius * np.diff(dense)
    )
    x = np.concatenate([[0.0], np.cumsum(widths)])[::400]
    along = radius * math.sin(beta) * (np.cos(psi) - 1)
    low = np.column_stack([x, along])
    high = low + [0.0, diameter / math.cos(beta)]
    assert matched(np.vstack([flat_a, flat_b]), np.vstack([low, high])) < WITHIN


def test_the_error_falls_with_the_square_of_the_step():
    def error(count):
        psi = turn(count)
        flat_a, _ = unrolled(ring(60, 0.0, psi), ring(40, 30, psi))
        slant = math.hypot(20, 30)
        at = (psi / (2 * math.pi) - 0.5) * 2 * math.pi * 20 / slant
        return matched(flat_a, 60 * slant / 20 * np.column_stack([np.sin(at), -np.cos(at)]))

    assert error(500) / error(1000) == pytest.approx(4, rel=0.05)
    assert error(1000) / error(2000) == pytest.approx(4, rel=0.05)


@settings(max_examples=cases(200), deadline=None, derandomize=True)
@given(
    st.floats(1, 120),
    st.floats(0.05, 0.98),
    st.floats(0.05, 3),
    st.floats(-0.4, 0.4),
    st.lists(st.floats(0, 1), min_size=8, max_size=8),
)
def test_flat_points_return_to_their_place_in_space(big, ratio, height, offset, parts):
    """A point between the ends of a ruling in the flat is the point between the same ends in space."""
    psi = turn(600)
    low = ring(big / 2, 0.0, psi)
    high = ring(big / 2 * ratio, big * height, psi) + [offset * big, 0.0, 0.0]
    surface = Ruled(*unrolled(low, high), low, high)
    at = (np.array(parts) * 600).astype(int)
    share = np.array(parts[::-1])[:, None]
    flat = surface.flat_a[at] * (1 - share) + surface.flat_b[at] * share
    space = low[at] * (1 - share) + high[at] * share
    assert np.linalg.norm(surface.to_space(flat) - space, axis=1).max() < 1e-6 * big


def test_flat_points_between_rulings_lie_on_the_surface():
    psi = turn(600)
    low, high = ring(6, 0.0, psi), ring(4, 10.0, psi)
    surface = Ruled(*unrolled(low, high), low, high)
    between = (surface.flat_a[:-1] + surface.flat_a[1:] + surface.flat_b[:-1] + surface.flat_b[1:]) / 4
    points = surface.to_space(between)
    radius = 6 - 2 * points[:, 2] / 10
    assert np.hypot(points[:, 0], points[:, 1]) == pytest.approx(radius, abs=2e-4)


def test_a_rolled_cylinder_keeps_its_girth_and_height():
    surface = Cylinder(7.0, math.pi / 3)
    points = surface.to_space(np.column_stack([7.0 * turn(12), np.linspace(0, 9, 13)]))
    assert np.hypot(points[:, 0], points[:, 1]) == pytest.approx(7)
    assert points[:, 2] == pytest.approx(np.linspace(0, 9, 13))
    assert np.arctan2(points[0, 1], points[0, 0]) == pytest.approx(math.pi / 3)
    steps = np.linalg.norm(np.diff(points[:, :2], axis=0), axis=1)
    assert steps == pytest.approx(2 * 7 * math.sin(math.pi / 12))


# -- sampling ---------------------------------------------------------------------

CURVES = {
    "circle": lambda size: lambda t: np.column_stack([size * np.cos(t), size * np.sin(t)]),
    "flat ellipse": lambda size: lambda t: np.column_stack([size * np.cos(t), size / 40 * np.sin(t)]),
    "cosine": lambda size: lambda t: np.column_stack([size * t, size * np.cos(t)]),
    "steep": lambda size: lambda t: np.column_stack([size * t, size * np.tanh(12 * (t - 2))]),
    "helix": lambda size: lambda t: np.column_stack([size * np.cos(t), size * np.sin(t), size * t / 3]),
    "wave": lambda size: lambda t: np.column_stack([size * t, size / 9 * np.sin(8 * t)]),
}


@pytest.mark.parametrize("name", CURVES)
@pytest.mark.parametrize("size", [0.5, 6.0, 60.0])
def test_no_point_of_a_sampled_curve_is_farther_than_the_tolerance_from_its_chords(name, size):
    curve = CURVES[name](size)
    t = sampled(curve, [0.0, 1.0, 2 * math.pi])
    assert np.all(np.diff(t) > 0) and {0.0, 1.0, 2 * math.pi} <= set(t.tolist())
    dense = curve(np.linspace(0, 2 * math.pi, 6007))
    chords = curve(t)
    off = np.concatenate([to_polyline(part, chords) for part in np.array_split(dense, 8)])
    assert off.max() <= CHORD_TOLERANCE


def test_a_straight_line_needs_few_points_and_a_finer_tolerance_more():
    assert len(sampled(lambda t: np.column_stack([t, 2 * t]), [0, 1, 9])) == 9
    circle = CURVES["circle"](20.0)
    coarse, fine = (len(sampled(circle, [0, 6.0], tolerance=tolerance)) for tolerance in (0.01, 0.0001))
    assert fine > 5 * coarse


def test_points_between_far_rulings_keep_their_place_in_the_triangle_they_lie_in():
    # a square folded by 90° along the diagonal from A's far end to B's near one: middles stay middles
    low = np.array([[0, 0, 0], [1, 0, 0]], float)
    high = np.array([[0, 1, 0], [0.5, 0.5, math.sqrt(0.5)]])
    flat_low, flat_high = unrolled(low, high)
    strip = Ruled(flat_low, flat_high, low, high)
    for flat, space in (
        ((flat_low[0], flat_low[1], flat_high[0]), (low[0], low[1], high[0])),
        ((flat_low[1], flat_high[1], flat_high[0]), (low[1], high[1], high[0])),
    ):
        assert strip.to_space(np.mean(flat, axis=0))[0] == pytest.approx(np.mean(space, axis=0))


def test_points_of_a_wide_flat_triangle_keep_their_distances():
    # a side of 8 in with its tip 3 in above it is one step between two rulings
    low, high = np.array([[-4, 0, 0], [4, 0, 0]], float), np.array([[1, 0, 3], [1, 0, 3]], float)
    strip = Ruled(*unrolled(low, high), low, high)
    flat = strip.flat_a[0] + np.array([[0.5, 0.2, 0.3], [0.1, 0.3, 0.6], [0.4, 0.1, 0.5]]) @ np.array(
        [[0, 0], strip.flat_a[1] - strip.flat_a[0], strip.flat_b[0] - strip.flat_a[0]]
    )
    formed = strip.to_space(flat)
    for k in range(3):
        apart = np.hypot(*(flat[k] - flat[k - 1]))
        assert np.linalg.norm(formed[k] - formed[k - 1]) == pytest.approx(apart)

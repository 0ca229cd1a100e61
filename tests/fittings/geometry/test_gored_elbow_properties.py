"""Predicates over the whole range that a wrong pattern cannot satisfy: rolled back into space, it fits."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, assume, example, given, settings
from hypothesis import strategies as st

from fittings.geometry import Allowances, CannotBeMade, Practice, Sheet, develop, placed
from tests.cases import cases

WITHIN = 0.005  # in, the promise of the HTTP contract
moderate = settings(
    max_examples=cases(60),
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.filter_too_much],
)

lengths = st.floats(min_value=0, max_value=240, allow_nan=False)
PARAMS = st.fixed_dictionaries(
    {
        "diameter": st.one_of(st.floats(1, 120), st.floats(4, 24)),
        "angle": st.one_of(st.floats(1, 180), st.sampled_from([15, 30, 45, 60, 90, 180])),
        "pieces": st.one_of(st.integers(2, 60), st.integers(2, 7)),
        "radius_ratio": st.one_of(st.floats(0.5, 10), st.floats(0.51, 2.5)),
        "collar_a": st.one_of(st.just(0), lengths),
        "collar_b": st.one_of(st.just(0), lengths),
        "seam_at": st.sampled_from(["throat", "heel", "side"]),
        "stagger_seams": st.booleans(),
    }
)
SHEETS = st.builds(
    Sheet,
    material=st.just("galvanized"),
    gauge=st.integers(10, 30),
    thickness_in=st.floats(0.01, 0.14),
    weight_lb_ft2=st.floats(0.5, 6),
    longest_stock_in=st.sampled_from([None, 60, 120]),
)
SHARP = {"diameter": 10, "angle": 90, "pieces": 2, "radius_ratio": 0.5, "collar_a": 6, "collar_b": 6}
SHEET = Sheet("galvanized", 24, 0.0276, 1.156, 120)


def made(params, sheet, allowances=None):
    try:
        return develop(
            "gored_elbow", params, sheet=sheet, allowances=allowances or Allowances(), practice=Practice()
        )
    except CannotBeMade:
        assume(False)


def once_each(dev):
    """One segment for each distinct pattern."""
    return {id(segment.net_outline): segment for segment in dev.segments}.values()


def closed_formula(params, sheet):
    """R, r, α written again from the worked example, apart from the code under test."""
    mean_radius = (params["diameter"] + sheet.thickness_in) / 2
    half_angle = math.radians(params["angle"]) / (2 * (params["pieces"] - 1))
    return params["radius_ratio"] * params["diameter"], mean_radius, half_angle


def ellipse_perimeter(a, b):
    """Gauss: 2π (a² − Σ 2ⁿ⁻¹ cₙ²) / agm(a, b), a ≥ b."""
    total, power, mean, geometric = a * a, 0.5, a, b
    total -= power * (a * a - b * b)
    while mean - geometric > 1e-13 * a:
        half_gap = (mean - geometric) / 2
        mean, geometric = (mean + geometric) / 2, math.sqrt(mean * geometric)
        power *= 2
        total -= power * half_gap**2
    return 2 * math.pi * total / mean


def edge_length(edge):
    return float(np.hypot(*np.diff(edge, axis=0).T).sum())


@moderate
@given(PARAMS, SHEETS)
@example(SHARP, SHEET)
def test_edges_rolled_back_lie_in_their_miter_planes_and_meet(params, sheet):
    dev = made(params, sheet)
    radius, mean_radius, half_angle = closed_formula(params, sheet)
    center = np.array([radius, 0.0, params["collar_a"]])
    first_edges = [placed(dev, segment.position, segment.edge_a) for segment in dev.segments]
    last_edges = [placed(dev, segment.position, segment.edge_b) for segment in dev.segments]
    for k in range(1, params["pieces"]):
        incline = (2 * k - 1) * half_angle
        normal = np.array([math.sin(incline), 0.0, math.cos(incline)])
        for edge in (last_edges[k - 1], first_edges[k]):
            assert np.abs((edge - center) @ normal).max() < 1e-6
        here, there = dev.segments[k - 1], dev.segments[k]
        before, after = last_edges[k - 1][:-1], first_edges[k][:-1]  # x = 0 and x = stretch-out are one point
        if here.start_angle != there.start_angle:  # staggered by half a turn
            after = np.roll(after, len(after) // 2, axis=0)
        assert np.linalg.norm(before - after, axis=1).max() < WITHIN
        assert edge_length(here.edge_b) == pytest.approx(edge_length(there.edge_a), abs=1e-6)


@moderate
@given(PARAMS, SHEETS)
@example(SHARP, SHEET)
def test_every_segment_is_round_and_tangent_to_the_center_line(params, sheet):
    dev = made(params, sheet)
    radius, mean_radius, half_angle = closed_formula(params, sheet)
    center = np.array([radius, 0.0, params["collar_a"]])
    for segment in dev.segments:
        turn = 2 * half_angle * (segment.position - 1)
        touching = center + radius * np.array([-math.cos(turn), 0.0, math.sin(turn)])
        axis = np.array([math.sin(turn), 0.0, math.cos(turn)])
        from_axis = placed(dev, segment.position, segment.net_outline) - touching
        off = np.linalg.norm(from_axis - np.outer(from_axis @ axis, axis), axis=1)
        assert off == pytest.approx(np.full(len(off), mean_radius), abs=1e-6)


@moderate
@given(PARAMS, SHEETS)
def test_free_ends_are_square_and_one_collar_away(params, sheet):
    dev = made(params, sheet)
    radius, _, _ = closed_formula(params, sheet)
    turn = math.radians(params["angle"])
    end_a = placed(dev, 1, dev.segments[0].edge_a)
    end_b = placed(dev, params["pieces"], dev.segments[-1].edge_b)
    assert np.abs(end_a[:, 2]).max() < 1e-9
    normal = np.array([math.sin(turn), 0.0, math.cos(turn)])
    beyond = (end_b - np.array([radius, 0.0, params["collar_a"]])) @ normal
    assert beyond == pytest.approx(np.full(len(beyond), params["collar_b"]), abs=1e-6)


@moderate
@given(PARAMS, SHEETS)
@example(SHARP, SHEET)
def test_no_point_of_the_true_edge_is_farther_than_0_005_in(params, sheet):
    dev = made(params, sheet)
    radius, mean_radius, half_angle = closed_formula(params, sheet)
    for segment in once_each(dev):
        x = np.linspace(0, 2 * math.pi * mean_radius, 4001)
        height = (radius - mean_radius * np.cos(segment.start_angle + x / mean_radius)) * math.tan(half_angle)
        top = (radius + mean_radius) * math.tan(half_angle)
        edges = []
        if segment.role == "middle_gore" or segment.position > 1:
            edges.append((segment.edge_a, top - height))
        if segment.role == "middle_gore":
            edges.append((segment.edge_b, top + height))
        elif segment.position == 1:
            edges.append((segment.edge_b, params["collar_a"] + height))
        for polyline, y in edges:
            line = shapely.LineString(polyline)
            shapely.prepare(line)
            assert shapely.distance(line, shapely.points(x, y)).max() < WITHIN
            assert edge_length(polyline) == pytest.approx(
                ellipse_perimeter(mean_radius / math.cos(half_angle), mean_radius), rel=1e-4, abs=WITHIN
            )
            for quarter in range(5):  # throat, heel and sides are points of the polyline
                at = 2 * math.pi * mean_radius * quarter / 4
                assert np.abs(polyline[:, 0] - at).min() < 1e-9


@moderate
@given(PARAMS, SHEETS)
@example(SHARP, SHEET)
def test_net_outlines_are_sound_and_their_areas_equal_the_integral(params, sheet):
    dev = made(params, sheet)
    radius, mean_radius, half_angle = closed_formula(params, sheet)
    for segment in once_each(dev):
        half = radius * math.tan(half_angle)
        collar = params["collar_a"] if segment.position == 1 else params["collar_b"]
        mean_height = 2 * half if segment.role == "middle_gore" else half + collar
        polygon = shapely.Polygon(segment.net_outline)
        assert polygon.is_valid and polygon.exterior.is_ccw
        assert tuple(segment.net_outline[0]) != tuple(segment.net_outline[-1])
        assert segment.net_outline[:, 1].min() == pytest.approx(0, abs=1e-9)
        integral = 2 * math.pi * mean_radius * mean_height
        assert polygon.area == pytest.approx(integral, rel=1e-9)
        assert segment.net_area == pytest.approx(integral, rel=1e-9)
        assert segment.weight == pytest.approx(integral / 144 * sheet.weight_lb_ft2, rel=1e-9)
    whole = 2 * math.pi * mean_radius
    whole *= (
        2 * (params["pieces"] - 1) * radius * math.tan(half_angle) + params["collar_a"] + params["collar_b"]
    )
    assert dev.net_area == pytest.approx(whole, rel=1e-9)


@moderate
@given(
    PARAMS,
    SHEETS,
    st.builds(
        Allowances,
        lap=st.floats(0, 1.5),
        edge_a=st.floats(0, 1),
        edge_b=st.floats(0, 1),
        end_a=st.one_of(st.none(), st.floats(0, 6)),
        end_b=st.one_of(st.none(), st.floats(0, 6)),
    ),
)
def test_cut_outlines_are_sound_and_hold_the_net_outline(params, sheet, allowances):
    dev = made(params, sheet, allowances)
    for segment in once_each(dev):
        for piece in (segment, *segment.plates):
            cut, net = shapely.Polygon(piece.cut_outline), shapely.Polygon(piece.net_outline)
            assert cut.is_valid and cut.exterior.is_ccw
            assert cut.buffer(2e-4).covers(net)
            assert piece.cut_area == pytest.approx(cut.area, rel=1e-9) or segment.plates
            low_x, low_y, high_x, high_y = cut.bounds
            assert piece.blank.width == pytest.approx(high_x - low_x)
            assert piece.blank.height == pytest.approx(high_y - low_y)
            length = piece.net_outline[:, 0].max()
            assert piece.blank.width == pytest.approx(length + allowances.lap, abs=2e-4)


@pytest.mark.parametrize("ratio", [0.75, 1.0, 1.5, 2.5])
def test_area_nears_the_torus_of_pappus_as_pieces_grow(ratio, elbow):
    # first theorem of Pappus: area = length of the circle × path of its center
    torus = (math.pi / 2 * ratio * 14) * (math.pi * 14)
    errors = [elbow(pieces=pieces, radius_ratio=ratio).net_area / torus - 1 for pieces in (3, 5, 10, 20, 60)]
    assert errors == sorted(errors, reverse=True)
    assert 0 < errors[-1] < 1e-4

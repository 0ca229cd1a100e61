"""Squares to rounds against closed forms, against the true surface, and over the whole parameter range.

`Truth` knows nothing of the code under test: sections of the convex hull are rectangles grown by a circle (shapely's
buffer), areas are closed forms and quadrature. Derivations: fixtures/authorities/square_to_round.md.
"""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from fittings.geometry import (
    KINDS,
    Allowances,
    CannotBeMade,
    ParameterError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    development_as_dict,
    placed,
)
from tests.cases import cases

from .conftest import AUTHORITIES
from .soundness import (
    ALLOWANCES,
    SHEETS,
    WITHIN,
    assert_bound,
    assert_sound,
    bounds_to_try,
    length_of,
)

THIN = 1e-9  # in
USUAL = {"width": 20, "height": 12, "diameter": 10, "length": 14}
CASES = [
    {},
    {"offset_x": 3, "offset_y": -2},
    {"width": 12, "height": 12, "diameter": 8, "length": 8},
    {"width": 12, "height": 12, "diameter": 20, "length": 10},  # round end larger than the rectangle
    {"width": 8, "height": 30, "diameter": 14, "length": 6, "offset_x": 25, "offset_y": 40},  # beyond it
    {"width": 60, "height": 40, "diameter": 48, "length": 36, "seam_at": "width"},
    {"width": 12, "height": 12, "diameter": 12, "length": 12},  # two upright sides
    {"width": 30, "height": 4, "diameter": 12, "length": 2, "offset_y": -3},
]


def transition(*, allowances=None, thickness=THIN, stock=(None, None), unit="in", practice=None, **params):
    return develop(
        "square_to_round",
        USUAL | params,
        sheet=Sheet("galvanized", 24, thickness, 1.156, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


class Truth:
    """The mean surface, from first principles."""

    def __init__(self, params, thickness=THIN):
        given = USUAL | {"offset_x": 0, "offset_y": 0} | params
        self.a, self.b = ((given[name] + thickness) / 2 for name in ("width", "height"))
        self.radius = (given["diameter"] + thickness) / 2
        self.length = given["length"]
        self.offset = np.array([given["offset_x"], given["offset_y"]], float)

    def section(self, z):
        """The section at a height: Minkowski's sum of both ends, weighted by the distance from each."""
        part = z / self.length
        a, b = self.a * (1 - part), self.b * (1 - part)
        grown = shapely.box(-a, -b, a, b).buffer(self.radius * part, quad_segs=400)
        return shapely.affinity.translate(grown, *(self.offset * part))

    def distance(self, points):
        """Of points to the surface, in the plane of their height: no less than the true distance."""
        return np.array([self.section(z).exterior.distance(shapely.Point(x, y)) for x, y, z in points])

    def altitudes(self):
        """Of the flat triangles on the sides at +X, +Y, −X, −Y: over the rise and the way across."""
        x, y = self.offset
        reach = [
            x + self.radius - self.a,
            y + self.radius - self.b,
            x - self.radius + self.a,
            y - self.radius + self.b,
        ]
        return np.hypot(self.length, reach)

    def corners(self):
        """Each corner, with the directions between which the circle belongs to it [rad]."""
        for k, (x, y) in enumerate([(1, 1), (-1, 1), (-1, -1), (1, -1)]):
            yield np.array([x * self.a, y * self.b, 0.0]), np.linspace(k, k + 1, 2001) * math.pi / 2

    def circle(self, angle):
        return np.column_stack(
            [
                self.offset[0] + self.radius * np.cos(angle),
                self.offset[1] + self.radius * np.sin(angle),
                np.full(len(angle), self.length),
            ]
        )

    def area(self):
        """Half side times altitude; half the cross product of ruling and arc, by the trapezoid rule."""
        total = (self.altitudes() * [self.b, self.a, self.b, self.a]).sum()
        for corner, angle in self.corners():
            along = self.radius * np.column_stack([-np.sin(angle), np.cos(angle), 0 * angle])
            rate = np.linalg.norm(np.cross(self.circle(angle) - corner, along), axis=1) / 2
            total += np.trapezoid(rate, angle)
        return float(total)

    def rectangle(self):
        return shapely.box(-self.a, -self.b, self.a, self.b).exterior


@pytest.fixture(scope="module")
def authority():
    found = json.loads((AUTHORITIES / "square_to_round.json").read_text(encoding="utf-8"))
    return found["derived_cases"][0]


def bends_of(segment):
    return [mark for mark in segment.marks if mark.name == "bend"]


def bend_lengths(segment):
    return np.array([np.hypot(*(mark.line[1] - mark.line[0])) for mark in bends_of(segment)])


# --- figures from the authority file


def test_corner_lines_are_those_of_the_worked_case(authority):
    # d-sqr-12-8-8; the rule is printed in B. Coey, Pattern Development: Sheet Metal Level 1, chs. 24 and 26
    values = authority["values"]
    dev = transition(**authority["inputs"], bends_per_corner=len(values["circle_angle_deg"]))
    lengths = bend_lengths(dev.segments[0]).reshape(4, -1)
    for of_corner in lengths:
        assert of_corner == pytest.approx(np.array(values["true_length_from_corner"]), abs=5e-5 + 5e-4)
    plan = np.sqrt(lengths[0] ** 2 - authority["inputs"]["length"] ** 2)
    assert plan == pytest.approx(np.array(values["plan_length_from_corner"]), abs=1e-3)
    for name in ("plus_x", "plus_y", "minus_x", "minus_y"):
        assert dev.dimensions[f"altitude_{name}"] == pytest.approx(values["flat_triangle_altitude"], abs=5e-5)
    assert dev.dimensions["shortest_corner_line"] == pytest.approx(
        min(values["true_length_from_corner"]), abs=5e-5
    )
    assert dev.dimensions["longest_corner_line"] == pytest.approx(
        max(values["true_length_from_corner"]), abs=5e-5
    )


def test_a_line_straight_above_its_corner_is_as_long_as_the_fitting():
    # the same source: a line of zero plan length has the height as its true length; here circle (10, 6) meets (10, 6)
    dev = transition(width=20, height=12, diameter=10, length=9, offset_x=5, offset_y=6)
    assert dev.dimensions["shortest_corner_line"] == pytest.approx(9)


# --- against closed forms and the true surface


@pytest.mark.parametrize("params", CASES)
def test_edges_are_as_long_as_the_ends_and_the_area_is_that_of_the_hull(params):
    dev, truth = transition(**params), Truth(params)
    segment = dev.segments[0]
    assert length_of(segment.edge_a) == pytest.approx(4 * (truth.a + truth.b), abs=0.001)
    assert length_of(segment.edge_b) == pytest.approx(2 * math.pi * truth.radius, abs=0.01)
    assert segment.net_area == pytest.approx(truth.area(), rel=1e-3)
    assert segment.stretch_out == pytest.approx(max(length_of(segment.edge_a), length_of(segment.edge_b)))
    altitudes = [dev.dimensions[f"altitude_{name}"] for name in ("plus_x", "plus_y", "minus_x", "minus_y")]
    assert altitudes == pytest.approx(truth.altitudes())


@pytest.mark.parametrize("params", CASES)
def test_pattern_formed_again_lies_on_the_hull(params):
    dev, truth = transition(**params), Truth(params)
    segment = dev.segments[0]
    area = shapely.Polygon(segment.net_outline)
    low_x, low_y, high_x, high_y = area.bounds
    x, y = np.random.default_rng(1).uniform((low_x, low_y), (high_x, high_y), (600, 2)).T
    inside = np.column_stack([x, y])[shapely.contains_xy(area, x, y)]
    assert len(inside) > 100
    formed = placed(dev, 1, inside)
    assert (formed[:, 2] > 0).all() and (formed[:, 2] < truth.length).all()
    assert truth.distance(formed).max() < WITHIN
    end_a, end_b = placed(dev, 1, segment.edge_a), placed(dev, 1, segment.edge_b)
    assert np.abs(end_a[:, 2]).max() < 1e-6 and np.abs(end_b[:, 2] - truth.length).max() < 1e-6
    assert shapely.distance(truth.rectangle(), shapely.points(end_a)).max() < 1e-6
    assert np.hypot(*(end_b[:, :2] - truth.offset).T) == pytest.approx(truth.radius, abs=1e-6)
    # the seam closes
    assert np.linalg.norm(end_a[0] - end_a[-1]) + np.linalg.norm(end_b[0] - end_b[-1]) < 1e-6


@pytest.mark.parametrize("params", CASES)
def test_forming_keeps_lengths(params):
    dev = transition(**params)
    segment = dev.segments[0]
    for mark in bends_of(segment):
        flat, formed = mark.line, placed(dev, 1, mark.line)
        assert np.linalg.norm(formed[1] - formed[0]) == pytest.approx(
            np.hypot(*(flat[1] - flat[0])), abs=1e-3
        )
    corners = np.array([mark.line[0] for mark in bends_of(segment)])
    step, area = 0.05, shapely.Polygon(segment.net_outline).buffer(-0.1)
    low_x, low_y, high_x, high_y = area.bounds
    at = np.random.default_rng(2).uniform((low_x, low_y), (high_x, high_y), (400, 2))
    away = np.linalg.norm(at[:, None] - corners[None], axis=2).min(axis=1)
    at = at[shapely.contains_xy(area, *at.T) & (away > 1.0)]  # a cone is as sharp as one likes near its tip
    assert len(at) > 50
    for turn in (0.0, 0.8, 1.6, 2.4):
        there = at + step * np.array([math.cos(turn), math.sin(turn)])
        moved = np.linalg.norm(placed(dev, 1, there) - placed(dev, 1, at), axis=1)
        assert moved.max() < step * (
            1 + 1e-5
        )  # never longer; and shorter only where the chord of a sharp bend is
        assert np.quantile(moved, 0.02) > 0.99 * step


@pytest.mark.parametrize("params", CASES)
@pytest.mark.parametrize("bends", [1, 2, 5, 20])
def test_bends_are_the_turns_between_flat_facets(params, bends):
    segment = transition(**params, bends_per_corner=bends).segments[0]
    truth = Truth(params)
    found = np.array([mark.angle for mark in bends_of(segment)]).reshape(4, bends)
    first = round(segment.start_angle / (math.pi / 2))
    corners = [corner for corner, _ in truth.corners()]
    for k in range(4):
        number = (first + k) % 4
        corner = corners[number]
        places = np.linspace(number, number + 1, bends) if bends > 1 else np.array([number + 0.5])
        points = truth.circle(places * math.pi / 2)
        tips = truth.circle(np.array([number, number + 1]) * math.pi / 2)
        before, after = corners[number - 1], corners[(number + 1) % 4]
        facets = [(before, corner, tips[0])]
        facets += [(corner, points[j + 1], points[j]) for j in range(bends - 1)]
        facets += [(corner, after, tips[1])]
        normals = [np.cross(q - p, s - p) for p, q, s in facets]
        normals = np.array([normal / np.linalg.norm(normal) for normal in normals])
        cosine = np.clip((normals[1:] * normals[:-1]).sum(axis=1), -1, 1)
        assert found[k] == pytest.approx(np.arccos(cosine), abs=1e-6)
        whole = math.acos(np.clip(normals[0] @ normals[-1], -1, 1))
        assert found[k].sum() >= whole - 1e-9  # the way round is no shorter than straight across


def test_one_bend_a_corner_turns_from_side_to_side():
    # sides lean by (a − r) over L: cos = (a − r)² / (L² + (a − r)²); 12 in square to 8 in round, 8 in long: 4/68
    segment = transition(width=12, height=12, diameter=8, length=8, bends_per_corner=1).segments[0]
    assert [mark.angle for mark in bends_of(segment)] == pytest.approx([math.acos(4 / 68)] * 4)


def test_all_bends_of_a_long_fitting_turn_once_round():
    # the normals of a nearly prismatic surface run round the equator of their sphere
    segment = transition(width=4, height=4, diameter=4, length=240).segments[0]
    assert math.degrees(sum(mark.angle for mark in bends_of(segment))) == pytest.approx(360, rel=1e-3)


def test_bend_lines_run_from_the_corners_to_even_steps_of_the_circle():
    dev = transition(bends_per_corner=7)
    truth, segment = Truth({}), dev.segments[0]
    assert len(bends_of(segment)) == 28 == dev.dimensions["bends"]
    ends = np.array([placed(dev, 1, mark.line) for mark in bends_of(segment)])
    assert shapely.distance(truth.rectangle(), shapely.points(ends[:, 0])).max() < 1e-6
    angle = np.degrees(np.arctan2(*(ends[:, 1, :2] - truth.offset).T[::-1]))
    assert (angle / 15) == pytest.approx(np.round(angle / 15), abs=1e-6)


@pytest.mark.parametrize(("diameter", "bends"), [(1, 3), (8, 5), (48, 20)])
def test_bends_left_out_are_about_two_inches_apart(diameter, bends):
    # common practice, no source: π 8 / 4 = 6.28 in take 4 steps; never fewer than 3 lines nor more than 20
    assert transition(diameter=diameter).dimensions["bends_per_corner"] == bends


# --- seams, plates, allowances


def test_seam_lies_where_it_is_shortest():
    # sides at ±X: hypot(14, 10 − 5); sides at ±Y: hypot(14, 6 − 5)
    segment = transition().segments[0]
    assert segment.seam_length == pytest.approx(math.hypot(14, 1))
    assert math.degrees(segment.start_angle) == pytest.approx(270)
    # shifted by 1 along Y the side at +Y stands upright
    assert transition(offset_y=1).segments[0].seam_length == pytest.approx(14)
    assert math.degrees(transition(offset_y=1).segments[0].start_angle) == pytest.approx(90)


def test_seam_lies_on_the_side_asked_for():
    segment = transition(seam_at="height").segments[0]
    assert segment.seam_length == pytest.approx(math.hypot(14, 5))
    assert math.degrees(segment.start_angle) == pytest.approx(180)
    dev = transition(seam_at="width")
    seam = placed(dev, 1, dev.segments[0].edge_a[[0, -1]])
    assert seam == pytest.approx(np.array([[0, -6, 0]] * 2), abs=1e-6)


def test_throat_and_heel_are_left_out_of_braked_work():
    segment = transition().segments[0]
    assert (segment.form, segment.throat, segment.heel, segment.role) == ("brake", None, None, "transition")


def test_two_plates_are_halves_parted_in_the_middle_of_sides():
    segment = transition(width=60, height=40, diameter=48, length=36, stock=(120, 72)).segments[0]
    assert len(segment.plates) == 2 and segment.fits_stock
    first, second = (shapely.Polygon(plate.net_outline) for plate in segment.plates)
    assert first.area == pytest.approx(second.area, rel=1e-9)
    assert [len(plate.marks) for plate in segment.plates] == [40, 40]
    # the seams of both: from the middle of a side to the tip above it
    for plate in segment.plates:
        for end in (0, -1):
            half = len(plate.net_outline)
            sides = np.linalg.norm(plate.net_outline - np.roll(plate.net_outline, -1, axis=0), axis=1)
            assert half and np.isclose(sides, math.hypot(36, 4), atol=1e-3).sum() >= 2, end


def test_a_plate_may_be_a_triangle_with_a_band_on_one_edge_only():
    # a wide flat side in many plates: those in the middle of it have their tip at the round end
    dev = transition(
        width=120,
        height=2,
        diameter=1,
        length=30,
        stock=(70, 24),
        allowances=Allowances(lap=0.5, edge_a=0.25, edge_b=0.375),
    )
    assert any(len(plate.net_outline) == 3 for plate in dev.segments[0].plates)
    for plate in dev.segments[0].plates:
        cut = shapely.Polygon(plate.cut_outline)
        assert cut.is_valid and cut.buffer(1e-3).covers(shapely.Polygon(plate.net_outline))


def test_a_nearly_flat_one_whose_lap_would_cover_its_beginning_is_made_in_halves():
    # at a length of 0.1 in the pattern is a ring that closes but for some hundredths of an inch
    assert transition(width=12, height=12, diameter=8, length=0.1).segments[0].plates == ()
    segment = transition(
        width=12, height=12, diameter=8, length=0.1, allowances=Allowances(lap=0.5)
    ).segments[0]
    assert len(segment.plates) == 2
    for plate in segment.plates:
        net, cut = shapely.Polygon(plate.net_outline), shapely.Polygon(plate.cut_outline)
        # seams are about a − r = 2 in long; a lap is never more than that by 0.5
        assert 0.5 < cut.area - net.area <= 2.01 * 0.5


@pytest.mark.parametrize("params", CASES)
def test_flanges_of_the_rectangular_end_part_at_its_corners(params):
    segment = transition(**params, allowances=Allowances(edge_a=0.5, edge_b=0.25)).segments[0]
    border = shapely.LinearRing(segment.cut_outline)
    corners = np.unique(np.array([mark.line[0] for mark in bends_of(segment)]).round(6), axis=0)
    assert len(corners) == 4
    assert shapely.distance(border, shapely.points(corners)).max() < 1e-3
    middles = (segment.edge_b[1:] + segment.edge_b[:-1])[5:-5:10] / 2
    assert shapely.distance(border, shapely.points(middles)) == pytest.approx(0.25, abs=WITHIN)


# --- what it says of itself


def test_dimensions_and_free_ends():
    dev = transition(thickness=0.04, offset_x=2)
    for name, value in (USUAL | {"offset_x": 2, "offset_y": 0}).items():
        assert dev.dimensions[name] == value
    assert (dev.dimensions["mean_width"], dev.dimensions["mean_diameter"]) == pytest.approx((20.04, 10.04))
    # the steepest side is that at −X: (10 − 5 + 2) over 14
    assert dev.dimensions["slope_angle"] == pytest.approx(math.degrees(math.atan(7 / 14)))
    end_a, end_b = development_as_dict(dev)["free_ends"]
    assert (end_a["shape"], end_a["width"], end_a["height"], end_a["diameter"]) == (
        "rectangular",
        20,
        12,
        None,
    )
    assert (end_b["shape"], end_b["diameter"], end_b["width"]) == ("round", 10, None)
    assert end_a["edge_length"] == pytest.approx(2 * (20.04 + 12.04), abs=1e-4)
    assert end_b["edge_length"] == pytest.approx(math.pi * 10.04, abs=1e-4)
    assert dev.joint_length == 0
    assert [(end.end, end.title) for end in dev.free_ends] == list(KINDS["square_to_round"].ends)


def test_strips_in_space_run_from_end_to_end():
    low, high = (np.array(row) for row in development_as_dict(transition())["segments"][0]["space"][0])
    assert len(low) == len(high) and (low[:, 2] == 0).all() and (high[:, 2] == 14).all()
    assert np.linalg.norm(low[0] - low[-1]) < 1e-3


def test_steep_sides_are_unusual():
    rows = [UsualRange("square_to_round", "slope_angle", None, 45, "Steep sides make noise.")]
    assert transition(length=2, practice=Practice(usual=rows)).warnings[0].code == "slope_angle_high"


# --- refusals


@pytest.mark.parametrize(("name", "value", "accepted"), bounds_to_try(KINDS["square_to_round"]))
def test_bounds(name, value, accepted):
    assert_bound(transition, KINDS["square_to_round"], name, value, accepted)


def test_every_required_value_is_named():
    with pytest.raises(ParameterError) as refused:
        develop(
            "square_to_round",
            {"depth": 3},
            sheet=Sheet("galvanized", 24, 0.0276, 1.156),
            allowances=Allowances(),
            practice=Practice(),
        )
    names = {problem.field for problem in refused.value.problems}
    assert names == {"depth", "width", "height", "diameter", "length"}


@pytest.mark.parametrize("value", ["corner", "", 3, True])
def test_unknown_seams_are_refused(value):
    with pytest.raises(ParameterError) as refused:
        transition(seam_at=value)
    assert [problem.field for problem in refused.value.problems] == ["seam_at"]


def test_ends_that_meet_cannot_be_made():
    with pytest.raises(CannotBeMade) as refused:
        transition(width=10, height=10, diameter=10, length=0.0005, unit="in")
    problem = refused.value.problems[0]
    assert (problem.field, problem.value, problem.limit) == ("length", 0.0005, "at least 0.001 in")
    in_mm = {"width": 254, "height": 254, "diameter": 254, "length": 0.02}
    with pytest.raises(CannotBeMade) as refused:
        transition(**in_mm, unit="mm")
    assert refused.value.problems[0].value == pytest.approx(0.02)
    assert refused.value.problems[0].limit == "at least 0.0254 mm"


def test_millimetres_make_the_same_fitting():
    in_mm = {name: value * 25.4 for name, value in USUAL.items()}
    assert transition(**in_mm, unit="mm").net_area == pytest.approx(transition().net_area)


# --- over the whole range

RANGE = st.fixed_dictionaries(
    {
        "width": st.one_of(st.floats(1, 120), st.floats(4, 40)),
        "height": st.one_of(st.floats(1, 120), st.floats(4, 40)),
        "diameter": st.one_of(st.floats(1, 120), st.floats(4, 40)),
        "length": st.one_of(st.floats(0.5, 240), st.floats(4, 40)),
        "offset_x": st.one_of(st.just(0.0), st.floats(-240, 240), st.floats(-12, 12)),
        "offset_y": st.one_of(st.just(0.0), st.floats(-240, 240), st.floats(-12, 12)),
        "seam_at": st.sampled_from([None, "width", "height"]),
        "bends_per_corner": st.one_of(st.none(), st.integers(1, 20)),
    }
)


@settings(
    max_examples=cases(500),
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(RANGE, SHEETS, ALLOWANCES)
@example(
    USUAL | {"offset_x": 0.0, "offset_y": 0.0, "length": 0.02, "seam_at": None, "bends_per_corner": 1},
    Sheet("galvanized", 24, 0.0276, 1.156, 120, 60),
    Allowances(lap=1, edge_a=0.5, edge_b=0.5),
)
def test_over_the_whole_range(params, sheet, allowances):
    dev = develop("square_to_round", params, sheet=sheet, allowances=allowances, practice=Practice())
    truth, segment = Truth(params, sheet.thickness_in), dev.segments[0]
    assert_sound(dev, sheet, allowances)
    between = 0.002 * length_of(segment.edge_b)  # what chords may leave out or add
    assert segment.net_area == pytest.approx(truth.area(), rel=1e-3, abs=between)
    assert length_of(segment.edge_a) == pytest.approx(4 * (truth.a + truth.b), abs=0.001)
    assert length_of(segment.edge_b) == pytest.approx(2 * math.pi * truth.radius, abs=0.01)
    chords = np.hypot(*np.diff(segment.edge_b, axis=0).T)
    assert (chords**2 / (8 * truth.radius)).max() < WITHIN  # how far the arc stands off its chord
    end_a = placed(dev, 1, segment.edge_a)
    assert shapely.distance(truth.rectangle(), shapely.points(end_a)).max() < WITHIN
    end_b = placed(dev, 1, segment.edge_b[::9])
    assert np.hypot(*(end_b[:, :2] - truth.offset).T) == pytest.approx(truth.radius, abs=WITHIN)

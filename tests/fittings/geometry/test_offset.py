"""Offsets against published figures, an independent mesh, and over the whole parameter range.

`Truth` builds the fitting from first principles: a polyline of axes tangent to the two arcs, a cylinder round each of
its sides, planes that halve the angle between neighbors. Derivations: fixtures/authorities/offset.md.
"""

import json
import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fittings.geometry import (
    KINDS,
    Allowances,
    GeometryError,
    GoreRow,
    ParameterError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    placed,
)
from tests.cases import cases

from .conftest import AUTHORITIES, THIN
from .soundness import (
    ALLOWANCES,
    SHEETS,
    WITHIN,
    assert_bound,
    assert_sound,
    bounds_to_try,
    length_of,
    once_each,
    triangles_area,
)

FOUND = json.loads((AUTHORITIES / "offset.json").read_text(encoding="utf-8"))
CASE = {case["id"]: case for part in ("printed_cases", "derived_cases") for case in FOUND[part]}
USUAL = {"diameter": 8, "centerline_radius": 12, "offset": 14, "angle": 45, "pieces": 3}
FIELDS = {param.name for param in KINDS["offset"].params}


def offset(*, thickness=THIN, allowances=None, stock=(None, None), practice=None, unit="in", **params):
    given_ = {name: value for name, value in (USUAL | params).items() if value is not None}
    return develop(
        "offset",
        given_,
        sheet=Sheet("galvanized", 24, thickness, 1.156, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


def refused(**params):
    with pytest.raises(GeometryError) as error:
        offset(**params)
    return {problem.field: problem for problem in error.value.problems}


class Truth:
    """Axes and miter planes of an offset in space, from radius, turn, straight and pieces."""

    def __init__(self, *, radius, turn, straight, pieces, mean_radius):
        self.mean_radius = mean_radius
        half = turn / (2 * (pieces - 1))
        side = radius * math.tan(half)  # half a side of the polygon round the arc
        headings = [2 * half * k for k in range(pieces)]
        headings += headings[-2::-1]
        lengths = [side, *[2 * side] * (pieces - 2), 2 * side + straight, *[2 * side] * (pieces - 2), side]
        self.ahead = [np.array([math.sin(a), 0.0, math.cos(a)]) for a in headings]
        points = [np.zeros(3)]
        for way, length in zip(self.ahead, lengths, strict=True):
            points.append(points[-1] + length * way)
        self.points = points
        between = [a + b for a, b in zip(self.ahead[:-1], self.ahead[1:], strict=True)]
        self.normals = [self.ahead[0], *between, self.ahead[-1]]

    def ring(self, k, joint, steps=720):
        """Where segment k (from 0) ends at joint k or k + 1, round from the +X side, shape (n, 3)."""
        psi = np.linspace(0, 2 * math.pi, steps + 1)
        ahead, normal = self.ahead[k], self.normals[joint]
        aside = np.array([ahead[2], 0.0, -ahead[0]])
        round_axis = self.mean_radius * (
            np.outer(np.cos(psi), aside) + np.outer(np.sin(psi), np.array([0, 1, 0]))
        )
        return self.points[joint] + round_axis - np.outer(round_axis @ normal / (ahead @ normal), ahead)


def truth_of(dev, sheet_thickness=THIN):
    found = dev.dimensions
    return Truth(
        radius=found["centerline_radius"],
        turn=math.radians(found["angle"]),
        straight=found["straight_between"],
        pieces=found["pieces"],
        mean_radius=(found["diameter"] + sheet_thickness) / 2,
    )


# -- published and derived figures


@pytest.mark.authority
def test_travel_and_straight_of_the_printed_45_degree_offset():
    case = CASE["offset-45-12"]
    given_, printed = case["inputs"], case["printed"]
    radius = given_["takeoff_each_end"] / math.tan(math.radians(given_["angle"] / 2))
    dev = offset(diameter=4, offset=given_["offset"], angle=given_["angle"], centerline_radius=radius)
    assert dev.dimensions["takeoff"] == pytest.approx(given_["takeoff_each_end"])
    assert dev.dimensions["travel"] == pytest.approx(printed["travel"], abs=case["tolerance"]["travel"])
    between = printed["between_fittings"]
    assert dev.dimensions["straight_between"] == pytest.approx(between, abs=case["tolerance"]["travel"])


@pytest.mark.authority
def test_printed_constants_of_travel_over_offset():
    case = CASE["offset-constants"]
    constants = zip(case["inputs"]["angles"], case["printed"]["travel_over_offset"], strict=True)
    for angle, constant in constants:
        found = offset(diameter=2, centerline_radius=3, offset=20, angle=angle).dimensions
        assert found["travel"] / found["offset"] == pytest.approx(constant, abs=case["tolerance"]["constant"])


@pytest.mark.authority
def test_printed_rolling_offset():
    case = CASE["rolling-offset"]
    given_, printed = case["inputs"], case["printed"]
    dev = offset(offset=given_["rise"], roll=given_["roll"], angle=given_["angle"])
    true_offset = dev.dimensions["true_offset"]
    assert true_offset == pytest.approx(printed["true_offset"], abs=case["tolerance"]["true_offset"])
    assert dev.dimensions["offset"] == pytest.approx(given_["rise"])
    assert dev.dimensions["roll"] == given_["roll"]
    # the page rounds the true offset to 35 3/8 in before it takes the travel, and takes 1.414 for the cosecant of 45°
    travel = offset(offset=35.375, angle=45).dimensions["travel"]
    assert travel / math.sqrt(2) * 1.414 == pytest.approx(printed["travel"], abs=case["tolerance"]["travel"])
    assert dev.dimensions["travel"] == pytest.approx(case["computed"]["travel_exact"], abs=5e-5)


@pytest.mark.authority
def test_figures_derived_from_the_printed_rule():
    case = CASE["d-offset-8-14-45"]
    found, values = offset(**case["inputs"]).dimensions, case["values"]
    names = {
        "straight_between": "straight_between_bends",
        "length": "overall_length",
        "travel": "travel",
        "takeoff": "takeoff",
        "smallest_offset_without_straight": "smallest_offset_without_straight",
    }
    for name, printed in names.items():
        assert found[name] == pytest.approx(values[printed], abs=0.00006)


# -- any two of three


@pytest.mark.parametrize("angle", [1, 15, 30, 45, 60, 75, 89, 90])
@pytest.mark.parametrize("straight", [0, 0.5, 20])
def test_any_two_of_offset_angle_and_length_give_the_same_fitting(angle, straight):
    turn, radius = math.radians(angle), 12
    # two arcs and a straight, by hand
    shift = 2 * radius * (1 - math.cos(turn)) + straight * math.sin(turn)
    length = 2 * radius * math.sin(turn) + straight * math.cos(turn)
    slack = 1e-8  # keeps a straight of zero from being a rounded bit short
    pairs = [{"offset": shift + slack, "angle": angle}, {"offset": shift, "length": length + slack}]
    if angle < 90:
        pairs.append({"length": length + slack, "angle": angle})
    for pair in pairs:
        found = offset(**({"offset": None, "angle": None, "pieces": 2} | pair)).dimensions
        assert found["true_offset"] == pytest.approx(shift, abs=1e-3)
        assert found["angle"] == pytest.approx(angle, abs=0.01)
        assert found["length"] == pytest.approx(length, abs=1e-3)
    for pair in pairs[:1]:
        assert offset(pieces=2, length=length, **pair).dimensions["length"] == pytest.approx(length, abs=1e-3)


def test_three_that_disagree_name_the_one_to_leave_out():
    assert offset(length=23.9415).dimensions["length"] == pytest.approx(23.9411, abs=1e-4)
    wrong = refused(length=23.943)["length"]
    assert (wrong.value, wrong.limit) == (23.943, "23.9411 in")
    assert "leave out the length" in wrong.sentence
    assert refused(length=608.17, offset=14 * 25.4, diameter=200, centerline_radius=304.8, unit="mm")[
        "length"
    ].limit.endswith(" mm")


@pytest.mark.parametrize(
    ("missing", "fields"),
    [
        (("offset", "angle"), {"offset", "angle", "length"}),
        (("offset",), {"offset", "length"}),
        (("angle",), {"angle", "length"}),
    ],
)
def test_too_few_are_named(missing, fields):
    assert set(refused(**dict.fromkeys(missing))) == fields


def test_length_does_not_tell_the_offset_of_square_bends():
    assert set(refused(offset=None, angle=90, length=30)) == {"offset"}


# -- what cannot be made


def test_an_offset_smaller_than_its_two_bends_names_the_least():
    # 2 R (1 − cos 45°) = 24 × 0.292893 = 7.0294
    wrong = refused(offset=7)["offset"]
    assert (wrong.value, wrong.limit) == (7, "at least 7.0294 in")
    assert offset(offset=24 * (1 - math.cos(math.pi / 4))).dimensions["straight_between"] == pytest.approx(0)
    # with a roll of 5 the offset itself can be less: √(7.0294² − 5²) = 4.9410
    assert refused(offset=4.9, roll=5)["offset"].limit == "at least 4.941 in"
    assert offset(offset=4.942, roll=5)


def test_a_length_too_short_for_offset_and_radius_names_the_least():
    # h ≤ 2R: √(h (4R − h)) = √(14 × 34) = 21.8174; above 2R: two quarter bends, 2R
    assert refused(angle=None, length=21.81)["length"].limit == "at least 21.8174 in"
    assert offset(angle=None, length=21.8175).dimensions["straight_between"] < 0.1
    assert refused(angle=None, offset=40, length=23.99)["length"].limit == "at least 24 in"
    assert offset(angle=None, offset=40, length=24).dimensions["angle"] == pytest.approx(90)
    # 2R sin 45° = 16.9706
    assert refused(offset=None, length=16.9)["length"].limit == "at least 16.9706 in"


def test_a_roll_larger_than_the_true_offset_is_refused():
    assert refused(offset=None, length=23.9411, roll=14.1)["roll"].limit.startswith("at most 14 in")
    dev = offset(offset=None, length=23.94113, roll=8.4)
    assert dev.dimensions["offset"] == pytest.approx(11.2, abs=1e-4)  # 14² = 8.4² + 11.2²


def test_throats_that_cross_name_the_radius_as_it_was_given():
    assert set(refused(centerline_radius=3.9)) == {"centerline_radius"}
    assert set(refused(centerline_radius=None, radius_ratio=0.5, thickness=0.02)) == {"radius_ratio"}
    assert set(refused(radius_ratio=1.0)) == {"centerline_radius"}  # 12 in is 1.5 diameters


def test_a_straight_out_of_all_proportion_is_refused():
    assert set(refused(angle=0.5, offset=30)) == {"angle"}


# -- what it says of itself


def test_two_bends_share_one_center_gore():
    for pieces in (2, 3, 5):
        dev = offset(pieces=pieces)
        middle = ["middle_gore"] * (pieces - 2)
        roles = ["end_gore", *middle, "center_gore", *middle, "end_gore"]
        assert [segment.role for segment in dev.segments] == roles
        assert (dev.dimensions["pieces"], dev.dimensions["segments"]) == (pieces, 2 * pieces - 1)


def test_pieces_come_from_the_gore_table_for_the_turn_of_one_bend():
    rows = [GoreRow(45, None, None, "standard", 3), GoreRow(90, None, None, "standard", 5)]
    dev = offset(pieces=None, practice=Practice(gore_rows=rows))
    assert dev.dimensions["pieces"] == 3
    assert dev.dimensions["gore_angle"] == pytest.approx(22.5)


def test_every_element_of_the_center_gore_is_equally_long():
    # 2 R tan α + s: what one bend's cut gives, the other's takes
    center = offset().segments[2]
    length = 24 * math.tan(math.radians(45 / 4)) + 9.8579
    assert (center.throat, center.heel) == pytest.approx((length, length), abs=5e-5)


def test_throat_and_heel_are_those_of_the_first_bend():
    first, *_, last = offset(pieces=3).segments
    short, long = ((12 + k * 4) * math.tan(math.radians(11.25)) for k in (-1, 1))
    assert (first.throat, first.heel) == pytest.approx((short, long))
    assert (last.throat, last.heel) == pytest.approx((long, short))


@pytest.mark.parametrize(("seam", "at"), [("throat", 0), ("side", math.pi / 2), ("heel", math.pi)])
def test_seams_lie_in_one_line_or_are_staggered(seam, at):
    dev = offset(seam_at=seam)
    assert [segment.start_angle for segment in dev.segments] == pytest.approx([at] * 5)
    staggered = offset(seam_at=seam, stagger_seams=True).segments
    turns = [abs(b.start_angle - a.start_angle) for a, b in zip(staggered[:-1], staggered[1:], strict=True)]
    assert turns == pytest.approx([math.pi] * 4)


def test_equal_middle_gores_share_a_pattern():
    keys = [segment.pattern for segment in offset(pieces=5).segments]
    assert len(set(keys[1:4])) == 1 and len(set(keys[5:8])) == 1
    side = [segment.pattern for segment in offset(pieces=5, seam_at="side").segments]
    assert len(set(side[1:4])) == 1


def test_free_ends_and_warnings():
    usual = [
        UsualRange("offset", "offset_angle", None, 60, "Steep."),
        UsualRange("offset", "throat_length", 1, None, "Short."),
        UsualRange("offset", "straight_between", 4, None, "Short straight."),
    ]
    dev = offset(angle=90, offset=40, pieces=5, practice=Practice(usual=usual))
    assert [(end.end, end.segment, end.diameter) for end in dev.free_ends] == [("a", 1, 8), ("b", 9, 8)]
    assert [warned.code for warned in dev.warnings] == ["offset_angle_high"]
    # middle gores at the throat: 2 (12 − 4) tan 0.5° = 0.14 in
    codes = [w.code for w in offset(angle=4, pieces=3, practice=Practice(usual=usual)).warnings]
    assert codes == ["throat_length_low"]


# -- independent mesh, and the whole range

MESHED = [
    {},
    {"pieces": 2, "angle": 30},
    {"pieces": 7, "angle": 90, "offset": 30},
    {"diameter": 40, "centerline_radius": 60, "offset": 50, "pieces": 4},
    {"angle": None, "length": 30, "roll": 6},
    {"offset": 24 * (1 - math.cos(math.pi / 4))},
]


@pytest.mark.parametrize("case", MESHED)
def test_area_and_edges_equal_those_of_a_mesh(case):
    dev = offset(thickness=0.0276, **case)
    truth = truth_of(dev, 0.0276)
    area = 0.0
    for k, segment in enumerate(dev.segments):
        low, high = truth.ring(k, k), truth.ring(k, k + 1)
        own = triangles_area(low, high)
        assert segment.net_area == pytest.approx(own, rel=1e-3)
        assert length_of(segment.edge_a) == pytest.approx(length_of(low), rel=1e-3)
        assert length_of(segment.edge_b) == pytest.approx(length_of(high), rel=1e-3)
        area += own
    assert dev.net_area == pytest.approx(area, rel=1e-3)
    joints = sum(length_of(truth.ring(k, k + 1)) for k in range(len(dev.segments) - 1))
    assert dev.joint_length == pytest.approx(joints, rel=1e-3)
    end = truth.points[-1]
    found = dev.dimensions
    assert (end[0], end[2]) == pytest.approx((found["true_offset"], found["length"]))


def assert_true(dev, sheet):
    """Formed and placed, every segment lies on its cylinder and ends in the miter planes that it shares."""
    truth = truth_of(dev, sheet.thickness_in)
    last = len(dev.segments) - 1
    for k, segment in enumerate(dev.segments):
        scale = 1e-9 * (1 + np.abs(truth.points).max())
        points = placed(dev, k + 1, segment.net_outline) - truth.points[k]
        off_axis = np.linalg.norm(np.cross(points, truth.ahead[k]), axis=1)
        assert off_axis == pytest.approx(truth.mean_radius, abs=scale)
        for joint, edge in ((k, segment.edge_a), (k + 1, segment.edge_b)):
            off_plane = (placed(dev, k + 1, edge) - truth.points[joint]) @ truth.normals[joint]
            assert np.abs(off_plane).max() < scale
        if k < last:
            after = dev.segments[k + 1]
            assert length_of(segment.edge_b) == pytest.approx(length_of(after.edge_a), abs=1e-6)
            here = placed(dev, k + 1, segment.edge_b)[:-1]
            there = placed(dev, k + 2, after.edge_a)[:-1]
            if segment.start_angle != after.start_angle:  # staggered by half a turn
                there = np.roll(there, len(there) // 2, axis=0)
            assert np.linalg.norm(here - there, axis=1).max() < WITHIN


def assert_fine(dev, truth):
    """No point of the true miter edge, flat, is farther than 0.005 in from the pattern's own."""
    for segment in once_each(dev):
        k = segment.position - 1
        ahead = truth.ahead[k]
        aside = np.array([ahead[2], 0.0, -ahead[0]])
        rings = [truth.ring(k, joint, 360) - truth.points[k] for joint in (k, k + 1)]
        lowest = min((ring @ ahead).min() for ring in rings)  # there y = 0
        for joint, ring, edge in zip((k, k + 1), rings, (segment.edge_a, segment.edge_b), strict=True):
            if joint in (0, len(dev.segments)):
                continue  # a straight line
            x = truth.mean_radius * ((np.arctan2(ring[:, 1], ring @ aside) - segment.start_angle) % math.tau)
            line = shapely.LineString(edge)
            assert shapely.distance(line, shapely.points(x, ring @ ahead - lowest)).max() < WITHIN


PARAMS = st.builds(
    lambda diameter, ratio, angle, straight, pair, pieces, roll, seam, stagger: {
        "diameter": diameter,
        "ratio": ratio,
        "angle": angle,
        "straight": straight,
        "pair": pair,
        "pieces": pieces,
        "roll": roll,
        "seam_at": seam,
        "stagger_seams": stagger,
    },
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.5, 10), st.floats(0.75, 2.5)),
    st.one_of(st.floats(0.1, 90), st.sampled_from([15, 30, 45, 60, 90])),
    st.one_of(st.floats(-20, 200), st.just(0.0), st.floats(0, 30)),
    st.sampled_from([("offset", "angle"), ("offset", "length"), ("length", "angle")]),
    st.one_of(st.integers(2, 4), st.integers(2, 4), st.integers(5, 9)),
    st.one_of(st.just(0.0), st.floats(0, 20)),
    st.sampled_from(["throat", "heel", "side"]),
    st.booleans(),
)


@settings(max_examples=cases(500), deadline=None, derandomize=True)
@given(PARAMS, SHEETS, ALLOWANCES)
@example(
    {
        "diameter": 120.0,
        "ratio": 0.6,
        "angle": 90.0,
        "straight": 0.0,
        "pair": ("offset", "length"),
        "pieces": 30,
        "roll": 0.0,
        "seam_at": "side",
        "stagger_seams": True,
    },
    Sheet("galvanized", 24, 0.0276, 1.156, 120, 60),
    Allowances(lap=0.5, edge_a=0.25, edge_b=0.375),
)
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(drawn, sheet, allowances):
    turn, radius = math.radians(drawn["angle"]), drawn["ratio"] * drawn["diameter"]
    straight = drawn["straight"]
    three = {
        "offset": 2 * radius * (1 - math.cos(turn)) + straight * math.sin(turn),
        "angle": drawn["angle"],
        "length": 2 * radius * math.sin(turn) + straight * math.cos(turn),
    }
    params = {name: three[name] for name in drawn["pair"]} | {
        "radius_ratio": drawn["ratio"],
        **{name: drawn[name] for name in ("diameter", "pieces", "roll", "seam_at", "stagger_seams")},
    }
    try:
        dev = develop("offset", params, sheet=sheet, allowances=allowances, practice=Practice())
    except GeometryError as error:
        assert {problem.field for problem in error.problems} <= FIELDS
        assert all(problem.limit in problem.sentence for problem in error.problems)
        return
    assert straight > -1e-6 or "angle" not in drawn["pair"]  # what overlaps is never developed
    found = dev.dimensions
    if (not drawn["roll"] or "offset" not in drawn["pair"]) and straight >= 0:
        assert found["straight_between"] == pytest.approx(straight, abs=1e-3)
    for name in drawn["pair"]:
        assert found[name] == pytest.approx(three[name], rel=1e-9, abs=1e-6)
    assert found["true_offset"] == pytest.approx(math.hypot(found["offset"], found["roll"]))
    assert_sound(dev, sheet, allowances)
    assert_true(dev, sheet)
    assert_fine(dev, truth_of(dev, sheet.thickness_in))


# -- bad parameters


@pytest.mark.parametrize(("name", "value", "may_be_accepted"), bounds_to_try(KINDS["offset"]))
def test_values_at_and_beside_every_bound(name, value, may_be_accepted):
    base = {"centerline_radius": None} if name == "radius_ratio" else {}
    base |= {"offset": None} if name == "length" else {}

    def make(**given_):
        return offset(**(base | given_))

    assert_bound(make, KINDS["offset"], name, value, may_be_accepted)


def test_bounds_that_fit_together_are_accepted():
    assert offset(diameter=120, centerline_radius=80, angle=90, offset=240, roll=240, pieces=30)
    assert offset(diameter=1, centerline_radius=10, angle=90, offset=20)
    assert offset(angle=None, length=240)


def test_unknown_and_missing_fields_are_named():
    with pytest.raises(ParameterError) as error:
        develop(
            "offset",
            {"shift": 3, "angle": 45},
            sheet=Sheet("galvanized", 24, THIN, 1.0),
            allowances=Allowances(),
            practice=Practice(),
        )
    assert {problem.field for problem in error.value.problems} == {"shift", "diameter"}

"""Tees and laterals against derived figures, an independent mesh, and over the whole parameter range.

`branch_truth.py` finds the joint by bisection on implicit surfaces. Derivations: fixtures/authorities/tee.md.
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
    ParameterError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    placed,
)
from tests.cases import cases

from .branch_truth import BranchTruth
from .conftest import AUTHORITIES, THIN
from .soundness import (
    ALLOWANCES,
    MEETS,
    SHEETS,
    WITHIN,
    assert_bound,
    assert_sound,
    bounds_to_try,
    finer,
    length_of,
    to_polyline,
    triangles_area,
)

FOUND = json.loads((AUTHORITIES / "tee.json").read_text(encoding="utf-8"))
CASE = {case["id"]: case for part in ("methods", "derived_cases") for case in FOUND[part]}
USUAL = {"diameter": 10, "branch_diameter": 6, "length": 24, "branch_length": 14}
FIELDS = {param.name for param in KINDS["tee"].params}


def tee(*, thickness=THIN, allowances=None, stock=(None, None), practice=None, unit="in", **params):
    return develop(
        "tee",
        USUAL | params,
        sheet=Sheet("galvanized", 24, thickness, 1.156, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


def refused(**params):
    with pytest.raises(GeometryError) as error:
        tee(**params)
    return {problem.field: problem for problem in error.value.problems}


def truth_of(dev, thickness=THIN):
    found = dev.dimensions
    return BranchTruth(
        main_radius=(found["diameter"] + thickness) / 2,
        branch_radius=(found["branch_diameter"] + thickness) / 2,
        angle_deg=found["angle"],
        offset=found["branch_offset"],
        at=found["branch_at"],
    )


def distance_from_run_axis(dev, t):
    """Along the branch's axis, read off the pattern at angles from the crotch."""
    branch, free = dev.segments[1], dev.dimensions["branch_length"]
    radius = branch.surface.radius
    x = radius * ((t - branch.start_angle) % math.tau)
    top = branch.edge_b[0, 1]
    return free - (top - np.interp(x, *branch.edge_a.T))


SIXTEEN = np.arange(17) * math.tau / 16


# -- derived figures


@pytest.mark.authority
@pytest.mark.parametrize(
    ("name", "key"),
    [
        ("d-tee-equal-6", "distance_from_header_axis_16_lines"),
        ("d-tee-10-4", "distance_from_header_axis_16_lines"),
        ("d-lateral-10-6-45", "distance_along_branch_from_axis_crossing_16_lines"),
    ],
)
def test_sixteen_lines_derived_from_the_printed_rule(name, key):
    case = CASE[name]
    dev = tee(**case["inputs"], length=40, branch_length=20)
    assert distance_from_run_axis(dev, SIXTEEN) == pytest.approx(case["values"][key], abs=0.00006)
    if "saddle_depth" in case["values"]:
        depth = case["values"]["saddle_depth"]
        assert dev.dimensions["saddle_depth"] == pytest.approx(depth, abs=0.00006)


@pytest.mark.authority
def test_joint_of_an_equal_tee_is_two_straight_lines_at_45_degrees():
    assert "two straight lines at 45 degrees" in CASE["tee-equal-90"]["rule"]
    dev = tee(diameter=6, branch_diameter=6, length=16)
    joint = placed(dev, 2, dev.segments[1].edge_a)
    # seen from the side: as far out as from the crossing of the axes along the run
    assert joint[:, 0] == pytest.approx(np.abs(joint[:, 2] - 8), abs=1e-9)
    assert distance_from_run_axis(dev, SIXTEEN) == pytest.approx(3 * np.abs(np.cos(SIXTEEN)), abs=1e-9)


@pytest.mark.authority
@pytest.mark.parametrize("angle", [30, 45, 60, 75, 90])
def test_branch_follows_the_formula_of_the_construction(angle):
    assert "sqrt(R^2 - r^2 sin^2 t) + r cos t cos b" in CASE["branch-unequal"]["formula"]
    b, main, branch = math.radians(angle), 5.0, 3.0
    dev = tee(angle=angle, length=60, branch_length=30)
    expected = (
        np.sqrt(main**2 - (branch * np.sin(SIXTEEN)) ** 2) + branch * np.cos(SIXTEEN) * math.cos(b)
    ) / math.sin(b)
    assert distance_from_run_axis(dev, SIXTEEN) == pytest.approx(expected, abs=1e-8)


# -- what it says of itself


def test_a_run_with_its_hole_and_a_branch():
    dev = tee(thickness=0.0276)
    run, branch = dev.segments
    assert [segment.role for segment in dev.segments] == ["run", "branch"]
    assert [len(segment.holes) for segment in dev.segments] == [1, 0]
    assert (run.seam_at, branch.seam_at) == ("heel", "heel")
    ends = [(end.end, end.title, end.diameter, end.segment) for end in dev.free_ends]
    assert ends == [("a", "Run end A", 10, 1), ("b", "Run end B", 10, 1), ("c", "Branch", 6, 2)]
    around = [math.pi * inside for inside in (10.0276, 10.0276, 6.0276)]
    assert [end.edge_length for end in dev.free_ends] == pytest.approx(around)


def test_dimensions_are_inside_dimensions():
    found = tee(angle=90, branch_at=10).dimensions
    # 90°: the hole is as long as the branch is wide; 2 × 5 asin(3/5) round; 5 − √(5² − 3²) = 1 deep
    expected = {
        "diameter": 10,
        "branch_diameter": 6,
        "angle": 90,
        "length": 24,
        "branch_length": 14,
        "branch_offset": 0,
        "branch_at": 10,
        "saddle_depth": 1,
        "shortest_branch_side": 9,
        "longest_branch_side": 10,
        "hole_length": 6,
        "hole_width": 10 * math.asin(0.6),
        "end_a_to_hole": 7,
        "end_b_to_hole": 11,
    }
    assert {name: found[name] for name in expected} == pytest.approx(expected)
    assert tee().dimensions["branch_at"] == 12


def test_lateral_leans_towards_end_b_and_crotch_is_its_throat():
    dev = tee(angle=45, length=40, branch_length=20)
    branch = dev.segments[1]
    assert branch.throat < branch.heel
    end = placed(dev, 2, branch.edge_b)[:-1].mean(axis=0)
    assert end == pytest.approx([20 / math.sqrt(2), 0, 20 + 20 / math.sqrt(2)])
    crotch = [mark for mark in branch.marks if mark.name == "throat"][0]
    assert placed(dev, 2, crotch.line)[0, 2] == pytest.approx(
        20 + dev.dimensions["hole_length"] - (20 - dev.dimensions["end_a_to_hole"])
    )


def test_off_center_branch_lies_towards_plus_y():
    dev = tee(branch_offset=1.5)
    end = placed(dev, 2, dev.segments[1].edge_b)[:-1].mean(axis=0)
    assert end == pytest.approx([14, 1.5, 12])
    mirrored = tee(branch_offset=-1.5)
    assert mirrored.net_area == pytest.approx(dev.net_area)
    assert mirrored.dimensions["saddle_depth"] == pytest.approx(dev.dimensions["saddle_depth"])


def test_allowances_go_to_the_joint_and_to_three_free_ends():
    dev = tee(allowances=Allowances(lap=0.5, edge_a=0.25, edge_b=9 / 16, end_a=1, end_b=2, end_c=0.75))
    run, branch = dev.segments
    assert run.blank.height == pytest.approx(24 + 1 + 2)
    # 10 − lowest of the cut, and a band of 1/4 in square to an edge that is level at its lowest
    assert branch.blank.height == pytest.approx(10 + 0.25 + 0.75, abs=0.002)


def test_marks_of_the_run_stop_at_the_hole():
    run = tee().segments[0]
    throat = sorted((mark.line for mark in run.marks if mark.name == "throat"), key=lambda line: line[0, 1])
    ends = [(line[0, 1], line[1, 1]) for line in throat]
    assert ends == [pytest.approx((0, 9)), pytest.approx((15, 24))]


def test_usual_ranges_speak_of_the_branch():
    usual = [
        UsualRange("tee", "branch_angle", 30, None, "Flat."),
        UsualRange("tee", "branch_ratio", 0.2, None, "Small."),
    ]
    dev = tee(angle=20, branch_diameter=1, length=40, branch_length=30, practice=Practice(usual=usual))
    assert {warned.code for warned in dev.warnings} == {"branch_angle_low", "branch_ratio_low"}


# -- what cannot be made


def test_a_branch_larger_than_the_run_is_refused():
    wrong = refused(branch_diameter=10.1)["branch_diameter"]
    assert (wrong.value, wrong.limit) == (10.1, "at most 10 in")


def test_a_branch_past_the_side_of_the_run_is_refused():
    # (10 − 6) / 2
    for value in (2.001, -2.001):
        wrong = refused(branch_offset=value)["branch_offset"]
        assert (wrong.value, wrong.limit) == (value, "-2 to 2 in")
    for value in (2, -2):
        assert tee(branch_offset=value, thickness=0.0276)


def test_a_branch_shorter_than_its_cut_is_refused():
    # at 45° the cut reaches (5 + 3 cos 45°) / sin 45° = 10.0711
    wrong = refused(angle=45, length=40, branch_length=10)["branch_length"]
    assert (wrong.value, wrong.limit) == (10, "more than 10.0711 in")
    assert tee(angle=45, length=40, branch_length=10.08)


def test_a_hole_over_the_end_of_the_run_is_refused():
    # at 45° the hole reaches (5 cos 45° + 3) / sin 45° = 9.2426 towards end B, (5 cos 45° − 3) / sin 45° = 0.7574 from
    # the crossing on the other side; the run must be twice 9.2426 long for the crossing to be in its middle
    wrong = refused(angle=45, length=18.4, branch_length=20)["length"]
    assert (wrong.value, wrong.limit) == (18.4, "more than 18.4853 in")
    assert tee(angle=45, length=18.49, branch_length=20)
    wrong = refused(angle=45, length=18.4, branch_length=20, branch_at=9.2)["branch_at"]
    assert wrong.limit == "more than -0.7574 and less than 9.1574 in"
    assert tee(angle=45, length=18.4, branch_length=20, branch_at=9)
    assert set(refused(angle=90, length=6, branch_at=3)) == {"length"}


def test_limits_speak_the_unit_that_was_asked():
    wrong = refused(diameter=254, branch_diameter=152.4, length=700, branch_length=100, unit="mm")[
        "branch_length"
    ]
    assert (wrong.value, wrong.limit) == (pytest.approx(100), "more than 127 mm")


# -- plates


@pytest.mark.parametrize(
    ("diameter", "branch", "plates"), [(40, 20, 2), (60, 24, 2), (100, 40, 3), (120, 30, 4)]
)
def test_a_hole_that_fits_in_a_plate_stays_whole(diameter, branch, plates):
    dev = tee(
        diameter=diameter,
        branch_diameter=branch,
        length=50,
        branch_length=80,
        stock=(120, 60),
        thickness=0.03,
    )
    run = dev.segments[0]
    assert len(run.plates) == plates
    assert sorted(len(plate.holes) for plate in run.plates) == [0] * (plates - 1) + [1]
    assert_plates_are_the_run(dev)


@pytest.mark.parametrize("diameter", [40, 60, 100, 120])
@pytest.mark.parametrize("stock", [(120, 60), (60, 60), (48, 48)])
@pytest.mark.parametrize("offset", [0, 0.3])
def test_a_hole_half_way_round_is_shared_out_and_nothing_is_lost(diameter, stock, offset):
    dev = tee(
        diameter=diameter,
        branch_diameter=diameter * (1 - offset),
        branch_offset=diameter * offset / 2,
        length=1.5 * diameter,
        branch_length=diameter,
        stock=stock,
        thickness=0.03,
        allowances=Allowances(lap=0.5, edge_a=0.25, edge_b=0.25),
    )
    assert_plates_are_the_run(dev)


def assert_plates_are_the_run(dev):
    run = dev.segments[0]
    assert sum(plate.net_area for plate in run.plates) == pytest.approx(run.net_area, rel=1e-6)
    whole = shapely.Polygon(run.net_outline, holes=run.holes)
    moved = [
        shapely.affinity.translate(shapely.Polygon(plate.net_outline, holes=plate.holes), plate.x_from)
        for plate in run.plates
    ]
    assert shapely.union_all(moved).symmetric_difference(whole).area < 1e-3 * whole.area
    assert sum(one.area for one in moved) == pytest.approx(whole.area, rel=1e-6)  # no two overlap
    for plate in run.plates:
        outline = shapely.Polygon(plate.cut_outline)
        assert outline.is_valid
        # the lap of a plate leaves the hole open too
        hole = shapely.affinity.translate(shapely.Polygon(run.holes[0]), -plate.x_from)
        covered = shapely.Polygon(plate.cut_outline, holes=plate.holes).intersection(hole)
        assert covered.area < 1e-3


# -- independent mesh, and the whole range

MESHED = [
    {},
    {"branch_diameter": 10, "branch_length": 12},
    {"angle": 45, "length": 40, "branch_length": 20},
    {"angle": 30, "length": 60, "branch_length": 40, "branch_diameter": 10},
    {"branch_offset": 1.5, "angle": 60, "length": 40, "branch_length": 20},
    {"branch_offset": -2},
    {"branch_diameter": 9.99, "branch_length": 12},
    {"diameter": 60, "branch_diameter": 40, "length": 80, "branch_length": 60, "angle": 75},
    {"branch_diameter": 1, "angle": 90, "branch_length": 6},
]


@pytest.mark.parametrize("case", MESHED)
def test_areas_and_edges_equal_those_of_a_mesh(case):
    thickness = 0.0276
    dev = tee(thickness=thickness, **case)
    truth, found = truth_of(dev, thickness), dev.dimensions
    run, branch = dev.segments
    t = np.linspace(0, math.tau, 5761)
    joint = truth.on_branch(t, truth.along_branch(t))
    free = truth.on_branch(t, np.full(len(t), found["branch_length"]))
    assert branch.net_area == pytest.approx(triangles_area(joint, free), rel=1e-3)
    assert length_of(branch.edge_a) == pytest.approx(length_of(joint), rel=1e-3)
    assert dev.joint_length == pytest.approx(length_of(joint), rel=1e-3)
    whole = math.tau * truth.main_radius * found["length"]
    hole = truth.hole_area()
    chords = 0.002 * length_of(joint)  # in², what chords 0.002 in inside the curve leave out
    assert shapely.Polygon(run.holes[0]).area == pytest.approx(hole, rel=1e-3, abs=chords)
    assert run.net_area == pytest.approx(whole - hole, rel=1e-3)
    assert found["hole_length"] == pytest.approx(np.ptp(joint[:, 2]), rel=1e-4)
    assert found["saddle_depth"] == pytest.approx(np.ptp((joint - truth.start) @ truth.axis), rel=1e-4)
    width = truth.main_radius * np.ptp(np.arctan2(joint[:, 1], joint[:, 0]))
    assert found["hole_width"] == pytest.approx(width, rel=1e-4)


def assert_true(dev, thickness):
    """Hole and branch edge lie on both surfaces, on the true joint, are equally long, and meet."""
    truth = truth_of(dev, thickness)
    run, branch = dev.segments
    near = 1e-9 * (1 + truth.main_radius + dev.dimensions["length"])
    ring = np.vstack([run.holes[0], run.holes[0][:1]])
    hole, edge = placed(dev, 1, finer(ring)), placed(dev, 2, finer(branch.edge_a))
    for points in (placed(dev, 1, ring), placed(dev, 2, branch.edge_a)):
        assert np.abs(truth.off_main(points)).max() < near
        assert np.abs(truth.off_branch(points)).max() < 1e-6
        assert (points[:, 0] > -near).all()
    assert to_polyline(edge[::17], hole).max() < MEETS
    assert length_of(branch.edge_a) == pytest.approx(length_of(ring), abs=MEETS)
    assert np.abs(truth.off_main(placed(dev, 1, run.net_outline))).max() < near
    assert np.abs(truth.off_branch(placed(dev, 2, branch.net_outline))).max() < 1e-6
    beyond = (placed(dev, 2, branch.edge_b) - truth.start) @ truth.axis
    assert beyond == pytest.approx(dev.dimensions["branch_length"])
    assert_fine(dev, truth)


def assert_fine(dev, truth):
    """No point of the true joint, laid flat on the branch or on the run, is farther than 0.005 in from the pattern."""
    run, branch = dev.segments
    t = np.linspace(0, math.tau, 361)
    along = truth.along_branch(t)
    joint = truth.on_branch(t, along)
    x = truth.branch_radius * ((t - branch.start_angle) % math.tau)
    edge = shapely.LineString(branch.edge_a - [0, branch.edge_b[0, 1]])
    on_branch = shapely.points(x, along - dev.dimensions["branch_length"])
    assert shapely.distance(edge, on_branch).max() < WITHIN
    phi = np.arctan2(joint[:, 1], joint[:, 0])
    on_run = shapely.points(truth.main_radius * ((phi - run.start_angle) % math.tau), joint[:, 2])
    assert shapely.distance(shapely.LinearRing(run.holes[0]), on_run).max() < WITHIN


PARAMS = st.builds(
    lambda diameter, ratio, angle, sideways, run, branch, at: {
        "diameter": diameter,
        "branch_diameter": min(diameter, max(1.0, diameter * ratio)),
        "angle": angle,
        "branch_offset": sideways * (diameter - min(diameter, max(1.0, diameter * ratio))) / 2,
        "length": min(240.0, diameter * run),
        "branch_length": min(240.0, diameter * branch),
        **({} if at is None else {"branch_at": at * min(240.0, diameter * run)}),
    },
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.1, 1), st.just(1.0), st.floats(0.99, 1), st.floats(0.3, 0.8)),
    st.one_of(st.floats(10, 90), st.sampled_from([30, 45, 60, 90]), st.floats(45, 90)),
    st.one_of(st.just(0.0), st.floats(-1, 1), st.sampled_from([-1.0, 1.0, 0.999, -1.2])),
    st.one_of(st.floats(0.2, 6), st.floats(2, 5)),
    st.one_of(st.floats(0.3, 6), st.floats(1.5, 4)),
    st.one_of(st.none(), st.floats(0.2, 0.6)),
)


@settings(max_examples=cases(500), deadline=None, derandomize=True)
@given(PARAMS, SHEETS, ALLOWANCES)
@example(
    {"diameter": 120, "branch_diameter": 120, "length": 180, "branch_length": 120},
    Sheet("galvanized", 24, 0.05, 1.156, 48, 48),
    Allowances(lap=6, edge_a=0.25, edge_b=0.375),
)
@example(
    {"diameter": 12, "branch_diameter": 12, "angle": 10, "length": 240, "branch_length": 120},
    Sheet("galvanized", 24, 0.0276, 1.156, 120, 60),
    Allowances(lap=0.5, edge_a=0.25, edge_b=0.375, end_c=2),
)
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(params, sheet, allowances):
    try:
        dev = develop("tee", params, sheet=sheet, allowances=allowances, practice=Practice())
    except GeometryError as error:
        assert {problem.field for problem in error.problems} <= FIELDS
        assert all(problem.limit in problem.sentence for problem in error.problems)
        return
    for name in params:
        assert dev.dimensions[name] == pytest.approx(params[name])
    assert_sound(dev, sheet, allowances)
    assert_true(dev, sheet.thickness_in)


# -- bad parameters


@pytest.mark.parametrize(("name", "value", "may_be_accepted"), bounds_to_try(KINDS["tee"]))
def test_values_at_and_beside_every_bound(name, value, may_be_accepted):
    assert_bound(tee, KINDS["tee"], name, value, may_be_accepted)


def test_bounds_that_fit_together_are_accepted():
    assert tee(diameter=120, branch_diameter=120, length=240, branch_length=240)
    assert tee(diameter=1, branch_diameter=1, length=12, branch_length=12, angle=10)


def test_unknown_and_missing_fields_are_named():
    with pytest.raises(ParameterError) as error:
        develop(
            "tee",
            {"branch": 3},
            sheet=Sheet("galvanized", 24, THIN, 1.0),
            allowances=Allowances(),
            practice=Practice(),
        )
    fields = [problem.field for problem in error.value.problems]
    assert fields == ["branch", "diameter", "branch_diameter", "length", "branch_length"]

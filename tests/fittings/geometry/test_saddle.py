"""Saddles against a derived figure, an independent mesh, and over the whole parameter range.

`branch_truth.py` finds the edge by bisection on implicit surfaces. Derivations: fixtures/authorities/saddle.md.
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
    SHEETS,
    WITHIN,
    assert_bound,
    assert_sound,
    bounds_to_try,
    length_of,
    triangles_area,
)

FOUND = json.loads((AUTHORITIES / "saddle.json").read_text(encoding="utf-8"))
CASE = {case["id"]: case for part in ("methods", "derived_cases") for case in FOUND[part]}
USUAL = {"diameter": 10, "branch_diameter": 6, "branch_length": 14}
FIELDS = {param.name for param in KINDS["saddle"].params}
THICK = 0.1  # in; so thick that outside, mean and inside surfaces cannot be taken for each other


def saddle(*, thickness=THIN, allowances=None, stock=(None, None), practice=None, unit="in", **params):
    return develop(
        "saddle",
        USUAL | params,
        sheet=Sheet("galvanized", 24, thickness, 1.156, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


def refused(**params):
    with pytest.raises(GeometryError) as error:
        saddle(**params)
    return {problem.field: problem for problem in error.value.problems}


def truth_of(dev, thickness=THIN):
    """The outside of the main and the mean surface of the branch."""
    found = dev.dimensions
    return BranchTruth(
        main_radius=found["diameter"] / 2 + thickness,
        branch_radius=(found["branch_diameter"] + thickness) / 2,
        angle_deg=found["angle"],
        offset=found["branch_offset"],
    )


@pytest.mark.authority
def test_saddle_depth_derived_from_the_printed_construction():
    case = CASE["d-saddle-6.625-4.5"]
    found = saddle(**case["inputs"]).dimensions
    assert found["saddle_depth"] == pytest.approx(case["values"]["saddle_depth"], abs=0.00006)


@pytest.mark.authority
def test_branch_follows_the_formula_of_the_construction_on_the_outside_of_the_main():
    assert "sqrt(R^2 - r^2 sin^2 t) + r cos t cos b" in CASE["branch-unequal"]["formula"]
    dev = saddle(angle=60, branch_length=20, thickness=THICK)
    segment = dev.segments[0]
    main, branch, b = 5 + THICK, 3 + THICK / 2, math.radians(60)
    t = np.arange(17) * math.tau / 16
    expected = np.sqrt(main**2 - (branch * np.sin(t)) ** 2) + branch * np.cos(t) * math.cos(b)
    x = branch * ((t - segment.start_angle) % math.tau)
    reached = 20 - (segment.edge_b[0, 1] - np.interp(x, *segment.edge_a.T))
    assert reached == pytest.approx(expected / math.sin(b), abs=1e-8)


def test_one_branch_with_one_free_round_end():
    dev = saddle(thickness=0.0276)
    assert [(segment.role, segment.form) for segment in dev.segments] == [("branch", "cylinder")]
    assert [(end.end, end.title, end.diameter, end.segment) for end in dev.free_ends] == [
        ("b", "Branch end", 6, 1)
    ]
    assert KINDS["saddle"].ends == (("a", "Saddle edge"), ("b", "Branch end"))
    assert dev.free_ends[0].edge_length == pytest.approx(6.0276 * math.pi)
    assert dev.joint_length == 0


def test_dimensions_and_the_hole_of_the_main():
    found = saddle(thickness=THICK).dimensions
    main, branch = 5 + THICK, 3 + THICK / 2
    expected = {
        "diameter": 10,
        "branch_diameter": 6,
        "main_outside_diameter": 10.2,
        "angle": 90,
        "branch_length": 14,
        "branch_offset": 0,
        "saddle_depth": main - math.sqrt(main**2 - branch**2),
        "shortest_branch_side": 14 - main,
        "hole_length": 2 * branch,
        "hole_width": 2 * main * math.asin(branch / main),
    }
    assert {name: found[name] for name in expected} == pytest.approx(expected)


def test_saddle_edge_has_the_allowance_of_end_a_and_the_other_that_of_end_b():
    given_ = Allowances(lap=0.5, edge_a=0.25, edge_b=9 / 16, end_a=1, end_b=2)
    blank = saddle(allowances=given_).segments[0].blank
    # 14 − √(5² − 3²) = 10 at the longest side, where the edge is level
    assert blank.height == pytest.approx(10 + 1 + 2, abs=0.002)


def test_usual_ranges_speak_of_the_branch():
    usual = [UsualRange("saddle", "branch_angle", 30, None, "Flat.")]
    dev = saddle(angle=20, branch_length=30, practice=Practice(usual=usual))
    assert [warned.code for warned in dev.warnings] == ["branch_angle_low"]


def test_branches_that_do_not_fit_on_the_main_are_refused():
    # outside radius 5.1 and mean radius (d + 0.1) / 2: d at most 10.1; 6 in: 5.1 − 3.05 = 2.05 off center
    wrong = refused(branch_diameter=10.11, thickness=THICK)["branch_diameter"]
    assert (wrong.value, wrong.limit) == (10.11, "at most 10.1 in")
    assert saddle(branch_diameter=10.1, thickness=THICK)
    wrong = refused(branch_offset=2.06, thickness=THICK)["branch_offset"]
    assert (wrong.value, wrong.limit) == (2.06, "-2.05 to 2.05 in")
    assert saddle(branch_offset=-2.05, thickness=THICK)
    wrong = refused(branch_length=5.1, thickness=THICK)["branch_length"]
    assert (wrong.value, wrong.limit) == (5.1, "more than 5.1 in")
    assert saddle(branch_length=5.11, thickness=THICK)


MESHED = [
    {},
    {"branch_diameter": 10, "branch_length": 12},
    {"angle": 45, "branch_length": 20},
    {"angle": 20, "branch_length": 40, "branch_diameter": 9},
    {"branch_offset": 1.9, "angle": 60, "branch_length": 20},
    {"diameter": 60, "branch_diameter": 40, "branch_length": 60, "angle": 75},
]


@pytest.mark.parametrize("case", MESHED)
def test_area_and_edges_equal_those_of_a_mesh(case):
    dev = saddle(thickness=THICK, **case)
    truth, found, segment = truth_of(dev, THICK), dev.dimensions, dev.segments[0]
    t = np.linspace(0, math.tau, 5761)
    edge = truth.on_branch(t, truth.along_branch(t))
    free = truth.on_branch(t, np.full(len(t), found["branch_length"]))
    assert segment.net_area == pytest.approx(triangles_area(edge, free), rel=1e-3)
    assert length_of(segment.edge_a) == pytest.approx(length_of(edge), rel=1e-3)
    assert found["hole_length"] == pytest.approx(np.ptp(edge[:, 2]), rel=1e-4)
    width = truth.main_radius * np.ptp(np.arctan2(edge[:, 1], edge[:, 0]))
    assert found["hole_width"] == pytest.approx(width, rel=1e-4)


def assert_true(dev, thickness):
    """The edge lies on the outside of the main, all else on the branch, and no chord strays from the true edge."""
    truth, segment, length = truth_of(dev, thickness), dev.segments[0], dev.dimensions["branch_length"]
    edge = placed(dev, 1, segment.edge_a)
    assert np.abs(truth.off_main(edge)).max() < 1e-6
    assert (edge[:, 0] > -1e-6).all()
    assert np.abs(truth.off_branch(placed(dev, 1, segment.net_outline))).max() < 1e-6
    assert (placed(dev, 1, segment.edge_b) - truth.start) @ truth.axis == pytest.approx(length)
    t = np.linspace(0, math.tau, 721)
    x = truth.branch_radius * ((t - segment.start_angle) % math.tau)
    flat = shapely.points(x, truth.along_branch(t) - length + segment.edge_b[0, 1])
    assert shapely.distance(shapely.LineString(segment.edge_a), flat).max() < WITHIN


PARAMS = st.builds(
    lambda diameter, ratio, angle, sideways, branch: {
        "diameter": diameter,
        "branch_diameter": min(diameter, max(1.0, diameter * ratio)),
        "angle": angle,
        "branch_offset": sideways * (diameter - min(diameter, max(1.0, diameter * ratio))) / 2,
        "branch_length": min(240.0, diameter * branch),
    },
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.1, 1), st.just(1.0), st.floats(0.99, 1), st.floats(0.3, 0.8)),
    st.one_of(st.floats(10, 90), st.sampled_from([30, 45, 60, 90]), st.floats(45, 90)),
    st.one_of(st.just(0.0), st.floats(-1, 1), st.sampled_from([-1.0, 1.0, 0.999, -1.2])),
    st.one_of(st.floats(0.3, 6), st.floats(1.5, 4)),
)


@settings(max_examples=cases(500), deadline=None, derandomize=True)
@given(PARAMS, SHEETS, ALLOWANCES)
@example(
    {"diameter": 120, "branch_diameter": 120, "angle": 10, "branch_length": 240},
    Sheet("galvanized", 24, 0.05, 1.156, 120, 60),
    Allowances(lap=0.5, end_a=2),
)
@example(
    {"diameter": 12, "branch_diameter": 12, "angle": 10, "branch_length": 120},
    Sheet("galvanized", 24, 0.0276, 1.156, 120, 60),
    Allowances(lap=0.5, end_a=2, end_b=2),
)
@example(
    {"diameter": 1.0, "branch_diameter": 1.0, "angle": 12.0, "branch_offset": 0.0, "branch_length": 6.0},
    Sheet("galvanized", 24, 0.125, 1.156),
    Allowances(lap=1.066390705010682e-280, edge_a=0.0, edge_b=0.0, end_a=1.0),
)
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(params, sheet, allowances):
    try:
        dev = develop("saddle", params, sheet=sheet, allowances=allowances, practice=Practice())
    except GeometryError as error:
        assert {problem.field for problem in error.problems} <= FIELDS
        assert all(problem.limit in problem.sentence for problem in error.problems)
        return
    for name in params:
        assert dev.dimensions[name] == pytest.approx(params[name])
    assert_sound(dev, sheet, allowances)
    assert_true(dev, sheet.thickness_in)


@pytest.mark.parametrize(("name", "value", "may_be_accepted"), bounds_to_try(KINDS["saddle"]))
def test_values_at_and_beside_every_bound(name, value, may_be_accepted):
    assert_bound(saddle, KINDS["saddle"], name, value, may_be_accepted)


def test_unknown_and_missing_fields_are_named():
    with pytest.raises(ParameterError) as error:
        develop(
            "saddle",
            {"length": 3},
            sheet=Sheet("galvanized", 24, THIN, 1.0),
            allowances=Allowances(),
            practice=Practice(),
        )
    fields = [problem.field for problem in error.value.problems]
    assert fields == ["length", "diameter", "branch_diameter", "branch_length"]

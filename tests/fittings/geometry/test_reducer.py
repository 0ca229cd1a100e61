"""Reducers against printed and derived figures, against cones laid flat from first principles, over the whole range."""

import json
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from fittings.geometry import (
    KINDS,
    Allowances,
    CannotBeMade,
    GeometryError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    development_as_dict,
    placed,
)
from tests.cases import cases
from tests.fittings.geometry.cones import assert_laid_flat, finer
from tests.fittings.geometry.conftest import AUTHORITIES, THIN
from tests.fittings.geometry.soundness import (
    ALLOWANCES,
    MEETS,
    SHEETS,
    WITHIN,
    assert_bound,
    assert_sound,
    bounds_to_try,
    length_of,
    to_polyline,
    triangles_area,
)

USUAL = {"diameter_a": 12, "diameter_b": 8, "length": 10}
FOUND = json.loads((AUTHORITIES / "reducer.json").read_text(encoding="utf-8"))
CASES = {case["id"]: case for part in ("printed_cases", "methods", "derived_cases") for case in FOUND[part]}
LAST_PLACE = 0.00006  # derived values carry four decimals


def reducer(*, allowances=None, thickness=THIN, unit="in", practice=None, stock=(None, None), **params):
    return develop(
        "reducer",
        USUAL | params,
        sheet=Sheet("galvanized", 24, thickness, 1.156, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


def cone_of(dev):
    return next(one for one in dev.segments if one.role == "cone")


def rings(params, thickness, start, count=4000):
    """The true edges of the cone in the fitting's frame: two circles, points at the same angles."""
    psi = start + np.linspace(0, 2 * math.pi, count + 1)
    base = params.get("collar_a", 0)
    edges = []
    for end, shift, z in (("a", 0, base), ("b", params.get("offset", 0), base + params["length"])):
        radius = (params[f"diameter_{end}"] + thickness) / 2
        edges.append(
            np.column_stack([shift + radius * np.cos(psi), radius * np.sin(psi), np.full(count + 1, z)])
        )
    return edges


# -- printed figures -----------------------------------------------------------


def test_net_of_a_frustum():
    # "The Net of a Frustum", an open geometry course: see its case
    case = CASES["frustum-net-8-5-4"]
    dev = reducer(**case["inputs"])
    printed, allowed = case["printed"], case["tolerance"]
    for name in ("outer_radius", "inner_radius"):
        assert dev.dimensions[name] == pytest.approx(printed[name], abs=allowed["radius"])
    assert dev.dimensions["sector_angle"] == pytest.approx(printed["sector_angle"], abs=allowed["angle"])
    # and the pattern itself: its seams run to the printed center, their angle is the printed one
    cone = cone_of(dev)
    first, last = (cone.edge_b[k] - cone.edge_a[k] for k in (0, -1))
    turn = math.degrees(math.acos(first @ last / np.linalg.norm(first) / np.linalg.norm(last)))
    assert turn == pytest.approx(printed["sector_angle"], abs=allowed["angle"])
    chord = np.linalg.norm(cone.edge_a[-1] - cone.edge_a[0])
    assert chord / 2 / math.sin(math.radians(turn) / 2) == pytest.approx(
        printed["outer_radius"], abs=allowed["radius"]
    )


def test_side_of_a_flaring_vessel():
    # I. R. Butt, The Tinman's Manual: depth of side is the slant
    case = CASES["flaring-vessel-12-9-8"]
    given_ = case["inputs"]
    height = math.sqrt(given_["slant"] ** 2 - ((given_["diameter_a"] - given_["diameter_b"]) / 2) ** 2)
    dev = reducer(diameter_a=given_["diameter_a"], diameter_b=given_["diameter_b"], length=height)
    assert dev.dimensions["slant"] == pytest.approx(given_["slant"])
    assert dev.dimensions["inner_radius"] == pytest.approx(case["printed"]["inner_radius"], abs=1e-7)


def test_outer_radius_of_a_whole_cone_of_12():
    # "Instructions for constructing a concentric reducer": a cut at any height keeps the outer radius
    case = CASES["reducer-outer-radius-8"]
    whole, diameter = case["inputs"]["full_cone_height"], case["inputs"]["diameter_a"]
    for length in (3, 6, 9):
        dev = reducer(diameter_a=diameter, diameter_b=diameter * (1 - length / whole), length=length)
        assert dev.dimensions["outer_radius"] == pytest.approx(
            case["printed"]["outer_radius"], abs=case["tolerance"]["outer_radius"]
        )


def test_area_of_a_lighthouse():
    # textbook exercise quoted in a mathematics forum; a foot is drawn as an inch
    case = CASES["frustum-area-lighthouse"]
    given_ = case["inputs"]
    dev = reducer(
        diameter_a=given_["diameter_a_ft"], diameter_b=given_["diameter_b_ft"], length=given_["height_ft"]
    )
    assert dev.net_area == pytest.approx(case["printed"]["lateral_area_ft2"], abs=case["tolerance"]["area"])


def test_area_of_a_tin_funnel():
    # textbook exercise; π = 3.14 in the source, so areas are compared over π; in cm, drawn as inches
    case = CASES["funnel-area-10-22"]
    cylinder, frustum = case["inputs"]["cylinder"], case["inputs"]["frustum"]
    dev = reducer(
        diameter_a=frustum["diameter_a_cm"],
        diameter_b=frustum["diameter_b_cm"],
        length=frustum["height_cm"],
        collar_b=cylinder["length_cm"],
    )
    cone, collar = dev.segments
    assert dev.dimensions["slant"] == pytest.approx(case["printed"]["slant_cm"])
    assert cone.net_area / math.pi == pytest.approx(case["printed"]["frustum_area_over_pi"], rel=1e-4)
    with_its_pi = (cone.net_area + collar.net_area) / math.pi * 3.14
    assert with_its_pi == pytest.approx(case["printed"]["total_area_cm2"], rel=1e-4)


def test_curve_surface_in_an_old_arithmetic():
    # 19th-century mensuration with π = 22/7; the fraction of 1611 is lost in the scan
    case = CASES["frustum-area-1800s"]
    given_ = case["inputs"]
    dev = reducer(
        diameter_a=given_["diameter_a_ft"], diameter_b=given_["diameter_b_ft"], length=given_["height_ft"]
    )
    assert dev.net_area / math.pi * 22 / 7 == pytest.approx(1611, abs=case["tolerance"]["area"])


def test_slant_triangle_of_longfield():
    # E. M. Longfield, Sheet Metal Drafting (1921), p. 128: base R − r, altitude the height
    case = CASES["frustum-sample-6-3-3"]
    given_, printed = case["inputs"], case["printed"]
    dev = reducer(diameter_a=given_["diameter_a"], diameter_b=given_["diameter_b"], length=given_["height"])
    assert (given_["diameter_a"] - given_["diameter_b"]) / 2 == printed["triangle_base"]
    slant = math.hypot(printed["triangle_base"], printed["triangle_altitude"])
    assert dev.dimensions["slant"] == pytest.approx(slant)


def test_slope_of_24_degrees():
    # trade forum note (weak source): 6 in on one side takes 13.5 in
    case = CASES["slope-24-rule"]
    reduction, most = case["inputs"]["reduction_one_side"], case["inputs"]["max_slope"]
    length = case["printed"]["min_length"]
    rows = [UsualRange("reducer", "taper_angle", None, most, "Steep.")]
    for params in (
        {"diameter_a": 24, "diameter_b": 24 - 2 * reduction},  # both sides
        {"diameter_a": 24, "diameter_b": 24 - reduction, "offset": reduction / 2},  # all on one side
        {"diameter_a": 24, "diameter_b": 24, "offset": reduction},
    ):
        near = case["tolerance"]["min_length"]
        assert not reducer(**params, length=length + near, practice=Practice(usual=rows)).warnings
        steep = reducer(**params, length=length - near, practice=Practice(usual=rows)).warnings
        assert [warning.code for warning in steep] == ["taper_angle_high"]


# -- derived figures -------------------------------------------------------------


@pytest.mark.parametrize("name", ["d-reducer-12-8-10", "d-flashing-20-8-21"])
@pytest.mark.parametrize("is_turned", [False, True])
def test_figures_derived_from_the_printed_rule(name, is_turned):
    case = CASES[name]
    inputs = dict(case["inputs"])
    if is_turned:  # the smaller end first: the same metal
        inputs["diameter_a"], inputs["diameter_b"] = inputs["diameter_b"], inputs["diameter_a"]
    dev = reducer(**inputs)
    for value in ("slant", "outer_radius", "inner_radius", "sector_angle"):
        assert dev.dimensions[value] == pytest.approx(case["values"][value], abs=LAST_PLACE)
    assert dev.net_area == pytest.approx(case["values"]["net_area"], rel=5e-5)
    cone = cone_of(dev)
    assert (cone.throat, cone.heel) == pytest.approx([case["values"]["slant"]] * 2, abs=LAST_PLACE)


def test_offset_reducer_derived_from_the_rule_of_kidder():
    case = CASES["d-reducer-ecc-12-8-10-2"]
    values = case["values"]
    dev = reducer(**case["inputs"])
    cone = cone_of(dev)
    assert dev.dimensions["apex_height"] == pytest.approx(values["apex_height"])
    assert dev.dimensions["apex_plan_offset"] == pytest.approx(values["apex_plan_offset"])
    assert dev.dimensions["shortest_element"] == pytest.approx(10.0)
    at = placed(dev, 1, cone.edge_a)
    angle = np.arctan2(at[:, 1], at[:, 0])
    rulings = np.hypot(*(cone.edge_b - cone.edge_a).T)
    order = np.argsort(np.cos(angle))
    for k, wanted in enumerate(values["element_lengths_between_ends"]):
        # by the printed formula l² is linear in cos t, which takes one exactly between two kept rulings
        found = np.interp(math.cos(math.radians(30 * k)), np.cos(angle)[order], rulings[order] ** 2)
        assert math.sqrt(found) == pytest.approx(wanted, abs=LAST_PLACE)
    first, last = (cone.edge_b[k] - cone.edge_a[k] for k in (0, -1))
    turn = math.degrees(math.acos(first @ last / np.linalg.norm(first) / np.linalg.norm(last)))
    assert turn == pytest.approx(values["full_flat_angle_deg"], abs=0.0006)


@pytest.mark.parametrize("name", ["oblique-cone", "frustum-formula"])
def test_the_rules_behind_them_are_printed(name):
    assert CASES[name]["certainty"] == "seen in a stored page"


# -- against cones laid flat from first principles -----------------------------------

SHAPES = [
    {},
    {"offset": 2},
    {"offset": 5, "length": 4},
    {"diameter_a": 8, "diameter_b": 12, "offset": 3},
    {"diameter_b": 12, "offset": 4},
    {"diameter_a": 60, "diameter_b": 20, "length": 12, "offset": 10},
    {"diameter_a": 120, "diameter_b": 119, "length": 200},
    {"diameter_a": 2, "diameter_b": 1, "length": 0.5},
]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("thickness", [THIN, 0.0276])
def test_pattern_is_the_true_cone_laid_flat(shape, thickness):
    params = USUAL | shape
    dev = reducer(**params, thickness=thickness)
    cone = cone_of(dev)
    low, high = rings(params, thickness, cone.start_angle)
    assert_laid_flat(cone, low, high, WITHIN)
    assert cone.net_area == pytest.approx(triangles_area(low, high), rel=1e-3)
    assert cone.seam_length == pytest.approx(np.linalg.norm(high[0] - low[0]), abs=1e-6)
    if len(cone.edge_a) == len(cone.edge_b):  # elements keep their length
        here, there = placed(dev, 1, cone.edge_a), placed(dev, 1, cone.edge_b)
        flat = np.hypot(*(cone.edge_b - cone.edge_a).T)
        assert np.linalg.norm(there - here, axis=1) == pytest.approx(flat, abs=1e-4)


def test_offset_equal_to_half_the_difference_keeps_one_side_straight():
    cone = cone_of(reducer(offset=2))
    assert (cone.throat, cone.heel) == pytest.approx((10, math.hypot(10, 4)))
    turned = cone_of(reducer(diameter_a=8, diameter_b=12, offset=2))
    assert (turned.heel, turned.throat) == pytest.approx((10, math.hypot(10, 4)))


@pytest.mark.parametrize(("a", "b"), [(12, 8), (8, 12)])
def test_seams_lie_where_they_are_asked(a, b):
    short, long = math.hypot(10, 1 - 2), math.hypot(10, 1 + 2)
    for seam_at, length in (("shortest", short), ("longest", long), ("side", math.hypot(10, 1, 2))):
        dev = reducer(diameter_a=a, diameter_b=b, offset=1, seam_at=seam_at, collar_a=2, collar_b=2)
        assert dev.segments[1].seam_length == pytest.approx(length, abs=1e-6)
        ends = [placed(dev, k, segment.edge_a[:1])[0] for k, segment in enumerate(dev.segments, 1)]
        last = placed(dev, 2, dev.segments[1].edge_b[:1])[0]
        assert ends[1] == pytest.approx(placed(dev, 1, dev.segments[0].edge_b[:1])[0], abs=1e-6)
        assert ends[2] == pytest.approx(last, abs=1e-6)


def test_equal_diameters_make_a_pipe():
    dev = reducer(diameter_b=12, thickness=0.0276)
    cone = dev.segments[0]
    assert (cone.role, cone.form) == ("cone", "cylinder")
    assert cone.net_area == pytest.approx(math.pi * 12.0276 * 10)
    assert "outer_radius" not in dev.dimensions
    assert cone_of(reducer(diameter_b=12, offset=1)).form == "cone"


def test_order_of_pieces_ends_and_joints():
    shown = development_as_dict(reducer(collar_a=3, collar_b=2, offset=1, thickness=0.0276))
    assert [one["role"] for one in shown["segments"]] == ["collar", "cone", "collar"]
    ends = [(end["end"], end["diameter"], end["segment"], end["edge_length"]) for end in shown["free_ends"]]
    around = [math.pi * 12.0276, math.pi * 8.0276]
    assert ends == [
        ("a", 12, 1, pytest.approx(around[0], abs=1e-4)),
        ("b", 8, 3, pytest.approx(around[1], abs=1e-4)),
    ]
    assert shown["joint_length"] == pytest.approx(sum(around), abs=1e-3)
    assert shown["dimensions"]["overall_length"] == 15
    assert [one["role"] for one in development_as_dict(reducer())["segments"]] == ["cone"]


def test_free_ends_and_joints_get_their_own_allowances():
    allowances = Allowances(edge_a=0.25, edge_b=0.375, end_a=1.0, end_b=2.0)
    low, cone, high = reducer(collar_a=3, collar_b=3, allowances=allowances).segments
    assert np.ptp(low.cut_outline[:, 1]) == pytest.approx(1.0 + 3 + 0.375)
    assert np.ptp(high.cut_outline[:, 1]) == pytest.approx(0.25 + 3 + 2.0)
    bare = cone_of(reducer(allowances=allowances))
    assert bare.cut_area - bare.net_area == pytest.approx(math.pi * (12 * 1.0 + 8 * 2.0), rel=0.15)
    assert cone.cut_area - cone.net_area == pytest.approx(math.pi * (12 * 0.25 + 8 * 0.375), rel=0.05)


def test_taper_figures_in_quantities():
    rows = [
        UsualRange("reducer", name, None, 0.001, "")
        for name in ("taper_angle", "included_angle", "length", "length_over_reduction", "diameter")
    ]
    dev = reducer(offset=1, practice=Practice(usual=rows))
    figures = {warning.code: warning.message.split(";")[0] for warning in dev.warnings}
    steep, gentle = math.degrees(math.atan(0.3)), math.degrees(math.atan(0.1))
    assert dev.dimensions["taper_angle"] == pytest.approx(steep)
    assert figures["taper_angle_high"] == "Taper of the steepest side is 16.7°"
    assert dev.dimensions["included_angle"] == pytest.approx(steep + gentle)
    assert figures["length_over_reduction_high"].endswith("is 3.33")
    assert figures["diameter_high"] == "Diameter is 12 in"
    assert "length_over_reduction_high" not in {
        one.code for one in reducer(diameter_b=12, practice=Practice(usual=rows)).warnings
    }


# -- over the whole range ------------------------------------------------------------

small = st.one_of(st.just(0.0), st.floats(0.1, 12))
PARAMS = st.fixed_dictionaries(
    {
        "diameter_a": st.one_of(st.floats(1, 120), st.floats(4, 24), st.just(12.0)),
        "diameter_b": st.one_of(st.floats(1, 120), st.floats(4, 24), st.just(12.0)),
        "length": st.one_of(st.floats(0.1, 240), st.floats(4, 40)),
        "offset": st.one_of(st.just(0.0), st.floats(0, 240), st.floats(0, 12)),
        "collar_a": small,
        "collar_b": small,
        "seam_at": st.sampled_from(["shortest", "longest", "side"]),
    }
)


@settings(
    max_examples=cases(500),
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=[HealthCheck.too_slow],
)
@given(PARAMS, ALLOWANCES, SHEETS)
@example(
    USUAL | {"diameter_a": 120, "diameter_b": 1, "length": 5.3}, Allowances(lap=1), Sheet("x", 24, 0.03, 1)
)
@example(USUAL | {"diameter_b": 12 + 1e-8}, Allowances(lap=1), Sheet("x", 24, 0.03, 1))
@example(USUAL | {"diameter_b": 12 - 1e-6, "offset": 3.0}, Allowances(lap=1), Sheet("x", 24, 0.03, 1))
def test_whatever_can_be_made_is_right_and_whatever_not_names_its_field(params, allowances, sheet):
    try:
        dev = develop("reducer", params, sheet=sheet, allowances=allowances, practice=Practice())
    except GeometryError as error:
        assert {problem.field for problem in error.problems} <= {"length", "collar_a", "collar_b"}
        reach = params.get("offset", 0) + abs(params["diameter_a"] - params["diameter_b"]) / 2
        assert math.degrees(math.atan2(reach, params["length"])) > 85 - 1e-6
        return
    assert_sound(dev, sheet, allowances)
    cone = cone_of(dev)
    low, high = rings(params, sheet.thickness_in, cone.start_angle, count=1000)
    chords = 0.002 * (length_of(low) + length_of(high))  # what chords may cut off a small cone's two edges
    assert cone.net_area == pytest.approx(triangles_area(low, high), rel=1e-3, abs=chords)
    collars = {one.position: one for one in dev.segments if one.role == "collar"}
    for end, beside in (("a", cone.position - 1), ("b", cone.position + 1)):
        edge = getattr(cone, f"edge_{end}")
        around = math.pi * (params[f"diameter_{end}"] + sheet.thickness_in)
        assert length_of(edge) == pytest.approx(around, abs=MEETS)
        every = finer(edge, 40)
        every = every[:: max(1, len(every) // 80)]
        assert off_circle(placed(dev, cone.position, every), params, end, sheet.thickness_in) < WITHIN
        if beside in collars:  # it meets the cone: both lie on one circle, and are as long
            edge = collars[beside].edge_b if end == "a" else collars[beside].edge_a
            assert off_circle(placed(dev, beside, edge), params, end, sheet.thickness_in) < WITHIN
            assert length_of(edge) == pytest.approx(around, abs=1e-6)


def off_circle(points, params, end, thickness):
    """Greatest distance of points in the fitting's frame from the true circle at an end of the cone."""
    middle = np.array([0.0, 0.0, params.get("collar_a", 0)])
    if end == "b":
        middle += [params.get("offset", 0), 0.0, params["length"]]
    apart = points - middle
    away = np.hypot(apart[:, 0], apart[:, 1]) - (params[f"diameter_{end}"] + thickness) / 2
    return np.hypot(away, apart[:, 2]).max()


@pytest.mark.parametrize("shape", SHAPES[:6])
def test_neighbors_meet_in_space(shape):
    dev = reducer(**shape, collar_a=3, collar_b=2)
    for k in (1, 2):
        here, there = (
            placed(dev, position, finer(edge, 1000))
            for position, edge in ((k, dev.segments[k - 1].edge_b), (k + 1, dev.segments[k].edge_a))
        )
        assert to_polyline(here[::7], there).max() < MEETS
        assert to_polyline(there[::7], here).max() < MEETS


# -- refusals --------------------------------------------------------------------------


@pytest.mark.parametrize(("name", "value", "may"), bounds_to_try(KINDS["reducer"]))
def test_bounds_of_each_parameter(name, value, may):
    assert_bound(reducer, KINDS["reducer"], name, value, may)


@pytest.mark.parametrize("value", [0, 0.1, 0.0999, 240, 240.001, 1e-9])
@pytest.mark.parametrize("name", ["collar_a", "collar_b"])
def test_a_collar_is_none_or_long_enough_to_be_a_piece(name, value):
    if value == 0 or 0.1 <= value <= 240:
        assert len(reducer(**{name: value}).segments) == 1 + (value > 0)
        return
    with pytest.raises(GeometryError) as refused:
        reducer(**{name: value})
    assert [problem.field for problem in refused.value.problems] == [name]


@pytest.mark.parametrize("params", [{"offset": 0}, {"offset": 7}, {"diameter_b": 12, "offset": 9}])
def test_a_cone_that_is_nearly_flat_cannot_be_made(params):
    reach = params["offset"] + abs(12 - params.get("diameter_b", 8)) / 2
    least = reach / math.tan(math.radians(85))
    with pytest.raises(CannotBeMade) as refused:
        reducer(**params, length=least * 0.999)
    wrong = refused.value.problems[0]
    assert wrong.field == "length" and wrong.limit in wrong.sentence
    assert float(wrong.limit.split()[2]) == pytest.approx(least, abs=1e-4)
    assert reducer(**params, length=least * 1.001).segments
    with pytest.raises(CannotBeMade) as refused:
        in_mm = {name: 25.4 * value for name, value in (USUAL | params | {"length": 0.11}).items()}
        reducer(**in_mm, unit="mm")
    assert refused.value.problems[0].value == pytest.approx(0.11 * 25.4)


@pytest.mark.parametrize(
    ("given_", "fields"),
    [
        ({"diameter_a": None, "length": None}, {"diameter_a", "length"}),
        ({"taper": 3, "offset": "wide"}, {"taper", "offset"}),
        ({"seam_at": "heel", "diameter_b": math.nan}, {"seam_at", "diameter_b"}),
        ({"offset": -0.001, "collar_b": -1}, {"offset", "collar_b"}),
    ],
)
def test_missing_unknown_and_wrong_values_are_all_named(given_, fields):
    with pytest.raises(GeometryError) as refused:
        reducer(**given_)
    assert {problem.field for problem in refused.value.problems} == fields

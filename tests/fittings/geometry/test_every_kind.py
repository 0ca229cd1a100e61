"""What holds for every kind alike: refusals that name their field, and answers in the shape of the HTTP contract.

Where neighbours meet in space is in the tests of each kind.
"""

import json
import math
import time
from decimal import Decimal

import pytest
import shapely

from fittings.geometry import (
    KINDS,
    Allowances,
    CannotBeMade,
    GeometryError,
    ParameterError,
    Practice,
    Sheet,
    UsualRange,
    develop,
    development_as_dict,
)
from fittings.geometry.practice import QUANTITIES
from tests.fittings.drawing.kinds import PARAMS

from .soundness import assert_bound, bounds_to_try

SHEET = Sheet("galvanized", 24, 0.0276, 1.156, 120, 60)
ALLOWANCES = Allowances(lap=0.5, edge_a=0.25, edge_b=0.375, end_a=0.5, end_b=0.75, end_c=1.0)
CASES = [(kind, name) for kind in KINDS for name in PARAMS[kind]]
BOUNDS = [(kind.name, *row) for kind in KINDS.values() for row in bounds_to_try(kind)]
OF_PARAMS = [(kind.name, param) for kind in KINDS.values() for param in kind.params]
NOT_NUMBERS = [
    "12", "", "NaN", True, False, math.nan, math.inf, -math.inf, 10**400, -(10**400), [], [12], {}, {"in": 12},
    Decimal("NaN"), Decimal("Infinity"), 12j, b"12", (), object,
]  # fmt: skip
PER_PIECE = {
    "net_outline", "cut_outline", "net_area", "cut_area", "weight", "blank", "lap", "start_angle", "holes", "marks",
}  # fmt: skip
PER_SEGMENT = PER_PIECE | {
    "position", "role", "form", "pattern", "seam_at", "stretch_out", "throat", "heel", "seam_length", "edge_a",
    "edge_b", "space",
}  # fmt: skip
WHOLE = {
    "kind", "unit", "weight_unit", "material", "gauge", "thickness", "dimensions", "segments", "net_area", "cut_area",
    "weight", "joint_length", "free_ends", "warnings",
}  # fmt: skip
ROLES = {
    "gored_elbow": {"end_gore", "middle_gore"},
    "reducer": {"cone", "collar"},
    "offset": {"end_gore", "middle_gore", "center_gore"},
    "end_cap": {"disc", "ring"},
    "tee": {"run", "branch"},
    "saddle": {"branch"},
    "square_to_round": {"transition"},
    "pipe": {"pipe"},
    "conical_tee": {"run", "branch", "collar"},
    "wye": {"main", "branch"},
    "reducing_elbow": {"end_gore", "middle_gore", "collar"},
}
PER_UNIT = {"in": (1.0, 1.0), "mm": (25.4, 0.45359237)}  # exact: international yard and pound agreement, 1959


def first(kind):
    return next(iter(PARAMS[kind].values()))


def made(kind, params, *, unit="in", practice=None):
    return develop(
        kind, params, sheet=SHEET, allowances=ALLOWANCES, practice=practice or Practice(), unit=unit
    )


def refused(kind, params, unit="in"):
    began = time.process_time()  # of this process: others may be busy
    with pytest.raises(GeometryError) as caught:
        made(kind, params, unit=unit)
    assert time.process_time() - began < 1
    for problem in caught.value.problems:
        assert problem.limit and problem.sentence.endswith((".", "?"))
        json.dumps(problem.value, allow_nan=False)  # it can be sent back in an answer
    return {problem.field: problem for problem in caught.value.problems}


def test_every_kind_of_the_contract_is_there_in_its_order():
    assert list(KINDS) == list(ROLES)
    assert set(PARAMS) == set(KINDS)


# -- refusals ----------------------------------------------------------------


@pytest.mark.parametrize(("kind", "name", "value", "may_be_accepted"), BOUNDS)
def test_at_below_and_above_each_limit(kind, name, value, may_be_accepted):
    assert_bound(lambda **change: made(kind, first(kind) | change), KINDS[kind], name, value, may_be_accepted)


@pytest.mark.parametrize(("kind", "param"), OF_PARAMS, ids=lambda value: getattr(value, "name", value))
def test_limits_are_told_in_the_unit_asked_for(kind, param):
    if param.unit != "in":
        beyond = {"bool": 1, "choice": "", "count": 10**6}.get(param.unit, 1e6)
        assert set(refused(kind, first(kind) | {param.name: beyond})) == {param.name}
        return
    in_mm = {name: value * 25.4 if is_length(kind, name) else value for name, value in first(kind).items()}
    problem = refused(kind, in_mm | {param.name: param.high * 25.4 + 1}, "mm")[param.name]
    assert problem.limit.endswith(" mm") and problem.value == pytest.approx(param.high * 25.4 + 1)
    assert problem.limit in problem.sentence


def is_length(kind, name):
    return next(param.unit for param in KINDS[kind].params if param.name == name) == "in"


@pytest.mark.parametrize("kind", KINDS)
def test_each_required_field_that_is_missing_is_named(kind):
    required = {param.name for param in KINDS[kind].params if param.required}
    found = refused(kind, {})
    assert required <= set(found) and set(found) <= {param.name for param in KINDS[kind].params}
    for name in required:
        for left_out in ({k: v for k, v in first(kind).items() if k != name}, first(kind) | {name: None}):
            found = refused(kind, left_out)
            assert set(found) == {name}
            assert found[name].value is None and "missing" in found[name].sentence


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_not_required_may_be_left_out_or_null(kind):
    needed = {
        param.name: first(kind)[param.name] for param in KINDS[kind].params if param.name in first(kind)
    }
    nothing = {param.name: None for param in KINDS[kind].params if not param.required}
    assert made(kind, nothing | needed).dimensions == made(kind, needed).dimensions


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ["lenght", "", "Diameter", "diameter ", "unit", "x" * 5000])
def test_unknown_fields_are_named(kind, name):
    (field,) = refused(kind, first(kind) | {name: 3})
    assert name.startswith(field) and len(field) <= 60


@pytest.mark.parametrize(("kind", "param"), OF_PARAMS, ids=lambda value: getattr(value, "name", value))
def test_values_of_a_wrong_sort_are_refused_by_name(kind, param):
    wrong = {
        "bool": [0, 1, "yes", "", [], {}, math.nan, 10**400],
        "choice": [0, True, "", "x" * 61, [], {}, math.nan, 10**400, *(["glued"] if param.choices else [])],
    }.get(param.unit, NOT_NUMBERS)
    for value in wrong:
        assert set(refused(kind, first(kind) | {param.name: value})) == {param.name}, value


@pytest.mark.parametrize("kind", KINDS)
def test_all_wrong_fields_are_named_at_once(kind):
    wrong = {param.name: [] for param in KINDS[kind].params}
    assert set(refused(kind, wrong | {"colour": "red"})) == {*wrong, "colour"}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("params", [None, [], "12 in", 12, [("diameter", 12)]])
def test_params_that_are_no_object_are_refused(kind, params):
    assert set(refused(kind, params)) == {"params"}


# -- answers ---------------------------------------------------------------------


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize(("kind", "name"), CASES)
def test_an_answer_has_the_shape_of_the_contract(kind, name, unit):
    dev = made(kind, PARAMS[kind][name])
    shown = json.loads(json.dumps(development_as_dict(dev, unit), allow_nan=False))
    assert shown == development_as_dict(dev, unit)  # nothing but what JSON has
    per_inch, per_lb = PER_UNIT[unit]
    assert set(shown) == WHOLE
    assert (shown["kind"], shown["unit"], shown["weight_unit"]) == (
        kind,
        unit,
        {"in": "lb", "mm": "kg"}[unit],
    )
    assert shown["thickness"] == pytest.approx(0.0276 * per_inch, abs=1e-4)
    roles = {segment["role"] for segment in shown["segments"]}
    assert roles <= ROLES[kind]
    assert [segment["position"] for segment in shown["segments"]] == list(
        range(1, len(shown["segments"]) + 1)
    )
    for segment in shown["segments"]:
        assert PER_SEGMENT <= set(segment) <= PER_SEGMENT | {"plates"}
        check_segment(segment, per_inch)
    parts = [plate for segment in shown["segments"] for plate in segment.get("plates", [segment])]
    slack = 1e-3 * len(parts) + 1e-9
    for key in ("net_area", "cut_area", "weight"):
        assert shown[key] == pytest.approx(sum(segment[key] for segment in shown["segments"]), abs=slack)
        assert shown[key] == pytest.approx(sum(part[key] for part in parts), rel=1e-6, abs=slack)
    per_area = 1.156 / 144 / per_inch**2 * per_lb  # lb/ft² to the unit of the answer
    for segment in shown["segments"]:  # weights are those of the net area
        assert segment["weight"] == pytest.approx(segment["net_area"] * per_area, abs=2e-3)
    for mark in (mark for segment in shown["segments"] for mark in segment["marks"]):
        assert set(mark) == {"name", "line"} | ({"angle"} if mark["name"] == "bend" else set())


def check_segment(segment, per_inch):
    assert segment["form"] in ("cylinder", "cone", "brake", "flat")
    for key in ("net_outline", "cut_outline"):
        outline = shapely.Polygon(segment[key])
        assert segment[key][0] != segment[key][-1] and outline.is_valid and outline.exterior.is_ccw
    net, cut = shapely.Polygon(segment["net_outline"]), shapely.Polygon(segment["cut_outline"])
    holes = sum(shapely.Polygon(hole).area for hole in segment["holes"])
    assert segment["net_area"] == pytest.approx(net.area - holes, abs=1e-3 + 1e-4 * net.length)
    assert cut.buffer(3e-4 * per_inch).covers(net)
    low_x, low_y, high_x, high_y = cut.bounds
    assert segment["blank"] == {
        "width": pytest.approx(high_x - low_x, abs=2e-4),
        "height": pytest.approx(high_y - low_y, abs=2e-4),
    }
    edges = [shapely.LineString(segment[key]) for key in ("edge_a", "edge_b") if segment[key]]
    border = (
        net if segment["form"] == "flat" else net.exterior
    )  # an edge turned up from a disc lies within it
    for edge in edges:
        assert border.buffer(3e-4 * per_inch).covers(edge)
    if segment["form"] == "flat":
        assert (segment["stretch_out"], segment["throat"], segment["heel"]) == (None, None, None)
        assert segment["seam_length"] == 0
    else:
        longest = (
            segment["edge_a"][-1][0] if segment["form"] == "cylinder" else max(edge.length for edge in edges)
        )
        assert segment["stretch_out"] == pytest.approx(longest, abs=2e-3 * per_inch)
        first_seam, last_seam = (math.dist(segment["edge_a"][k], segment["edge_b"][k]) for k in (0, -1))
        assert segment["seam_length"] == pytest.approx(first_seam, abs=1e-3 * per_inch)
        assert first_seam == pytest.approx(last_seam, abs=1e-3 * per_inch)
    if segment["form"] == "cylinder":
        assert [x for x, _ in segment["edge_a"]] == sorted(x for x, _ in segment["edge_a"])
    for plate in segment.get("plates", []):
        assert set(plate) >= PER_PIECE and shapely.Polygon(plate["cut_outline"]).is_valid
    for rows in segment["space"]:
        assert len(rows) == 2 and len(rows[0]) == len(rows[1]) > 1
        assert all(len(point) == 3 for row in rows for point in row)


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_the_free_ends_are_those_of_the_kind(kind, name):
    dev = made(kind, PARAMS[kind][name])
    shown = development_as_dict(dev)["free_ends"]
    ends = list(KINDS[kind].meeting_ends)
    assert [(end["end"], end["title"]) for end in shown] == ends
    for end in shown:
        assert 1 <= end["segment"] <= len(dev.segments)
        if end["shape"] == "round":
            around = math.pi * (end["diameter"] + 0.0276)
        else:
            around = 2 * (end["width"] + end["height"] + 2 * 0.0276)
        assert end["edge_length"] == pytest.approx(around, abs=1e-3)
        segment = dev.segments[end["segment"] - 1]
        edges = [shapely.LineString(edge).length for edge in (segment.edge_a, segment.edge_b) if len(edge)]
        if segment.form != "flat":
            assert min(abs(length - around) for length in edges) < 0.02


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_equal_patterns_share_a_key_and_unequal_ones_do_not(kind, name):
    outlines = {}
    for segment in made(kind, PARAMS[kind][name]).segments:
        outlines.setdefault(segment.pattern, []).append(shapely.Polygon(segment.cut_outline))
    alike = [group[0] for group in outlines.values()]
    for group in outlines.values():
        assert all(one.equals_exact(group[0], 2e-3) for one in group)
    for k, one in enumerate(alike):
        assert not any(one.equals_exact(other, 1e-4) for other in alike[:k])


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_millimetres_and_inches_are_one_fitting(kind, name):
    params = PARAMS[kind][name]
    in_mm = {key: value * 25.4 if is_length(kind, key) else value for key, value in params.items()}
    one, other = development_as_dict(made(kind, params)), development_as_dict(made(kind, in_mm, unit="mm"))
    assert other["net_area"] == pytest.approx(one["net_area"] * 25.4**2, abs=0.35 * len(one["segments"]))
    assert other["weight"] == pytest.approx(one["weight"] * 0.45359237, abs=1e-3)
    assert [segment["pattern"] for segment in one["segments"]] == [
        segment["pattern"] for segment in other["segments"]
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_warnings_are_sentences_with_a_code(kind):
    rows = [UsualRange(kind, name, 1e6, None, "A test.") for name in QUANTITIES]
    warned = made(kind, first(kind), practice=Practice(usual=rows)).warnings
    assert warned
    for one in development_as_dict(made(kind, first(kind), practice=Practice(usual=rows)))["warnings"]:
        assert one["code"].islower() and " " not in one["code"]
        assert one["message"][0].isupper() and one["message"].endswith(".") and " " in one["message"]


@pytest.mark.parametrize(("kind", "name"), CASES)
def test_usual_fittings_can_be_made_of_any_gauge(kind, name):
    for thickness in (0.0157, 0.1382):  # 30 and 10 gauge galvanized: gauges.md
        sheet = Sheet("galvanized", 24, thickness, 1.156, 120, 60)
        try:
            dev = develop(kind, PARAMS[kind][name], sheet=sheet, allowances=Allowances(), practice=Practice())
        except (CannotBeMade, ParameterError) as error:
            assert {problem.field for problem in error.problems} <= {
                param.name for param in KINDS[kind].params
            }
        else:
            assert dev.thickness == thickness
            assert dev.cut_area == pytest.approx(
                dev.net_area, rel=1e-6
            )  # without allowances nothing is added

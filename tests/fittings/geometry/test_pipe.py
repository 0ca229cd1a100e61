"""Straight pipe against printed circumferences, and over its whole range."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fittings.geometry import KINDS, Allowances, ParameterError, Practice, Sheet, UsualRange, develop, placed
from tests.cases import cases

from .conftest import AUTHORITIES, THIN
from .soundness import ALLOWANCES, SHEETS, assert_bound, assert_sound, bounds_to_try

CASES = json.loads((AUTHORITIES / "pipe.json").read_text(encoding="utf-8"))["printed_cases"]
CASE = {case["id"]: case for case in CASES}


def pipe(*, thickness=THIN, allowances=None, stock=(None, None), practice=None, unit="in", **params):
    return develop(
        "pipe",
        {"diameter": 7, "length": 60} | params,
        sheet=Sheet("galvanized", 24, thickness, 1.15625, *stock),
        allowances=allowances or Allowances(),
        practice=practice or Practice(),
        unit=unit,
    )


@pytest.mark.authority
@pytest.mark.parametrize("name", ["circle-longfield-7", "circle-navy-4"])
def test_printed_circumferences(name):
    case = CASE[name]
    stretch_out = pipe(diameter=case["inputs"]["diameter"]).segments[0].stretch_out
    printed, allowed = case["printed"]["circumference"], case["tolerance"]["circumference"]
    assert stretch_out == pytest.approx(printed, abs=allowed)


@pytest.mark.authority
def test_cutting_length_is_taken_on_the_mean_diameter():
    case = CASE["mean-diameter-650"]
    given_, printed = case["inputs"], case["printed"]
    dev = pipe(
        diameter=given_["outside_diameter_mm"] - 2 * given_["thickness_mm"],
        length=1000,
        thickness=given_["thickness_mm"] / 25.4,
        unit="mm",
    )
    assert dev.dimensions["diameter"] * 25.4 == pytest.approx(printed["inside_diameter_mm"])
    assert dev.dimensions["mean_diameter"] * 25.4 == pytest.approx(printed["mean_diameter_mm"])
    cutting_length = dev.segments[0].stretch_out * 25.4
    assert cutting_length == pytest.approx(
        printed["cutting_length_mm"], abs=case["tolerance"]["cutting_length_mm"]
    )


def test_one_segment_two_round_ends_no_joint():
    dev = pipe()
    assert [(segment.role, segment.form) for segment in dev.segments] == [("pipe", "cylinder")]
    assert [(end.end, end.title, end.diameter, end.segment) for end in dev.free_ends] == [
        ("a", "End A", 7, 1),
        ("b", "End B", 7, 1),
    ]
    assert [end.edge_length for end in dev.free_ends] == pytest.approx([7 * math.pi] * 2)
    assert dev.joint_length == 0
    assert dev.segments[0].seam_length == 60
    # 24 gauge galvanized weighs 18.5 oz/ft²: fixtures/authorities/gauges.md; the area is the rectangle's
    assert dev.weight == pytest.approx(7 * math.pi * 60 / 144 * 18.5 / 16)


def test_cut_is_the_rectangle_with_its_lap_and_end_allowances():
    dev = pipe(allowances=Allowances(lap=0.5, edge_a=0.25, edge_b=0.25, end_a=1.0, end_b=0.75))
    blank = dev.segments[0].blank
    assert (blank.width, blank.height) == pytest.approx((7 * math.pi + 0.5, 61.75))


def test_long_pipe_is_warned_about_by_the_shops_table():
    usual = [UsualRange("pipe", "length", None, 60, "Longer pipe is joined of lengths.")]
    practice = Practice(usual=usual)
    assert pipe(length=60, practice=practice).warnings == ()
    assert [warned.code for warned in pipe(length=61, practice=practice).warnings] == ["length_high"]


@settings(max_examples=cases(500), deadline=None, derandomize=True)
@given(
    st.one_of(st.floats(1, 120), st.floats(4, 24)),
    st.one_of(st.floats(0.1, 240), st.floats(12, 60)),
    SHEETS,
    ALLOWANCES,
)
def test_any_pipe_is_the_rectangle_of_its_cylinder(diameter, length, sheet, allowances):
    dev = develop(
        "pipe",
        {"diameter": diameter, "length": length},
        sheet=sheet,
        allowances=allowances,
        practice=Practice(),
    )
    assert_sound(dev, sheet, allowances)
    radius = (diameter + sheet.thickness_in) / 2
    assert dev.net_area == pytest.approx(2 * math.pi * radius * length)
    for edge, at in (("edge_a", 0.0), ("edge_b", length)):
        points = placed(dev, 1, getattr(dev.segments[0], edge))
        assert np.hypot(points[:, 0], points[:, 1]) == pytest.approx(radius)
        assert points[:, 2] == pytest.approx(at)


@pytest.mark.parametrize(("name", "value", "may_be_accepted"), bounds_to_try(KINDS["pipe"]))
def test_values_at_and_beside_every_bound(name, value, may_be_accepted):
    assert_bound(pipe, KINDS["pipe"], name, value, may_be_accepted)


def test_unknown_and_missing_fields_are_named():
    with pytest.raises(ParameterError) as refused:
        develop(
            "pipe",
            {"lenght": 60},
            sheet=Sheet("galvanized", 24, THIN, 1.0),
            allowances=Allowances(),
            practice=Practice(),
        )
    assert [problem.field for problem in refused.value.problems] == ["lenght", "diameter", "length"]

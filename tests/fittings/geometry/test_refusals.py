"""What is refused: every wrong field at once, each with its value, its limit and a sentence."""

import json
import math
from decimal import Decimal

import pytest

from fittings.geometry import (
    Allowances,
    CannotBeMade,
    GeometryError,
    ParameterError,
    Practice,
    Sheet,
    develop,
    development_as_dict,
)

NUMBERS = ["diameter", "angle", "pieces", "radius_ratio", "centerline_radius", "collar_a", "collar_b"]


def problems(elbow, **params):
    with pytest.raises(GeometryError) as refused:
        elbow(**params)
    return {wrong.field: wrong for wrong in refused.value.problems}


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize(
    "value", [math.nan, math.inf, -math.inf, 1e9, -1, "14", "", [], {}, True, 10**400, Decimal("NaN")]
)
def test_values_that_are_no_sound_numbers_are_refused_with_a_range(elbow, name, value):
    found = problems(elbow, **{name: value})
    assert set(found) == {name}
    assert found[name].limit and found[name].limit in found[name].sentence
    json.dumps(found[name].value, allow_nan=False)  # it can be sent back in an answer


@pytest.mark.parametrize(
    ("name", "value", "limit"),
    [
        ("diameter", 0.99, "1 to 120 in"),
        ("diameter", 120.01, "1 to 120 in"),
        ("angle", 0, "more than 0° and at most 180°"),
        ("angle", 180.01, "more than 0° and at most 180°"),
        ("pieces", 1, "2 to 60"),
        ("pieces", 61, "2 to 60"),
        ("pieces", 4.5, "a whole number, 2 to 60"),
        ("radius_ratio", 0.49, "0.5 to 10"),
        ("radius_ratio", 10.01, "0.5 to 10"),
        ("collar_a", 240.1, "0 to 240 in"),
        ("seam_at", "top", "throat, heel, side"),
        ("seam_at", 3, "throat, heel, side"),
        ("stagger_seams", "yes", "true or false"),
        ("stagger_seams", 1, "true or false"),
    ],
)
def test_values_out_of_range_name_field_value_and_limit(elbow, name, value, limit):
    wrong = problems(elbow, **{name: value})[name]
    assert (wrong.value, wrong.limit) == (value, limit)


def test_sentences_are_for_people(elbow):
    assert problems(elbow, pieces=61)["pieces"].sentence == "Pieces is 61; it can be 2 to 60."
    assert problems(elbow, diameter=0.5)["diameter"].sentence == "Diameter is 0.5 in; it can be 1 to 120 in."
    in_mm = problems(elbow, diameter=10, unit="mm")["diameter"].sentence
    assert in_mm == "Diameter is 10 mm; it can be 25.4 to 3048 mm."


def test_all_wrong_fields_are_named_at_once(elbow):
    found = problems(elbow, diameter="wide", pieces=1, colour="red", angle=200, seam_at="top")
    assert set(found) == {"diameter", "pieces", "colour", "angle", "seam_at"}
    assert "not a parameter" in found["colour"].sentence


def test_missing_values_are_named():
    with pytest.raises(ParameterError) as refused:
        develop(
            "gored_elbow",
            {},
            sheet=Sheet("galvanized", 24, 0.0276, 1.156),
            allowances=Allowances(),
            practice=Practice(),
        )
    assert [wrong.field for wrong in refused.value.problems] == ["diameter", "angle"]


@pytest.mark.parametrize(("kind", "unit", "field"), [("teapot", "in", "kind"), ("gored_elbow", "ft", "unit")])
def test_unknown_kinds_and_units_are_refused(kind, unit, field):
    sheet = Sheet("galvanized", 24, 0.0276, 1.156)
    with pytest.raises(ParameterError) as refused:
        develop(kind, {}, sheet=sheet, allowances=Allowances(), practice=Practice(), unit=unit)
    assert refused.value.problems[0].field == field


def test_unknown_unit_of_an_answer_is_refused(elbow):
    with pytest.raises(ParameterError):
        development_as_dict(elbow(), "ft")


def test_two_radii_must_agree(elbow):
    wrong = problems(elbow, radius_ratio=1.5, centerline_radius=20)["centerline_radius"]
    assert (wrong.value, wrong.limit) == (20, "21 in")
    assert elbow(radius_ratio=1.5, centerline_radius=21).dimensions["centerline_radius"] == 21


def test_radius_over_ten_diameters_is_refused_however_it_is_given(elbow):
    assert problems(elbow, centerline_radius=141)["centerline_radius"].limit == "7 to 140 in"


def test_throat_radius_below_zero_cannot_be_made(elbow):
    with pytest.raises(CannotBeMade) as refused:
        elbow(centerline_radius=6.9)
    wrong = refused.value.problems[0]
    assert (wrong.field, wrong.value, wrong.limit) == ("centerline_radius", 6.9, "at least 7 in")
    assert "Throat radius is -0.1 in" in wrong.sentence


def test_edges_that_cross_at_the_throat_cannot_be_made(elbow):
    # inside throat radius 0: on the mean surface the throat of a middle gore is −t/2 × 2 tan α long
    with pytest.raises(CannotBeMade) as refused:
        elbow(centerline_radius=7, thickness=0.0276)
    assert refused.value.problems[0].field == "centerline_radius"
    with pytest.raises(CannotBeMade) as refused:
        elbow(radius_ratio=0.5, thickness=0.0276)
    assert refused.value.problems[0].field == "radius_ratio"


def test_sharp_two_piece_elbow_with_collars_can_be_made(elbow):
    dev = elbow(pieces=2, radius_ratio=0.5, collar_a=4, collar_b=4)
    assert dev.dimensions["throat_radius"] == 0
    assert dev.segments[0].throat == pytest.approx(4)
    with pytest.raises(CannotBeMade):
        elbow(pieces=2, radius_ratio=0.5, collar_a=4, collar_b=0)


@pytest.mark.parametrize(("angle", "least"), [(171, 3), (180, 3)])
def test_miters_that_run_along_the_duct_cannot_be_made(elbow, angle, least):
    with pytest.raises(CannotBeMade) as refused:
        elbow(angle=angle, pieces=2)
    wrong = refused.value.problems[0]
    assert (wrong.field, wrong.value, wrong.limit) == ("pieces", 2, f"at least {least}")
    assert len(elbow(angle=angle, pieces=least).segments) == least
    assert len(elbow(angle=170, pieces=2).segments) == 2


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"thickness_in": 0}, "sheet.thickness_in"),
        ({"weight_lb_ft2": -1}, "sheet.weight_lb_ft2"),
        ({"longest_stock_in": 0}, "sheet.longest_stock_in"),
        ({"thickness_in": math.nan}, "sheet.thickness_in"),
    ],
)
def test_impossible_sheets_are_refused(given, field):
    values = {"material": "galvanized", "gauge": 24, "thickness_in": 0.0276, "weight_lb_ft2": 1.156} | given
    with pytest.raises(ParameterError) as refused:
        Sheet(**values)
    assert refused.value.problems[0].field == field

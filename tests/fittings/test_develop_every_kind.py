"""The HTTP API refuses one wrong field of each kind with a problem that names it, its value and its limit."""

import math

import pytest

from fittings.geometry import KINDS
from tests.fittings.drawing.kinds import PARAMS
from tests.fittings.test_develop_api import counts

FIRST = {kind: next(iter(PARAMS[kind].values())) for kind in KINDS}


def asked(kind, params, unit="in"):
    return {"kind": kind, "unit": unit, "material": "galvanized", "gauge": 24, "params": params}


def refusal(office, kind, params, unit="in"):
    before = counts()
    answer = office.post("develop/", asked(kind, params, unit))
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    body = answer.json()
    assert (body["status"], bool(body["type"]), bool(body["title"])) == (400, True, True)
    assert counts() == before
    for error in body["errors"]:
        assert {"field", "value", "limit", "message"} <= set(error)
        assert error["limit"] and error["message"] in body["detail"]
    return body["errors"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_is_developed(office, kind):
    answer = office.post("develop/", asked(kind, FIRST[kind]))
    assert answer.status_code == 200
    assert (answer.json()["kind"], answer.json()["weight"] > 0) == (kind, True)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("beyond", ["below", "above"])
def test_every_parameter_out_of_its_range_is_named_with_value_and_limit(office, kind, beyond):
    for param in KINDS[kind].params:
        if param.unit in ("choice", "bool"):
            continue
        step = 1 if param.unit == "count" else 0.01
        value = param.low - step if beyond == "below" else param.high + step
        (error,) = refusal(office, kind, FIRST[kind] | {param.name: value})
        assert error["field"] == f"params.{param.name}"
        assert error["value"] == pytest.approx(value)
        low, high = (f"{bound:g}" for bound in (param.low, param.high))
        assert low in error["limit"] and high in error["limit"]


@pytest.mark.parametrize("kind", KINDS)
def test_every_parameter_of_a_wrong_sort_is_named(office, kind):
    for param in KINDS[kind].params:
        (error,) = refusal(office, kind, FIRST[kind] | {param.name: [12]})
        assert error["field"] == f"params.{param.name}"


@pytest.mark.parametrize("kind", KINDS)
def test_a_missing_and_an_unknown_field_are_named_together(office, kind):
    missing = next(param.name for param in KINDS[kind].params if param.required or param.name in FIRST[kind])
    params = {name: value for name, value in FIRST[kind].items() if name != missing} | {"colour": 3}
    assert {error["field"] for error in refusal(office, kind, params)} == {
        f"params.{missing}",
        "params.colour",
    }


CANNOT_BE_MADE = {
    "gored_elbow": ({"radius_ratio": 0.5}, "radius_ratio"),
    "reducer": ({"collar_a": 0.01}, "collar_a"),
    "offset": ({"offset": 0.5}, "offset"),
    "end_cap": ({"depth": 30}, "depth"),
    "tee": ({"branch_diameter": 13}, "branch_diameter"),
    "saddle": ({"branch_diameter": 21}, "branch_diameter"),
    "square_to_round": ({"width": 14, "height": 14, "diameter": 14, "length": 0.0001}, "length"),
    "conical_tee": ({"branch_length": 4}, "branch_length"),
    "wye": ({"branch_length": 4}, "branch_length"),
    "reducing_elbow": ({"centerline_radius": 7}, "centerline_radius"),
}


@pytest.mark.parametrize("kind", CANNOT_BE_MADE)
@pytest.mark.parametrize("unit", ["in", "mm"])
def test_what_cannot_be_made_is_refused_in_the_unit_of_the_request(office, kind, unit):
    change, field = CANNOT_BE_MADE[kind]
    lengths = {param.name for param in KINDS[kind].params if param.unit == "in"}
    params = FIRST[kind] | change
    if unit == "mm":
        params = {name: value * 25.4 if name in lengths else value for name, value in params.items()}
    errors = refusal(office, kind, params, unit)
    assert [error["field"] for error in errors] == [f"params.{field}"]
    for error in errors:
        assert math.isfinite(error["value"])
        assert "in" not in error["limit"].split() or unit == "in"


def test_every_kind_but_plain_pipe_has_a_case_that_cannot_be_made():
    assert set(KINDS) - set(CANNOT_BE_MADE) == {"pipe"}

"""POST /develop/ computes one fitting and stores nothing; what is wrong is refused with field, value and limit."""

import time

import pytest

from fittings.developing import develop_for, params_typed
from fittings.models import KeptAnswer, Order, TableVersion
from shared.problems import WrongInput
from tests.factories import elbow_params

ELBOW = {
    "kind": "gored_elbow",
    "unit": "in",
    "material": "galvanized",
    "gauge": 24,
    "params": elbow_params(),
    "allowances": {"lap": 0.5, "edge_a": 0.25, "edge_b": 0.375},
}


def asked(**changes):
    return {**ELBOW, **changes}


def counts():
    return [model.objects.count() for model in (Order, TableVersion, KeptAnswer)]


def test_the_example_of_the_contract(office):
    answer = office.post("develop/", ELBOW)
    body = answer.json()
    assert answer.status_code == 200
    assert (body["kind"], body["unit"], body["gauge"], body["thickness"]) == ("gored_elbow", "in", 24, 0.0276)
    assert body["material"] == "galvanized"
    told = {
        name: body["dimensions"][name]
        for name in (
            "pieces",
            "gore_angle",
            "miter_angle",
            "centerline_radius",
            "throat_radius",
            "heel_radius",
        )
    }
    assert told == {
        "pieces": 5,
        "gore_angle": 22.5,
        "miter_angle": 11.25,
        "centerline_radius": 21.0,
        "throat_radius": 14.0,
        "heel_radius": 28.0,
    }
    assert [part["role"] for part in body["segments"]] == ["end_gore"] + ["middle_gore"] * 3 + ["end_gore"]
    first = body["segments"][0]
    assert first["stretch_out"] == pytest.approx(3.14159265 * 14.0276, abs=5e-4)
    assert first["throat"] == pytest.approx((21 - 7.0138) * 0.19891237, abs=5e-4)
    assert first["heel"] == pytest.approx((21 + 7.0138) * 0.19891237, abs=5e-4)
    assert first["lap"] == 0.5
    assert first["blank"]["width"] == pytest.approx(first["stretch_out"] + 0.5, abs=1e-3)
    assert body["weight"] == pytest.approx(body["net_area"] / 144 * 1.156, abs=2e-3)


def test_the_free_ends_take_the_edges_that_are_given_where_they_are_left_raw(shop):
    words = {"kind": "gored_elbow", "material": "galvanized", "gauge": 24, "params": elbow_params()}
    given = develop_for(**words, allowances={"lap": 0.5, "edge_a": 0.25, "edge_b": 0.375}).segments
    tables = develop_for(**words).segments
    named = develop_for(**words, allowances={"edge_a": 0.25, "end_a": 0}).segments
    flanged = develop_for(**words, end_a="flange", allowances={"edge_a": 0.25}).segments

    def below(segment):
        return -segment.cut_outline[:, 1].min()

    assert below(given[0]) == pytest.approx(0.25)
    assert below(tables[0]) == 0
    assert below(named[0]) == 0
    assert below(flanged[0]) == pytest.approx(0.375)  # the flange of the allowances table


def test_left_out_allowances_come_from_the_shops_tables(office):
    light = office.post("develop/", asked(allowances=None)).json()
    heavy = office.post("develop/", asked(allowances=None, gauge=14)).json()
    assert (light["segments"][1]["lap"], heavy["segments"][1]["lap"]) == (0.5, 0.0)
    assert heavy["segments"][1]["cut_area"] == heavy["segments"][1]["net_area"]


def test_left_out_pieces_come_from_the_gore_table(office):
    bend = office.post("develop/", asked(params={"diameter": 14, "angle": 45})).json()
    assert bend["dimensions"]["pieces"] == 3


def test_millimetres_in_millimetres_out(office):
    params = {"diameter": 355.6, "angle": 90, "pieces": 5, "centerline_radius": 533.4}
    body = office.post("develop/", asked(unit="mm", params=params, allowances={"lap": 12.7})).json()
    assert (body["unit"], body["weight_unit"]) == ("mm", "kg")
    assert body["dimensions"]["throat_radius"] == pytest.approx(355.6)
    assert body["segments"][0]["lap"] == 12.7
    inches = office.post("develop/", asked(allowances={"lap": 0.5})).json()
    assert body["weight"] == pytest.approx(inches["weight"] * 0.45359237, abs=2e-3)


def test_an_unusual_fitting_is_warned_about_and_not_refused(office):
    answer = office.post("develop/", asked(params=elbow_params(radius_ratio=0.6)))
    assert answer.status_code == 200
    warnings = answer.json()["warnings"]
    assert "radius_ratio_low" in [one["code"] for one in warnings]
    assert all(one["message"] for one in warnings)


def test_a_long_stretch_out_is_made_of_plates(office):
    body = office.post("develop/", asked(params=elbow_params(diameter=60))).json()
    assert [plate["of"] for plate in body["segments"][0]["plates"]] == [2, 2]


def test_nothing_is_stored(office):
    before = counts()
    office.post("develop/", ELBOW)
    assert counts() == before


# -- files -------------------------------------------------------------------


def test_dxf_is_at_full_scale_with_its_layers(office):
    import io

    import ezdxf

    answer = office.post("develop/?format=dxf", ELBOW)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/vnd.dxf")
    drawing = ezdxf.read(io.StringIO(answer.content.decode()))
    assert drawing.header["$INSUNITS"] == 1
    assert {"CUT", "MARK", "TEXT"} <= {layer.dxf.name for layer in drawing.layers}
    cut = [shape for shape in drawing.modelspace() if shape.dxf.layer == "CUT"]
    body = office.post("develop/", ELBOW).json()
    width = max(x for x, *_ in cut[0].get_points()) - min(x for x, *_ in cut[0].get_points())
    assert width == pytest.approx(body["segments"][0]["blank"]["width"], abs=1e-3)


def test_svg(office):
    answer = office.post("develop/?format=svg", ELBOW)
    assert (answer.status_code, answer["Content-Type"]) == (200, "image/svg+xml")
    assert b"<svg" in answer.content


def test_another_format_is_refused(office):
    answer = office.post("develop/?format=gif", ELBOW)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "format"


# -- refusals ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"params": elbow_params(radius_ratio=0.3)}, "params.radius_ratio"),
        ({"params": {"diameter": 14, "angle": 90, "centerline_radius": 5}}, "params.centerline_radius"),
        ({"params": elbow_params(pieces=1)}, "params.pieces"),
        ({"params": elbow_params(pieces=61)}, "params.pieces"),
        ({"params": elbow_params(pieces=2.5)}, "params.pieces"),
        ({"params": elbow_params(diameter=1e9)}, "params.diameter"),
        ({"params": elbow_params(diameter=-14)}, "params.diameter"),
        ({"params": elbow_params(diameter=True)}, "params.diameter"),
        ({"params": elbow_params(diameter="14")}, "params.diameter"),
        ({"params": elbow_params(diameter=[14])}, "params.diameter"),
        ({"params": elbow_params(diameter={"in": 14})}, "params.diameter"),
        ({"params": elbow_params(angle=0)}, "params.angle"),
        ({"params": elbow_params(angle=181)}, "params.angle"),
        ({"params": elbow_params(seam_at="top")}, "params.seam_at"),
        ({"params": elbow_params(stagger_seams=1)}, "params.stagger_seams"),
        ({"params": elbow_params(lenght=3)}, "params.lenght"),
        ({"params": {"angle": 90}}, "params.diameter"),
        ({"params": None}, "params"),
        ({"params": []}, "params"),
        ({"params": "14 in elbow"}, "params"),
        ({"material": "unobtainium"}, "material"),
        ({"material": None}, "material"),
        ({"material": 7}, "material"),
        ({"gauge": 99}, "gauge"),
        ({"gauge": "24"}, "gauge"),
        ({"gauge": True}, "gauge"),
        ({"gauge": None}, "gauge"),
        ({"kind": "pretzel"}, "kind"),
        ({"kind": None}, "kind"),
        ({"kind": ["gored_elbow"]}, "kind"),
        ({"unit": "furlong"}, "unit"),
        ({"unit": ["in"]}, "unit"),
        ({"end_a": "glued"}, "end_a"),
        ({"end_b": {"a": 1}}, "end_b"),
        ({"allowances": {"lap": 7}}, "allowances.lap"),
        ({"allowances": {"lap": "wide"}}, "allowances.lap"),
        ({"allowances": {"hem": 1}}, "allowances.hem"),
        ({"allowances": []}, "allowances"),
        ({"paint": "red"}, "paint"),
    ],
)
def test_a_wrong_field_is_named_with_its_limit(office, changes, field):
    before = counts()
    started = time.monotonic()
    answer = office.post("develop/", asked(**changes))
    assert time.monotonic() - started < 1
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    body = answer.json()
    assert (body["status"], bool(body["type"]), bool(body["title"])) == (400, True, True)
    assert [error["field"] for error in body["errors"]] == [field]
    error = body["errors"][0]
    assert error["limit"]
    assert error["message"].endswith(".")
    assert error["message"] in body["detail"]
    assert counts() == before


def test_all_wrong_fields_are_named_at_once(office):
    answer = office.post(
        "develop/",
        asked(material="gold", end_a="glued", params={"diameter": 0, "angle": 500}, allowances={"lap": 9}),
    )
    assert {error["field"] for error in answer.json()["errors"]} == {
        "material",
        "end_a",
        "allowances.lap",
        "params.diameter",
        "params.angle",
    }


def test_the_limits_are_told_in_the_unit_of_the_request(office):
    answer = office.post("develop/", asked(unit="mm", params=elbow_params(diameter=14)))
    assert answer.json()["errors"][0]["limit"] == "25.4 to 3048 mm"


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e400", "9" * 5000])
def test_what_is_no_finite_number_is_refused(office, word):
    raw = b'{"kind": "gored_elbow", "material": "galvanized", "gauge": 24, "params": {"diameter": %s}}'
    started = time.monotonic()
    answer = office.call("POST", "develop/", raw=raw % word.encode())
    assert time.monotonic() - started < 1
    assert answer.status_code == 400
    error = answer.json()["errors"][0]
    assert error["field"]
    assert error["limit"]
    assert error["value"] is not None


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"[]",
        b"null",
        b"7",
        b"{",
        b"\xff\xfe",
        b'{"kind": "\\ud800"}',
        b'{"kind": "a\\u0000b"}',
        b'{"params": ' + b'{"a":' * 30 + b"1" + b"}" * 30 + b"}",
        b"[" * 100_000,
        b'{"a":' * 20_000,
    ],
    ids=["empty", "list", "null", "number", "broken", "bytes", "half", "nul", "nested", "lists", "objects"],
)
def test_a_body_that_cannot_be_read_is_refused(office, raw):
    started = time.monotonic()
    answer = office.call("POST", "develop/", raw=raw)
    assert time.monotonic() - started < 1
    assert answer.status_code == 400
    assert answer["Content-Type"] == "application/problem+json"
    assert answer.json()["errors"]


def test_a_body_over_two_mebibytes_is_refused_at_once(office):
    raw = b'{"kind": "' + b"x" * (2 * 1024 * 1024) + b'"}'
    started = time.monotonic()
    answer = office.call("POST", "develop/", raw=raw)
    assert time.monotonic() - started < 1
    assert answer.status_code == 413
    assert "2097152" in answer.json()["detail"]


def test_another_content_type_is_refused(office):
    answer = office.client.post(
        "/api/v1/develop/", b"kind: gored_elbow", content_type="text/yaml", **office.headers
    )
    assert answer.status_code == 415


# -- typed in forms ----------------------------------------------------------


def test_a_form_takes_fractions_and_millimetres():
    typed = {
        "diameter": "14 1/2",
        "angle": "90°",
        "collar_a": "50.8 mm",
        "stagger_seams": "yes",
        "pieces": "",
    }
    assert params_typed("gored_elbow", typed) == {
        "diameter": 14.5,
        "angle": 90,
        "collar_a": 2.0,
        "stagger_seams": True,
    }


@pytest.mark.parametrize(
    ("name", "text"), [("diameter", "1/2/4"), ("diameter", "14,5"), ("angle", "right"), ("angle", "1e999")]
)
def test_what_a_form_cannot_read_is_named(name, text):
    with pytest.raises(WrongInput) as caught:
        params_typed("gored_elbow", {name: text})
    assert [error.field for error in caught.value.errors] == [f"params.{name}"]

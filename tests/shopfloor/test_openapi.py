"""What the OpenAPI text says is what is answered: bodies against their schema, and what every address must tell."""

from __future__ import annotations

import ast
import json
from pathlib import Path

import jsonschema
import pytest
from django.test import Client

from tests.conftest import ApiCaller
from tests.factories import key_for, order_body
from tests.travelers.floor import floor

TOP = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def schema() -> dict:
    from drf_spectacular.generators import SchemaGenerator

    made = SchemaGenerator().get_schema(request=None, public=True)
    return json.loads(json.dumps(made, default=str))


def operations(schema: dict):
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            yield f"{method.upper()} {path}", operation


def closed(node, components: dict):
    """The JSON Schema of an OpenAPI 3.0 one, in which an object has nothing but what it tells of."""
    if isinstance(node, list):
        return [closed(one, components) for one in node]
    if not isinstance(node, dict):
        return node
    if "$ref" in node:
        return closed(components[node["$ref"].rsplit("/", 1)[1]], components)
    found = {name: closed(value, components) for name, value in node.items() if name != "nullable"}
    if found.get("type") == "object" and "properties" in found:
        found.setdefault("additionalProperties", False)
    return {"anyOf": [found, {"type": "null"}]} if node.get("nullable") else found


def differences(schema: dict, method: str, path: str, answer) -> list[str]:
    """What of an answer is not as it is told."""
    told = schema["paths"][path][method]["responses"][str(answer.status_code)]
    body = next(iter(told["content"].values()))["schema"]
    wanted = closed(body, schema["components"]["schemas"])
    validator = jsonschema.Draft4Validator(wanted)  # of the drafts the one that OpenAPI 3.0 goes by
    return [f"{path} {one.json_path}: {one.message[:200]}" for one in validator.iter_errors(answer.json())]


@pytest.fixture
def worked(live_shop):
    """A floor with work at every stage: done, under way, held, scrapped, refused."""
    on = floor()
    on.scan("cut", on.traveler)
    on.scan("roll", on.segment(1).code)
    on.scan("roll", on.segment(2).code, "hold", reason="Torn")
    on.scan("roll", on.segment(3).code, "scrap", reason="Torn")
    on.scan("roll", on.segment(1).code)
    on.scan("wrap", on.fittings[1].code)
    on.scan("seam", on.segment(1).code, scanned_at="2026-03-04T10:00:00")
    return on


def test_the_bodies_that_other_systems_read_are_as_they_are_told(worked, schema):
    office = ApiCaller(Client(), key_for("office"))
    code, found = worked.fittings[0].code, []
    for path, address in (
        ("fittings/", "fittings/"),
        ("fittings/{code}/", f"fittings/{code}/"),
        ("where/", f"where/?q={code}"),
        ("where/", f"where/?q={worked.segment(3).code}"),
        ("scans/", "scans/?page_size=2"),
        ("scans/", "scans/?since=2"),
        ("board/", "board/"),
        ("events/", "events/"),
        ("orders/", "orders/"),
        ("health/", "health/"),
    ):
        answer = office.get(address)
        assert answer.status_code == 200, address
        found += differences(schema, "get", f"/api/v1/{path}", answer)
    assert not found, "\n".join(found)


def test_an_order_and_its_release_are_as_they_are_told(live_shop, schema):
    office = ApiCaller(Client(), key_for("office"))
    made = office.post("orders/", order_body())
    number = made.json()["number"]
    released = office.post(f"orders/{number}/release/")
    found = [
        *differences(schema, "post", "/api/v1/orders/", made),
        *differences(schema, "post", "/api/v1/orders/{number}/release/", released),
        *differences(schema, "get", "/api/v1/orders/{number}/", office.get(f"orders/{number}/")),
        *differences(
            schema, "post", "/api/v1/orders/{number}/release/", office.post(f"orders/{number}/release/")
        ),
        *differences(schema, "post", "/api/v1/orders/", office.post("orders/", {})),
    ]
    assert not found, "\n".join(found)


def test_every_address_tells_its_refusals_and_what_a_program_needs(schema):
    lacking = []
    for name, operation in operations(schema):
        told = operation["responses"]
        if {} in operation.get("security", [{}]):
            continue
        lacking += [f"{name} {status}" for status in ("401", "403", "503") if status not in told]
        if "requestBody" in operation and "400" not in told:
            lacking.append(f"{name} 400")
        if "program's key" not in operation.get("description", ""):
            lacking.append(f"{name}: the scope")
    assert not lacking, "\n".join(lacking)


def test_what_answers_once_says_that_it_takes_a_key():
    silent = []
    for file in sorted(
        path for package in ("fittings", "travelers", "shopfloor") for path in (TOP / package).rglob("*.py")
    ):
        for node in ast.walk(ast.parse(file.read_text())):
            if not isinstance(node, ast.FunctionDef):
                continue
            words = " ".join(ast.unparse(one) for one in node.decorator_list)
            calls = {
                one.func.id
                for one in ast.walk(node)
                if isinstance(one, ast.Call) and isinstance(one.func, ast.Name)
            }
            if "extend_schema" in words and "answer_once" in calls and "IDEMPOTENCY_KEY" not in words:
                silent.append(f"{file.relative_to(TOP)}: {node.name}")
    assert not silent, silent

"""What the OpenAPI schema says of all addresses alike: sign-in, scopes, refusals, and an introduction."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension

from shopfloor.scopes import scope_of

INTRODUCTION = Path(__file__).with_name("introduction.md")
METHODS = ("get", "post", "put", "patch", "delete")
PROBLEM = {
    "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}}
}
BUSY = "The database is busy or its disk is full; nothing was changed. Retry-After says when to ask again."


class KeyOrSessionScheme(OpenApiAuthenticationExtension):
    target_class = "shopfloor.keys.KeyOrSession"
    name = ["key", "session"]

    def get_security_definition(self, auto_schema):
        key = {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token <key>`: a key of a program, a person, a station's tablet or a display.",
        }
        session = {
            "type": "apiKey",
            "in": "cookie",
            "name": "sessionid",
            "description": "With the CSRF token.",
        }
        return [key, session]

    def get_security_requirement(self, auto_schema):
        return [{"key": []}, {"session": []}]  # either of them


def say_to_all(result: dict[str, Any], generator, request, public: bool) -> dict[str, Any]:
    """A hook of the schema's making: what holds for every address is said at each."""
    result["info"]["description"] = INTRODUCTION.read_text(encoding="utf-8")
    for path, operations in result["paths"].items():
        for method in METHODS:
            if operation := operations.get(method):
                _say(operation, method.upper(), path)
    return result


def _say(operation: dict[str, Any], method: str, path: str) -> None:
    refusals = {"503": BUSY}
    if {} not in operation.get("security", [{}]):
        refusals |= {"401": "Not signed in.", "403": "Not allowed for this role, or the key lacks the scope."}
        said = operation.get("description", "").rstrip()
        operation["description"] = f"{said}\n\n{_scope(method, path)}".lstrip()
    for status, words in refusals.items():
        operation["responses"].setdefault(status, PROBLEM | {"description": words})


def _scope(method: str, path: str) -> str:
    scope = scope_of(method, path)
    if scope is None:
        return "No program's key opens this; a person's or a station's does."
    return f"Scope of a program's key: `{scope}`." if scope else "A program's key needs no scope for it."

"""What every API view shares: parsing with limits, rendering, paging, problem details, Idempotency-Key digests."""

from __future__ import annotations

import hashlib
import json
import math

from django.conf import settings
from django.db import OperationalError
from django.http import Http404
from rest_framework import exceptions
from rest_framework.pagination import PageNumberPagination
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from shared.middleware import is_busy
from shared.problems import (
    PROBLEM_TYPE,
    Busy,
    FieldError,
    NotFound,
    NotSignedIn,
    Problem,
    TooLarge,
    WrongInput,
)


class Renderer(JSONRenderer):
    """JSON; an error goes out as application/problem+json."""

    def render(self, data, accepted_media_type=None, renderer_context=None):
        response = (renderer_context or {}).get("response")
        if (
            response is not None
            and response.status_code >= 400
            and isinstance(data, dict)
            and "title" in data
        ):
            response["Content-Type"] = PROBLEM_TYPE
        return super().render(data, accepted_media_type, renderer_context)


def _no_such_number(text: str):
    raise WrongInput(
        [FieldError("body", text, "finite numbers", f"{text} is not a number that can be used.")]
    )


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        _no_such_number(text[:40])
    return value


def _whole(text: str) -> int:
    if len(text) > 40:
        _no_such_number(text[:40])
    return int(text)


def read_json(body: bytes):
    """A JSON body within the limits.

    raises  TooLarge above 2 MiB; WrongInput for NaN, infinities, broken or too deeply nested JSON
    """
    if len(body) > settings.LONGEST_JSON_BODY:
        raise TooLarge(f"The body has {len(body)} bytes; at most {settings.LONGEST_JSON_BODY} are taken.")
    if not body:
        return {}
    try:
        return json.loads(body, parse_constant=_no_such_number, parse_float=_finite, parse_int=_whole)
    except (ValueError, RecursionError, UnicodeDecodeError):
        raise WrongInput(
            [FieldError("body", "", "JSON", "The body is not JSON.")], "The body is not JSON."
        ) from None


def checked_length(request) -> None:
    """Refuse a body that says it is too long before reading it."""
    try:
        length = int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        length = 0
    if length > settings.LONGEST_JSON_BODY:
        raise TooLarge(f"The body has {length} bytes; at most {settings.LONGEST_JSON_BODY} are taken.")


class Parser(BaseParser):
    media_type = "application/json"

    def parse(self, stream, media_type=None, parser_context=None):
        checked_length(parser_context["request"])
        return read_json(stream.read(settings.LONGEST_JSON_BODY + 1))


class Pages(PageNumberPagination):
    page_size_query_param = "page_size"
    max_page_size = 500


def answer_exception(error, context):
    """The one handler: whatever an API view raises, as problem details."""
    problem = _as_problem(error)
    if problem is None:
        return None
    response = Response(problem.as_dict(), status=problem.status)
    if problem.retry_after is not None:
        response["Retry-After"] = str(problem.retry_after)
    if isinstance(problem, NotSignedIn):
        response["WWW-Authenticate"] = "Token"
    return response


def _as_problem(error) -> Problem | None:
    if isinstance(error, Problem):
        return error
    if isinstance(error, OperationalError) and is_busy(error):
        return Busy()
    if isinstance(error, Http404 | exceptions.NotFound):
        return NotFound(str(getattr(error, "detail", "")) or "There is nothing at this address.")
    if isinstance(error, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return NotSignedIn()
    if isinstance(error, exceptions.ValidationError):
        return WrongInput(_field_errors(error.detail))
    if isinstance(error, exceptions.APIException):
        problem = Problem(str(error.detail))
        problem.status, problem.kind, problem.title = (
            error.status_code,
            error.default_code,
            str(error.default_detail),
        )
        return problem
    return None


def _field_errors(detail, path: str = "") -> list[FieldError]:
    if isinstance(detail, dict):
        return [
            found
            for name, part in detail.items()
            for found in _field_errors(part, f"{path}.{name}" if path else str(name))
        ]
    if isinstance(detail, list) and detail and isinstance(detail[0], dict | list):
        return [found for at, part in enumerate(detail) for found in _field_errors(part, f"{path}[{at}]")]
    texts = detail if isinstance(detail, list) else [detail]
    return [FieldError(path or "body", None, "", str(text)) for text in texts]


def body_digest(value) -> str:
    """SHA-256 of a JSON value in one canonical spelling."""
    return hashlib.sha256(
        json.dumps(value, sort_keys=True, separators=(",", ":"), default=str).encode()
    ).hexdigest()

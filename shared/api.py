"""What every API view shares: parsing with limits, rendering, paging, problem details, Idempotency-Key digests."""

from __future__ import annotations

import hashlib
import json
import math
import re
from collections.abc import Callable
from typing import Any

from django.conf import settings
from django.http import Http404
from rest_framework import exceptions
from rest_framework.pagination import PageNumberPagination
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response

from shared.middleware import is_busy, too_long
from shared.problems import (
    PROBLEM_TYPE,
    Busy,
    FieldError,
    NotFound,
    NotSignedIn,
    Problem,
    WrongInput,
)
from shared.texts import is_unprintable, printable

DEEPEST = 20


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
        raise too_long(len(body), settings.LONGEST_JSON_BODY)
    if not body:
        return {}
    try:
        return json.loads(body, parse_constant=_no_such_number, parse_float=_finite, parse_int=_whole)
    except (ValueError, RecursionError, UnicodeDecodeError):
        raise WrongInput(
            [FieldError("body", "", "JSON", "The body is not JSON.")], "The body is not JSON."
        ) from None


class Parser(BaseParser):
    media_type = "application/json"

    def parse(self, stream, media_type=None, parser_context=None):
        return read_json(stream.read(settings.LONGEST_JSON_BODY + 1))


def json_object(request) -> dict[str, Any]:
    """The request's JSON object, of texts and numbers that can be kept.

    raises  WrongInput where it is no object, is nested too deep, or cannot be kept or shown
    """
    body = request.data
    if not isinstance(body, dict):
        raise WrongInput([FieldError("body", None, "a JSON object", "The body is not a JSON object.")])
    check_plain(body)
    return body


def check_plain(value: Any) -> None:
    """Refuse a JSON value that cannot be kept or shown, whatever field it stands in.

    raises  WrongInput where it is nested too deep, or a text holds control characters or half a character
    """
    waiting = [(value, 1)]
    while waiting:
        part, depth = waiting.pop()
        if depth > DEEPEST:
            limit = f"at most {DEEPEST} levels"
            message = f"The body is nested deeper than {DEEPEST} levels."
            raise WrongInput([FieldError("body", None, limit, message)])
        if isinstance(part, dict):
            waiting += [(item, depth + 1) for item in part.values()]
            texts = part.keys()
        elif isinstance(part, list):
            waiting += [(item, depth + 1) for item in part]
            continue
        else:
            texts = [part] if isinstance(part, str) else []
        for text in texts:
            if any(is_unprintable(one) and one not in "\n\r\t" for one in text):
                limit = "text without control characters"
                message = f"“{printable(text)[:40]}” holds characters that cannot be printed."
                raise WrongInput([FieldError("body", printable(text), limit, message)])


class Pages(PageNumberPagination):
    page_size_query_param = "page_size"
    max_page_size = 500
    invalid_page_message = (
        "There is no page {page_number} here. Pages are numbered from 1, as far as `next` leads."
    )

    def get_page_size(self, request):
        text = request.query_params.get(self.page_size_query_param, "")
        is_whole = re.fullmatch(r"[1-9]\d{0,2}", text, re.ASCII)
        if text and not (is_whole and int(text) <= self.max_page_size):
            limit = f"a whole number from 1 to {self.max_page_size}"
            message = f"page_size is {printable(text)[:20]}; it can be {limit}."
            raise WrongInput([FieldError(self.page_size_query_param, printable(text)[:40], limit, message)])
        return super().get_page_size(request)


def paged(request, found, answer: Callable[[Any], Any] = lambda row: row) -> Response:
    """The page of `found` that is asked for, each of its rows as `answer` shows it."""
    pages = Pages()
    return pages.get_paginated_response([answer(row) for row in pages.paginate_queryset(found, request)])


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
    if is_busy(error):
        return Busy()
    if isinstance(error, Http404 | exceptions.NotFound):
        return NotFound(str(getattr(error, "detail", "")) or "There is nothing at this address.")
    if isinstance(error, exceptions.NotAuthenticated | exceptions.AuthenticationFailed):
        return NotSignedIn()
    if isinstance(error, exceptions.ValidationError):
        return WrongInput(_field_errors(error.detail))
    if isinstance(error, exceptions.MethodNotAllowed):
        return _refused(405, "method-not-allowed", "This method is not for this address", str(error.detail))
    if isinstance(error, exceptions.UnsupportedMediaType):
        return _refused(
            415, "not-json", "The body is not JSON", f"{error.detail} It must be application/json."
        )
    if isinstance(error, exceptions.APIException):
        kind = error.default_code.replace("_", "-")
        return _refused(error.status_code, kind, str(error.default_detail), str(error.detail))
    return None


def _refused(status: int, kind: str, title: str, detail: str) -> Problem:
    """What the framework refuses, as a problem."""
    problem = Problem(detail)
    problem.status, problem.kind, problem.title = status, kind, title
    return problem


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

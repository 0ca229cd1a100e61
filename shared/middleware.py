"""Content policy on every answer, and anticipated problems as pages."""

from __future__ import annotations

from django.conf import settings
from django.db import OperationalError
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render

from shared.problems import PROBLEM_TYPE, Busy, NotSignedIn, Problem, TooLarge

SECURE_CSP = {
    "default-src": ["'self'"],
    "img-src": ["'self'", "data:", "blob:"],
    "style-src": ["'self'"],
    "script-src": ["'self'"],
    "connect-src": ["'self'"],
    "font-src": ["'self'"],
    "media-src": ["'self'", "blob:"],
    "worker-src": ["'self'"],
    "object-src": ["'none'"],
    "base-uri": ["'self'"],
    "form-action": ["'self'"],
    "frame-ancestors": ["'none'"],
}


def content_policy(get_response):
    """Sends the content policy; a view that decodes camera pictures sets `response.allows_wasm = True`."""
    policy = getattr(settings, "SECURE_CSP", SECURE_CSP)

    def text(allows_wasm: bool) -> str:
        parts = {name: list(values) for name, values in policy.items()}
        if allows_wasm:
            parts["script-src"].append("'wasm-unsafe-eval'")
        return "; ".join(f"{name} {' '.join(values)}" for name, values in parts.items())

    plain, wasm = text(False), text(True)

    def middleware(request):
        response = get_response(request)
        response["Content-Security-Policy"] = wasm if getattr(response, "allows_wasm", False) else plain
        return response

    return middleware


def body_limit(get_response):
    """Refuses a body that says it is too long before a byte of it is read, whoever sends it and wherever to."""

    def middleware(request):
        is_json = request.content_type == "application/json"
        most = settings.LONGEST_JSON_BODY if is_json else settings.LONGEST_BODY
        length = length_said(request)
        return answer_problem(request, too_long(length, most)) if length > most else get_response(request)

    return middleware


def length_said(request) -> int:
    """How long the body is by the request's own word."""
    try:
        return int(request.META.get("CONTENT_LENGTH") or 0)
    except ValueError:
        return 0


def too_long(length: int, most: int) -> TooLarge:
    return TooLarge(f"The body has {length} bytes; at most {most} are taken.")


def wants_json(request) -> bool:
    return request.path.startswith("/api/") or "application/json" in request.headers.get("Accept", "")


def answer_problem(request, problem: Problem) -> HttpResponse:
    """The problem as problem details for programs, as a page for people."""
    if wants_json(request):
        response = JsonResponse(problem.as_dict(), status=problem.status, content_type=PROBLEM_TYPE)
    else:
        response = render(request, "shared/problem.html", {"problem": problem}, status=problem.status)
    if problem.retry_after is not None:
        response["Retry-After"] = str(problem.retry_after)
    if isinstance(problem, NotSignedIn):
        response["WWW-Authenticate"] = "Token"
    return response


BUSY_WORDS = (
    *("locked", "busy", "timeout", "too many", "deadlock", "couldn't get a connection", "connection failed"),
    *("disk is full", "no space", "disk i/o error", "unable to open database file", "file too large"),
    *("terminating connection", "server closed the connection", "connection is closed", "connection is lost"),
)


def is_busy(error: BaseException | None) -> bool:
    """Whether a database refused for now, by its own words: another try may go through, and nothing was changed."""
    text = str(error).lower()
    return isinstance(error, OperationalError) and any(word in text for word in BUSY_WORDS)


class problems:
    """Turns a Problem that a view raised, or a busy database, into its answer."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        return self.get_response(request)

    def process_exception(self, request, error):
        if isinstance(error, Problem):
            return answer_problem(request, error)
        if is_busy(error):
            return answer_problem(request, Busy())
        return None

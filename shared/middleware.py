"""Content policy on every answer, and anticipated problems as pages."""

from __future__ import annotations

from django.conf import settings
from django.db import OperationalError
from django.http import HttpResponse, JsonResponse
from django.shortcuts import render

from shared.problems import PROBLEM_TYPE, Busy, NotSignedIn, Problem

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

    def text(allows_wasm: bool, docs: bool) -> str:
        parts = {name: list(values) for name, values in policy.items()}
        if allows_wasm:
            parts["script-src"].append("'wasm-unsafe-eval'")
        if docs:
            parts["style-src"].append("'unsafe-inline'")
            parts["script-src"].append("'unsafe-inline'")
        return "; ".join(f"{name} {' '.join(values)}" for name, values in parts.items())

    plain, wasm, docs = text(False, False), text(True, False), text(False, True)

    def middleware(request):
        response = get_response(request)
        if request.path.startswith("/api/docs"):
            response["Content-Security-Policy"] = docs
        else:
            response["Content-Security-Policy"] = wasm if getattr(response, "allows_wasm", False) else plain
        return response

    return middleware


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


def is_busy(error: OperationalError) -> bool:
    text = str(error).lower()
    return any(word in text for word in ("locked", "busy", "timeout", "disk is full", "no space", "too many"))


class problems:
    """Turns a Problem that a view raised, or a busy database, into its answer."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        return self.get_response(request)

    def process_exception(self, request, error):
        if isinstance(error, Problem):
            return answer_problem(request, error)
        if isinstance(error, OperationalError) and is_busy(error):
            return answer_problem(request, Busy())
        return None

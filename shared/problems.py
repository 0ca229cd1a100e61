"""Anticipated errors and their problem-details form (RFC 9457).

A service raises a Problem; one handler answers it: `application/problem+json` for the API, a page for a person.
`errors` has an entry per wrong field, naming the field, the value given and what is allowed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

PROBLEM_TYPE = "application/problem+json"


@dataclass(frozen=True)
class FieldError:
    """One wrong field: its path (`lines[0].params.diameter`), the value given, what is allowed, a sentence."""

    field: str
    value: Any
    limit: str
    message: str

    def as_dict(self) -> dict:
        return {
            "field": self.field,
            "value": _shown(self.value),
            "limit": self.limit,
            "message": self.message,
        }


class Problem(Exception):
    """Something anticipated. `detail` is a sentence for a person; nothing was changed."""

    status = 400
    kind = "wrong-input"
    title = "The input is wrong"

    def __init__(
        self, detail: str, errors: Iterable[FieldError] = (), *, retry_after: int | None = None, **extra
    ):
        self.detail = detail
        self.errors = tuple(errors)
        self.retry_after = retry_after
        self.extra = extra
        super().__init__(detail)

    def as_dict(self) -> dict:
        body = {
            "type": f"/problems/{self.kind}",
            "title": self.title,
            "status": self.status,
            "detail": self.detail,
            **self.extra,
        }
        if self.errors:
            body["errors"] = [error.as_dict() for error in self.errors]
        return body


class WrongInput(Problem):
    """Wrong fields; all of them are listed."""

    def __init__(self, errors: Iterable[FieldError], detail: str = ""):
        errors = tuple(errors)
        super().__init__(detail or " ".join(error.message for error in errors[:3]), errors)


class NotSignedIn(Problem):
    status, kind, title = 401, "not-signed-in", "Not signed in"

    def __init__(self, detail: str = "Sign in, or send an Authorization: Token key."):
        super().__init__(detail)


class NotAllowed(Problem):
    status, kind, title = 403, "not-allowed", "Not allowed for this role"

    def __init__(self, detail: str = "", *, role: str = "", needed: Iterable[str] = ()):
        needed = tuple(needed)
        who = " or ".join(needed) or "another role"
        super().__init__(detail or f"The role {role or 'none'} cannot do this. It needs {who}.")


class NotFound(Problem):
    status, kind, title = 404, "not-found", "Not found"


class Conflict(Problem):
    status, kind, title = 409, "conflict", "Something changed meanwhile"


class TooLarge(Problem):
    status, kind, title = 413, "too-large", "Too large"


class KeyReused(Problem):
    status, kind, title = 422, "idempotency-key-reused", "The Idempotency-Key was used for another request"


class TooManyTries(Problem):
    status, kind, title = 429, "too-many-tries", "Too many tries"


class Busy(Problem):
    status, kind, title = 503, "busy", "The database is busy"

    def __init__(
        self, detail: str = "The database is busy. Nothing was changed; try again.", retry_after: int = 2
    ):
        super().__init__(detail, retry_after=retry_after)


def _shown(value: Any) -> Any:
    """The value as it can stand in an answer: finite, short."""
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, str):
        return value[:200]
    if isinstance(value, int | float | bool) or value is None:
        return value
    return str(value)[:200]

"""One effect for one Idempotency-Key: the first answer is kept in the same transaction as the work, and given again.

A row for the key is inserted, and committed, before the work begins, so that a second request at the same moment
meets it. Work that fails takes its row along, and a retry can go on. A process that died leaves its row behind; after
two minutes another request may take it over, and since answer and work commit together, nothing is done twice.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone
from rest_framework.response import Response
from rest_framework.utils.encoders import JSONEncoder

from fittings.models import KeptAnswer
from shared.api import body_digest
from shared.problems import Conflict, FieldError, KeyReused, WrongInput
from shared.roles import Actor

HEADER = "Idempotency-Key"
LONGEST_KEY = 200
GIVEN_UP_AFTER = timedelta(minutes=2)


def answer_once(
    request,
    actor: Actor,
    make: Callable[..., tuple[int, dict[str, Any]]],
    *,
    before: Callable[[], Any] | None = None,
    body: Any = None,
    now: datetime | None = None,
) -> Response:
    """The answer of `make`, made once for the request's Idempotency-Key; without a key it is simply made.

    make    does the work and returns a status and a JSON object; with a key it runs inside a transaction
    before  what takes time and writes nothing (checks); it runs before that transaction, and `make` gets its result
    body    what must be equal in a repeat; the request's JSON where left out (give a file's digest for an upload)
    raises  WrongInput for a key that is none; KeyReused for another body or address; Conflict while the first request
            is still running; whatever `make` raises, and then the key is free again
    """
    key = request.headers.get(HEADER)
    if key is None:
        return Response(*reversed(make(*([before()] if before else []))))
    _check_key(key)
    now = now or timezone.now()
    who = f"{actor.role} {actor.name}"[:150]
    digest = body_digest([request.method, request.path, request.data if body is None else body])
    row = _claimed(who, key, digest, now)
    if row.status is not None:
        return Response(row.body, status=row.status, headers={"Idempotency-Replayed": "true"})
    try:
        prepared = [before()] if before else []
        with transaction.atomic():
            status, answer = make(*prepared)
            answer = json.loads(json.dumps(answer, cls=JSONEncoder))
            _keep(row, status, answer)
    except BaseException:
        KeptAnswer.objects.filter(pk=row.pk, status=None, made_at=row.made_at).delete()
        raise
    return Response(answer, status=status)


def _check_key(key: str) -> None:
    if not 1 <= len(key) <= LONGEST_KEY or not key.isascii() or not key.isprintable():
        limit = f"1 to {LONGEST_KEY} printable characters"
        message = f"The Idempotency-Key has {len(key)} characters; it can be {limit}."
        raise WrongInput([FieldError(HEADER, key[:40] if key.isprintable() else None, limit, message)])


def _claimed(who: str, key: str, digest: str, now: datetime) -> KeptAnswer:
    """A fresh row of our own, or the finished one of an earlier request."""
    for _ in range(5):
        try:
            with transaction.atomic():
                return KeptAnswer.objects.create(who=who, key=key, body_digest=digest, made_at=now)
        except IntegrityError:
            row = KeptAnswer.objects.filter(who=who, key=key).first()
        if row is None:  # the first request failed just now and took its row along
            continue
        if row.body_digest != digest:
            raise KeyReused("This Idempotency-Key was used for another request. Send a fresh key.")
        if row.status is not None:
            return row
        if now - row.made_at < GIVEN_UP_AFTER:
            break
        mine = KeptAnswer.objects.filter(pk=row.pk, status=None, made_at=row.made_at)
        if mine.update(made_at=now):
            row.made_at = now
            return row
    raise Conflict("The first request with this Idempotency-Key is still running. Ask again.", retry_after=1)


def _keep(row: KeptAnswer, status: int, answer: dict[str, Any]) -> None:
    kept = KeptAnswer.objects.filter(pk=row.pk, status=None, made_at=row.made_at)
    if not kept.update(status=status, body=answer):
        raise Conflict("Another request took this Idempotency-Key over. Ask again.", retry_after=1)

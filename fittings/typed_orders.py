"""What is typed into an order and not saved yet: kept by the page as it goes, offered again, thrown away.

A window names the revision that it saw. Where another window went on with the same typing, it is refused and keeps
its own under a token of its own: neither writes over the other.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.http import QueryDict
from django.utils import timezone

from fittings.models import TypedOrder
from shared.problems import Conflict, FieldError, WrongInput
from shared.roles import Actor

MOST_FIELDS = 20_000
LONGEST_VALUE = 4000
KEPT = timedelta(days=30)
ENDED_KEPT = timedelta(days=1)
OFFERED = 5
NOT_KEPT = ("csrfmiddlewaretoken", "typed_token", "typed_revision", "act")
_TOKEN = re.compile(r"[A-Za-z0-9-]{8,40}")


@dataclass(frozen=True)
class Offer:
    """Something typed and not saved, as the page offers it."""

    token: str
    kept_at: datetime
    customer: str
    lines: int


def typed_keep(
    *, page: str, token: str, revision: int, fields: Iterable[Any], actor: Actor, now: datetime
) -> TypedOrder:
    """Keep the fields of the form under the page's token.

    revision  the one that the window saw; 0 for the first time
    raises    WrongInput; Conflict where another window went on with it, saved it or threw it away
    """
    kept = _checked(token, fields)
    with transaction.atomic():
        if revision == 0:
            row = _begun(page, token, kept, actor, now)
            if row is not None:
                _prune(now)
                return row
        mine = TypedOrder.objects.select_for_update().filter(who=actor.name, token=token).first()
        if mine and not mine.ended_at and mine.revision == revision + 1 and mine.fields == kept:
            return mine  # the same once more: its answer did not arrive
        if mine is None or mine.ended_at or mine.revision != revision:
            raise _other_window(mine)
        mine.fields, mine.kept_at, mine.revision = kept, now, revision + 1
        mine.save(update_fields=["fields", "kept_at", "revision"])
    return mine


def typed_end(*, token: str, actor: Actor, now: datetime) -> None:
    """It was saved as an order, or is thrown away. A token that is none changes nothing."""
    if not _TOKEN.fullmatch(token):
        return
    ended = {"fields": [], "ended_at": now, "kept_at": now}
    TypedOrder.objects.update_or_create(who=actor.name, token=token, defaults=ended)


def typed_fields(token: str, actor: Actor) -> tuple[QueryDict, int] | None:
    """What is kept under a token as a form sends it, and its revision; None where there is nothing."""
    row = TypedOrder.objects.filter(who=actor.name, token=token[:40], ended_at=None).first()
    if row is None:
        return None
    data = QueryDict(mutable=True)
    for name, value in row.fields:
        data.appendlist(name, value)
    return data, row.revision


def typed_offers(page: str, actor: Actor) -> list[Offer]:
    """What this person typed on the page and did not save, the newest first."""
    rows = TypedOrder.objects.filter(who=actor.name, page=page, ended_at=None).order_by("-kept_at")[:OFFERED]
    return [_offer(row.token, row.kept_at, row.fields) for row in rows]


def _offer(token: str, kept_at: datetime, fields: list[list[str]]) -> Offer:
    given = dict(fields)
    lines = sum(bool(re.fullmatch(r"line-\d+-kind", name)) for name, _ in fields)
    return Offer(token, timezone.localtime(kept_at), given.get("customer", ""), lines)


def _checked(token: str, fields: Any) -> list[list[str]]:
    if not isinstance(token, str) or not _TOKEN.fullmatch(token):
        limit = "8 to 40 letters, digits and -"
        raise WrongInput([FieldError("token", str(token)[:60], limit, f"The token can be {limit}.")])
    limit = f"at most {MOST_FIELDS} pairs of name and text of at most {LONGEST_VALUE} characters"
    pairs = list(fields) if isinstance(fields, list | tuple) and len(fields) <= MOST_FIELDS else None
    if pairs is None or not all(_is_pair(pair) for pair in pairs):
        raise WrongInput([FieldError("fields", None, limit, f"The fields can be {limit}.")])
    return [[name, value.replace("\x00", "")] for name, value in pairs if name not in NOT_KEPT]


def _is_pair(pair: Any) -> bool:
    is_two = isinstance(pair, list | tuple) and len(pair) == 2
    return is_two and all(isinstance(text, str) and len(text) <= LONGEST_VALUE for text in pair)


def _begun(page: str, token: str, kept: list, actor: Actor, now: datetime) -> TypedOrder | None:
    try:
        with transaction.atomic():
            return TypedOrder.objects.create(
                who=actor.name, page=page[:30], token=token, fields=kept, kept_at=now
            )
    except IntegrityError:
        return None


def _prune(now: datetime) -> None:
    TypedOrder.objects.filter(kept_at__lt=now - KEPT).delete()
    TypedOrder.objects.filter(ended_at__lt=now - ENDED_KEPT).delete()


def _other_window(row: TypedOrder | None) -> Conflict:
    if row is None or row.ended_at:
        return Conflict(
            "This was saved or thrown away in another window. What is typed here is kept apart from now on."
        )
    at = f"{timezone.localtime(row.kept_at):%H:%M}"
    return Conflict(
        f"Another window went on with this at {at}. What is typed here is kept apart from now on."
    )


def token_of(data: Mapping[str, Any]) -> str:
    return str(data.get("typed_token") or "")

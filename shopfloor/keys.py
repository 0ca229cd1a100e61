"""A key or a session to an Actor. Keys are 256 random bits, shown once, kept as SHA-256; revoked is dead at once."""

from __future__ import annotations

import hashlib
import json
import secrets
from contextlib import suppress
from datetime import datetime, timedelta

from django.db import OperationalError
from django.utils import timezone
from rest_framework.authentication import BaseAuthentication, CSRFCheck

from shared import rows
from shared.middleware import answer_problem
from shared.problems import Busy, NotAllowed, NotSignedIn
from shared.roles import OFFICE, OPERATOR, Actor
from shared.turn import write_turn
from shopfloor.models import Key, Person, Program, Station
from shopfloor.scopes import actor_at

TABLET_COOKIE = "tablet_key"
SEEN_EVERY = timedelta(hours=1)
OF_KEY = (
    "SELECT k.id, s.code, s.operations, s.is_active, p.username, p.role, p.is_active, k.expires_at, g.id, g.name,"
    " g.scopes, g.is_active, g.seen_at FROM shopfloor_key k LEFT JOIN shopfloor_station s ON s.id = k.station_id"
    " LEFT JOIN shopfloor_person p ON p.id = k.person_id LEFT JOIN shopfloor_program g ON g.id = k.program_id"
    " WHERE k.digest = %s AND k.revoked_at IS NULL"
)


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def key_make(
    *, now: datetime, label: str = "", **holder: Person | Station | Program | datetime
) -> tuple[Key, str]:
    """A fresh key, and its text, which is told this once.

    holder  `person`, `station` or `program`; `expires_at` where it ends by itself
    """
    secret = secrets.token_urlsafe(32)
    return Key.objects.create(digest=digest(secret), label=label, made_at=now, **holder), secret


def actor_of_key(secret: str) -> Actor | None:
    """The actor that a key's text stands for, or None for an unknown or revoked one. One query."""
    found = rows.select(OF_KEY, (digest(secret),))
    if not found:
        return None
    key_id, station, operations, station_active, username, role, person_active, expires_at = found[0][:8]
    if expires_at is not None and rows.moment(expires_at) <= timezone.now():
        return None
    if station:
        if not station_active:
            return None
        operations = json.loads(operations) if isinstance(operations, str) else operations
        return Actor(station, OPERATOR, station, tuple(operations), key_id)
    if username:
        return Actor(username, role, key_id=key_id) if person_active else None
    return _program(key_id, *found[0][8:])


def _program(key_id: int, pk: int, name: str, scopes, is_active: bool, seen_at) -> Actor | None:
    """A program acts as the office within its scopes; that it was seen is noted now and then."""
    if not is_active:
        return None
    now = timezone.now()
    if seen_at is None or rows.moment(seen_at) < now - SEEN_EVERY:
        with suppress(OperationalError, Busy), write_turn():
            Program.objects.filter(pk=pk).update(seen_at=now)
    scopes = json.loads(scopes) if isinstance(scopes, str) else scopes
    return Actor(name, OFFICE, key_id=key_id, scopes=frozenset(scopes))


def actor_of_person(person: Person) -> Actor:
    return Actor(person.username, person.role)


def key_of_request(request) -> str:
    """The key's text from the Authorization header, or from an enrolled tablet's cookie."""
    scheme, _, secret = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
    if scheme.lower() == "token":
        return secret.strip()
    return ""


def actor_middleware(get_response):
    """Sets `request.actor` (None where nobody is signed in): key first, then the session, then the tablet's cookie."""

    def find(request) -> Actor | None:
        secret = key_of_request(request)
        if secret:
            return actor_of_key(secret)
        if request.user.is_authenticated:
            return actor_of_person(request.user)
        cookie = request.COOKIES.get(TABLET_COOKIE, "")
        return actor_of_key(cookie) if cookie else None

    def middleware(request):
        actor = find(request)
        if actor is not None and actor.scopes is not None:
            try:
                actor = actor_at(actor, request.method, request.path)
            except NotAllowed as refusal:
                request.actor = None
                return answer_problem(request, refusal)
        request.actor = actor
        return get_response(request)

    return middleware


class KeyOrSession(BaseAuthentication):
    """For the API: `Authorization: Token <key>`, or the session or tablet cookie with the CSRF token."""

    def authenticate(self, request):
        raw = request._request
        actor = raw.actor
        if key_of_request(raw):
            if not actor:
                raise NotSignedIn("This key is unknown or was revoked.")
            return actor, "key"
        if not actor:
            return None
        check = CSRFCheck(lambda _: None)
        check.process_request(raw)
        reason = check.process_view(raw, None, (), {})
        if reason:
            raise NotAllowed("The page was open too long or in another window. Load it again.")
        return actor, "session"

    def authenticate_header(self, request):
        return "Token"

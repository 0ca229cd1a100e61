"""A key or a session to an Actor. Keys are 256 random bits, shown once, kept as SHA-256; revoked is dead at once."""

from __future__ import annotations

import hashlib
import json
import secrets
from datetime import datetime

from rest_framework.authentication import BaseAuthentication, CSRFCheck

from shared import rows
from shared.problems import NotAllowed, NotSignedIn
from shared.roles import OPERATOR, Actor
from shopfloor.models import Key, Person, Station

TABLET_COOKIE = "tablet_key"
OF_KEY = (
    "SELECT k.id, s.code, s.operations, s.is_active, p.username, p.role, p.is_active FROM shopfloor_key k"
    " LEFT JOIN shopfloor_station s ON s.id = k.station_id LEFT JOIN shopfloor_person p ON p.id = k.person_id"
    " WHERE k.digest = %s AND k.revoked_at IS NULL"
)


def digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def key_make(
    *, now: datetime, person: Person | None = None, station: Station | None = None, label: str = ""
) -> tuple[Key, str]:
    """A fresh key for a person or a station, and its text, which is told this once."""
    secret = secrets.token_urlsafe(32)
    return Key.objects.create(
        digest=digest(secret), person=person, station=station, label=label, made_at=now
    ), secret


def actor_of_key(secret: str) -> Actor | None:
    """The actor that a key's text stands for, or None for an unknown or revoked one. One query."""
    found = rows.select(OF_KEY, (digest(secret),))
    if not found:
        return None
    key_id, station, operations, station_active, username, role, person_active = found[0]
    if station:
        if not station_active:
            return None
        operations = json.loads(operations) if isinstance(operations, str) else operations
        return Actor(station, OPERATOR, station, tuple(operations), key_id)
    return Actor(username, role, key_id=key_id) if person_active else None


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
        request.actor = find(request)
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

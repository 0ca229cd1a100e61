"""An enrolled tablet that sends scans as its page does: numbered, with what it tells of itself."""

from __future__ import annotations

import json
from datetime import datetime
from itertools import count

from django.test import Client
from django.utils import timezone

from shopfloor.keys import key_make
from shopfloor.models import Station, Tablet

SERIES = "0b7c5a10-5a1e-4d0f-9a55-0d4b6c1e2f30"
OTHER_SERIES = "77777777-5a1e-4d0f-9a55-0d4b6c1e2f30"
_serial = count(1)


def enrolled(
    station: Station, now: datetime, name: str = "", by: str = "supervisor"
) -> tuple[Tablet, Client]:
    """A tablet of a station, and a browser that holds its key."""
    key, secret = key_make(now=now, station=station)
    tablet = Tablet.objects.create(
        name=name or f"{station.code} tablet", station=station, key=key, enrolled_at=now, enrolled_by=by
    )
    client = Client()
    client.defaults["HTTP_AUTHORIZATION"] = f"Token {secret}"
    return tablet, client


def scan(number: int | None, **changes) -> dict:
    found = {
        "id": f"scan-{next(_serial):06}",
        "code": "AA0000",
        "action": "finish",
        "badge": "",
        "scanned_at": timezone.now().isoformat(),
        **changes,
    }
    return found if number is None else {**found, "number": number}


def send(client: Client, scans: list[dict], series: str = SERIES, **headers):
    """POST a batch; `series` empty leaves its header out, `headers` are sent as Tablet-… headers."""
    given = {f"HTTP_TABLET_{name.upper()}": str(value) for name, value in headers.items()}
    if series:
        given["HTTP_TABLET_SERIES"] = series
    body = json.dumps({"scans": scans})
    return client.post("/api/v1/scans/", body, content_type="application/json", **given)

"""What a tablet tells of itself with its requests, kept as when it was last seen.

A value that cannot be read counts as not told: no scan and no queue ever fails for it. A tablet's row is written at
most every half minute, so that scans stay quick.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from django.db import DatabaseError
from django.db.models import Q
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter

from shared.problems import Busy
from shared.roles import OPERATOR, Actor
from shared.turn import write_turn
from shopfloor.models import Tablet
from shopfloor.tablet_shelf import release

WRITTEN_EVERY = timedelta(seconds=30)
PATIENCE_S = 0.2  # reading the queue goes on while the database is busy
LONGEST_AGE_S = 366 * 86_400
MOST_UNSENT = 1_000_000
_VERSION = re.compile(r"[A-Za-z0-9._\-]{1,40}")
_SERIES = re.compile(r"[A-Za-z0-9\-]{8,64}")
_written: dict[int, datetime] = {}


def _header(name: str, kind, text: str) -> OpenApiParameter:
    return OpenApiParameter(name, kind, OpenApiParameter.HEADER, required=False, description=text)


HEADERS = [
    _header(
        "Tablet-Version", OpenApiTypes.STR, "Version of the tablet's page: 1 to 40 letters, digits, . _ -"
    ),
    _header("Tablet-Unsent", OpenApiTypes.INT, "Scans kept and not sent, without those of this request."),
    _header("Tablet-Oldest-Unsent", OpenApiTypes.INT, "Age in seconds of the oldest of these."),
    _header("Tablet-Battery", OpenApiTypes.INT, "Percent, 0 to 100."),
    OpenApiParameter(
        "Tablet-Charging", OpenApiTypes.STR, OpenApiParameter.HEADER, required=False, enum=["yes", "no"]
    ),
    _header(
        "Tablet-Series",
        OpenApiTypes.STR,
        "Name of the tablet's series of scan numbers: 8 to 64 letters, digits and dashes, made at random.",
    ),
]


@dataclass(frozen=True)
class Report:
    """What one request tells of its tablet; None or empty where it does not."""

    version: str = ""
    unsent: int | None = None
    oldest_unsent_s: int | None = None
    battery: int | None = None
    is_charging: bool | None = None
    series: str = ""


def report_read(headers: Mapping[str, str]) -> Report:
    def text(name: str, form: re.Pattern) -> str:
        value = headers.get(name, "")
        return value if form.fullmatch(value) else ""

    def whole(name: str, most: int) -> int | None:
        value = headers.get(name, "")
        is_number = value.isascii() and value.isdigit() and len(value) <= 10
        return int(value) if is_number and int(value) <= most else None

    return Report(
        version=text("Tablet-Version", _VERSION),
        unsent=whole("Tablet-Unsent", MOST_UNSENT),
        oldest_unsent_s=whole("Tablet-Oldest-Unsent", LONGEST_AGE_S),
        battery=whole("Tablet-Battery", 100),
        is_charging={"yes": True, "no": False}.get(headers.get("Tablet-Charging", "")),
        series=text("Tablet-Series", _SERIES),
    )


def presence_note(*, actor: Actor, report: Report, now: datetime) -> None:
    """Keep when a tablet was seen and what it told. Where the database is busy, its next request tells it again."""
    if actor.role != OPERATOR or actor.key_id is None:
        return
    last = _written.get(actor.key_id)
    if last is not None and timedelta(0) <= now - last < WRITTEN_EVERY:
        return
    _written[actor.key_id] = now
    oldest = None
    if report.unsent and report.oldest_unsent_s is not None:
        oldest = now - timedelta(seconds=report.oldest_unsent_s)
    is_due = Q(seen_at=None) | Q(seen_at__lte=now - WRITTEN_EVERY) | Q(seen_at__gt=now)
    try:
        with write_turn(patience=PATIENCE_S):
            Tablet.objects.filter(is_due, key_id=actor.key_id).update(
                seen_at=now,
                version=report.version,
                battery=report.battery,
                is_charging=report.is_charging,
                unsent=report.unsent,
                oldest_unsent_at=oldest,
            )
    except (Busy, DatabaseError):
        return


@cache
def page_version() -> str:
    """The version of the tablet's page that this server gives out."""
    return release()

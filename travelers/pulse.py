"""The one row that orders the record and tells the screens that something changed."""

from __future__ import annotations

from django.db import connection

from travelers.models import Pulse

CHANNEL = "pulse"
_BOTH = (
    "UPDATE travelers_pulse SET sequence = sequence + %s, version = version + %s WHERE id = 1 "
    "RETURNING sequence, version"
)


def pulse_beat(*, scans: int = 0, changes: int = 1) -> tuple[int, int]:
    """Take the next `scans` sequences and `changes` versions; the row stays locked to the commit.

    returns  the last sequence and the version that now hold. On PostgreSQL listeners hear of it at the commit.
    """
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql" and changes:
            cursor.execute(
                f"WITH beat AS ({_BOTH}) SELECT sequence, version, pg_notify('{CHANNEL}', version::text) FROM beat",
                [scans, changes],
            )
        else:
            cursor.execute(_BOTH, [scans, changes])
        row = cursor.fetchone()
    return int(row[0]), int(row[1])


def pulse_version() -> int:
    return Pulse.objects.values_list("version", flat=True).get(pk=1)


def pulse_epoch() -> str:
    return Pulse.objects.values_list("epoch", flat=True).get(pk=1)

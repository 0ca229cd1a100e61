"""One row appended to the scan record: sequence, scan and targets, under the lock of the pulse, held briefly."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db import connection

from shared import rows
from travelers.pulse import CHANNEL, pulse_beat

COLUMNS = (
    "scan_id, body_digest, code, action, count, badge, reason, undoes, station, operations, scanned_at, received_at,"
    " effective_at, is_time_doubtful, outcome, reason_code, message, operation, changed,"
    " number"
)
_INSERT_SCAN = f"INSERT INTO travelers_scan (sequence, {COLUMNS}) VALUES {rows.places(21)}"
_TARGET = "scan_id, fitting_id, segment_id, plate, plates"
_INSERT_TARGET = f"INSERT INTO travelers_scantarget ({_TARGET}) VALUES {rows.places(5)}"
_KINDS = (
    *("text", "text", "text", "text", "integer", "text", "text", "text", "text", "text"),
    *("timestamptz", "timestamptz", "timestamptz", "boolean", "text", "text", "text", "text", "integer"),
    "integer",
)
_AT_ONCE = (
    "WITH beat AS (UPDATE travelers_pulse SET sequence = sequence + 1, version = version + %s::integer WHERE id = 1"
    f" RETURNING sequence, version), scan AS (INSERT INTO travelers_scan (sequence, {COLUMNS})"
    f" SELECT sequence, {', '.join(f'%s::{kind}' for kind in _KINDS)} FROM beat){{targets}}"
    f" SELECT sequence, CASE WHEN %s::boolean THEN pg_notify('{CHANNEL}', version::text) END FROM beat"
)
_TARGETS = (
    f", target AS (INSERT INTO travelers_scantarget ({_TARGET})"
    " SELECT beat.sequence, piece.* FROM beat, (VALUES {values}) AS piece)"
)

Target = tuple[int, int | None, int, int]


def append_scan(values: Sequence[Any], targets: Sequence[Target], *, changes: int) -> int:
    """Append a scan, in the caller's transaction, which ends soon after.

    values   of COLUMNS, times as the database takes them
    targets  (fitting, segment or None, plate, of how many plates) of a recorded scan; 0, 0 for the whole segment
    changes  1 where the screens must hear of it, else 0
    returns  its sequence
    """
    if connection.vendor == "postgresql":
        pieces = ", ".join(["(%s::bigint, %s::bigint, %s::smallint, %s::smallint)"] * len(targets))
        sql = _AT_ONCE.format(targets=_TARGETS.format(values=pieces) if targets else "")
        flat = [one for target in targets for one in target]
        return _append_and_commit(sql, [changes, *values, *flat, bool(changes)])
    sequence, _ = pulse_beat(scans=1, changes=changes)
    rows.execute(_INSERT_SCAN, [sequence, *values])
    if targets:
        rows.execute_many(_INSERT_TARGET, [(sequence, *target) for target in targets])
    return sequence


def _append_and_commit(sql: str, params: Sequence[Any]) -> int:
    """Send the statement with the commit behind it, so that the pulse is not locked while this process gets its turn.

    Inside a caller's own transaction the commit stays the caller's.
    """
    with rows.pipelined(), connection.cursor() as cursor:
        cursor.execute(sql, params)
        if rows.is_outermost():
            connection.connection.commit()
        return cursor.fetchone()[0]

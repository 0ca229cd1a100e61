"""Years of finished work, written straight into the tables by the database itself: a million scans a minute.

Five-piece elbows, twenty to an order: a fitting has 18 tasks, and a scan with its target for each.
"""

from __future__ import annotations

import os
import time
from datetime import datetime, timedelta

from django.db import connection, transaction

SEGMENTS, PER_FITTING, PER_ORDER = 5, 18, 20


def fill(scans: int, *, order, last: datetime, days: float) -> float:
    """Orders like `order`, finished one after the other over the `days` before `last`.

    scans    at least so many; whole orders
    returns  seconds that it took
    """
    began = time.monotonic()
    orders = -(-scans // (PER_FITTING * PER_ORDER))
    fittings = orders * PER_ORDER
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA cache_size = -2000000")
        else:
            cursor.execute("SET LOCAL session_replication_role = replica")  # no check of each foreign key
        first = {table: _highest(cursor, table) for table in _TABLES}
        numbers = first | {
            "order_like": order.pk,
            "line_like": order.lines.get().pk,
            "scans_before": _value(cursor, "SELECT sequence FROM travelers_pulse"),
        }
        begin = last - timedelta(days=days)
        step = days * 86400 / fittings
        for table, count in (
            ("fittings_order", orders),
            ("fittings_orderline", orders),
            ("fittings_fitting", fittings),
            ("fittings_segment", fittings * SEGMENTS),
            ("travelers_task", fittings * PER_FITTING),
            ("travelers_scan", fittings * PER_FITTING),
            ("travelers_scantarget", fittings * PER_FITTING),
        ):
            columns, values, more = _TABLES[table]
            words = {
                "n": "s.n",
                "at": _at(begin, step, fittings / count),
                "before": _at(begin - timedelta(hours=30), step, fittings / count),
                "code": _code(first[table]),
                "id": _chance(),
                **numbers,
            }
            cursor.execute(
                f"INSERT INTO {table} ({columns}) SELECT {values.format(**words)}"
                f" FROM {_series(count)} {more.format(**words)}"
            )
        cursor.execute(
            f"UPDATE travelers_pulse SET sequence = sequence + {fittings * PER_FITTING}, version = version + 1"
        )
        if connection.vendor == "postgresql":
            for table in set(_TABLES) - {"travelers_scan"}:
                cursor.execute(
                    f"SELECT setval(pg_get_serial_sequence('{table}', 'id'), (SELECT MAX(id) FROM {table}))"
                )
    return time.monotonic() - began


def settle() -> None:
    """As a database that has had years for it: nothing waits for the disk, PostgreSQL knows its tables."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("VACUUM ANALYZE")
            cursor.execute("CHECKPOINT")
        else:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            cursor.execute("PRAGMA cache_size = -32000")
    os.sync()


# -- one SQL for both databases -------------------------------------------------


_TABLES = {  # columns, values for row n from 1, where more rows than n are needed
    "fittings_order": (
        "id, number, customer_id, purchase_order, due_on, priority, notes, state, version, tables, created_at,"
        " created_by, released_at, released_by, ended_at, fittings_total, fittings_done",
        "{fittings_order} + {n}, 'OLD-' || ({fittings_order} + {n}), o.customer_id, '', NULL, 5, '', 'done', 1,"
        " o.tables, {before}, 'bench', {before}, 'bench', {at}, 20, 20",
        "CROSS JOIN fittings_order o WHERE o.id = {order_like}",
    ),
    "fittings_orderline": (
        "id, order_id, position, quantity, kind, material, gauge, params, end_a, end_b, end_c, joins_a, joins_b,"
        " joins_c, tag, traveler_per, development",
        "{fittings_orderline} + {n}, {fittings_order} + {n}, 1, 20, l.kind, l.material, l.gauge, l.params,"
        " l.end_a, l.end_b, l.end_c, '', '', '', 'OLD', l.traveler_per, NULL",
        "CROSS JOIN fittings_orderline l WHERE l.id = {line_like}",
    ),
    "fittings_fitting": (
        "id, order_id, line_id, number, code, traveler_code, state, done_at",
        "{fittings_fitting} + {n}, {fittings_order} + ({n} - 1) / 20 + 1, {fittings_orderline} + ({n} - 1) / 20 + 1,"
        " ({n} - 1) % 20 + 1, {code}, 'T' || ({fittings_order} + ({n} - 1) / 20), 'done', {at}",
        "",
    ),
    "fittings_segment": (
        "id, fitting_id, position, generation, role, pattern, code, state",
        "{fittings_segment} + {n}, {fittings_fitting} + ({n} - 1) / 5 + 1, ({n} - 1) % 5 + 1, 1, 'gore', 'x', {code},"
        " 'done'",
        "",
    ),
    "travelers_task": (
        "id, fitting_id, segment_id, operation_id, step, method, minutes, needs_own_scan, state, is_implied, station,"
        " badge, reason, ready_at, finished_at",
        "{travelers_task} + {n}, {fittings_fitting} + ({n} - 1) / 18 + 1,"
        " CASE WHEN ({n} - 1) % 18 < 15"
        " THEN {fittings_segment} + ({n} - 1) / 18 * 5 + ({n} - 1) % 18 / 3 + 1 END, p.code, p.position, '', 3.0,"
        " FALSE, 'done', FALSE, 'CUT-1', '', '', {before}, {at}",
        "JOIN travelers_operation p ON p.code = CASE WHEN ({n} - 1) % 18 < 15"
        " THEN CASE ({n} - 1) % 3 WHEN 0 THEN 'cut' WHEN 1 THEN 'roll' ELSE 'seam' END"
        " ELSE CASE ({n} - 1) % 3 WHEN 0 THEN 'assemble' WHEN 1 THEN 'ends' ELSE 'wrap' END END",
    ),
    "travelers_scan": (
        "sequence, scan_id, body_digest, code, action, badge, reason, undoes, station, operations, scanned_at,"
        " received_at, effective_at, is_time_doubtful, outcome, reason_code, message, operation, changed",
        "{scans_before} + {n}, {id}, '', f.code, 'finish', '', '', '', 'CUT-1', 'cut', {at}, {at}, {at}, FALSE,"
        " 'recorded', '', 'old', 'cut', 1",
        "JOIN fittings_fitting f ON f.id = {fittings_fitting} + ({n} - 1) / 18 + 1",
    ),
    "travelers_scantarget": (
        "scan_id, fitting_id, plate, plates",
        "{scans_before} + {n}, {fittings_fitting} + ({n} - 1) / 18 + 1, 0, 0",
        "",
    ),
}


def _series(count: int) -> str:
    """A table `s` of the numbers n from 1 to `count`."""
    if connection.vendor == "postgresql":
        return f"generate_series(1, {count}) AS s(n)"
    return f"(WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c WHERE n < {count}) SELECT n FROM c) AS s"


def _code(first: int) -> str:
    """A code of ten letters that no other row has, scattered as real ones are: their indexes are filled all over."""
    if connection.vendor == "postgresql":
        return f"substr(md5(random()::text), 1, 4) || lpad(to_hex({first} + s.n), 6, '0')"
    return f"lower(hex(randomblob(2))) || printf('%06x', {first} + s.n)"


def _chance() -> str:
    """Text by chance, as ids of scans are."""
    return "gen_random_uuid()::text" if connection.vendor == "postgresql" else "lower(hex(randomblob(16)))"


def _at(begin: datetime, step: float, share: float) -> str:
    """The time of row n: `begin`, and `step` seconds a fitting; a row is `share` fittings."""
    if connection.vendor == "postgresql":
        return f"TIMESTAMPTZ '{begin.isoformat()}' + s.n * {step * share} * INTERVAL '1 second'"
    return f"strftime('%Y-%m-%d %H:%M:%f', {begin.timestamp()} + s.n * {step * share}, 'unixepoch') || '000'"


def _highest(cursor, table: str) -> int:
    return _value(
        cursor, f"SELECT COALESCE(MAX({'sequence' if table == 'travelers_scan' else 'id'}), 0) FROM {table}"
    )


def _value(cursor, sql: str) -> int:
    cursor.execute(sql)
    return cursor.fetchone()[0]

"""The open work and the last hours, counted in SQL. No query here looks at history.

The conditions of the partial indexes stand in the SQL as literals: SQLite does not match a bound value with them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time

from django.db import connection

OPEN = "t.state IN ('waiting', 'ready', 'running', 'held')"


@dataclass(frozen=True, slots=True)
class Work:
    state: str
    order: int
    kind: str
    minutes: float
    tasks: int


def all_rows(sql: str, values: list | tuple = ()) -> list[tuple]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.fetchall()


def moment(value) -> datetime | None:
    """A time as the database driver gives it: SQLite gives its text, in UTC."""
    if isinstance(value, str):
        value = datetime.fromisoformat(value)
    return value.replace(tzinfo=UTC) if value is not None and value.tzinfo is None else value


def stored(at: datetime):
    """A time as the database compares it."""
    return connection.ops.adapt_datetimefield_value(at.astimezone(UTC))


def marks(values) -> str:
    return ", ".join(["%s"] * len(values))


def midnight_of(now: datetime) -> datetime:
    return datetime.combine(now.date(), time(0), now.tzinfo)


def counts_by_state() -> tuple[dict[str, dict[str, int]], dict[str, datetime]]:
    """Open tasks by operation and state, and since when the oldest ready one has been ready. From the index alone."""
    counts: dict[str, dict[str, int]] = {}
    oldest: dict[str, datetime] = {}
    for operation, state, count, since in all_rows(
        f"SELECT t.operation_id, t.state, COUNT(*), MIN(t.ready_at) FROM travelers_task t WHERE {OPEN}"
        " GROUP BY t.operation_id, t.state"
    ):
        counts.setdefault(operation, {})[state] = count
        if state == "ready" and since is not None:
            oldest[operation] = moment(since)
    return counts, oldest


def work_lying() -> dict[str, list[Work]]:
    """What lies at each operation, a row a fitting and state, the longest ready first."""
    found: dict[str, list[Work]] = {}
    for operation, state, order, kind, minutes, tasks, _ in all_rows(
        "SELECT w.operation_id, w.state, f.order_id, l.kind, w.minutes, w.tasks, w.since FROM ("
        " SELECT t.operation_id, t.state, t.fitting_id, SUM(t.minutes) AS minutes, COUNT(*) AS tasks,"
        f" MIN(t.ready_at) AS since FROM travelers_task t WHERE {OPEN} AND t.state IN ('ready', 'running', 'held')"
        " GROUP BY t.operation_id, t.state, t.fitting_id) w"
        " JOIN fittings_fitting f ON f.id = w.fitting_id JOIN fittings_orderline l ON l.id = f.line_id"
        " ORDER BY w.since, w.fitting_id"
    ):
        found.setdefault(operation, []).append(Work(state, order, kind, minutes or 0.0, tasks))
    return found


def finished(codes: list[str], *, midnight: datetime, since: datetime) -> tuple[dict, dict]:
    """Tasks finished since midnight, and since another moment, by operation. From the index of done tasks by time."""
    if not codes:
        return {}, {}
    found = all_rows(
        "SELECT t.operation_id, SUM(CASE WHEN t.finished_at >= %s THEN 1 ELSE 0 END),"
        " SUM(CASE WHEN t.finished_at >= %s THEN 1 ELSE 0 END) FROM travelers_task t"
        f" WHERE t.state = 'done' AND t.operation_id IN ({marks(codes)}) AND t.finished_at >= %s"
        " GROUP BY t.operation_id",
        [stored(midnight), stored(since), *codes, stored(min(midnight, since))],
    )
    return {row[0]: int(row[1]) for row in found}, {row[0]: int(row[2]) for row in found}


def arrivals_since(codes: list[str], *, since: datetime) -> dict[str, int]:
    """Tasks that became ready since a moment, by operation."""
    if not codes:
        return {}
    return dict(
        all_rows(
            "SELECT t.operation_id, COUNT(*) FROM travelers_task t"
            f" WHERE t.operation_id IN ({marks(codes)}) AND t.ready_at >= %s GROUP BY t.operation_id",
            [*codes, stored(since)],
        )
    )

"""The open work and the last hours, counted in SQL. No query here looks at history.

The conditions of the partial indexes stand in the SQL as literals: SQLite does not match a bound value with them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from django.db import connection

OPEN = "t.state IN ('waiting', 'ready', 'running', 'held')"


MOST_SLATS = 1500
"""Tasks read a bay and state for its pile. More than any pile can show: it is cut off long before."""
LYING = ("running", "ready", "held")


@dataclass(frozen=True, slots=True)
class Total:
    """Open tasks of an operation in one state; the minutes of those that wait or are held are not counted."""

    tasks: int
    minutes: float
    since: datetime | None


@dataclass(slots=True)
class Work:
    """What one fitting still needs at an operation, in one state."""

    state: str
    order: int
    kind: str
    minutes: float = 0.0
    tasks: int = 0


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


def totals() -> tuple[dict[str, dict[str, Total]], set[str]]:
    """Open tasks by operation and state: how many, since when the oldest is ready, and the minutes of the queued ones.

    And the codes of the stations where something is running. Two statements: the counts come from the index alone;
    only what is ready or running is looked up for its minutes.
    """
    minutes: dict[tuple[str, str], float] = {}
    at_work = set()
    for operation, state, station, total in all_rows(
        "SELECT t.operation_id, t.state, t.station, SUM(t.minutes) FROM travelers_task t"
        f" WHERE {OPEN} AND t.state IN ('ready', 'running') GROUP BY t.operation_id, t.state, t.station"
    ):
        minutes[operation, state] = minutes.get((operation, state), 0.0) + total
        if state == "running":
            at_work.add(station)
    found: dict[str, dict[str, Total]] = {}
    for operation, state, tasks, since in all_rows(
        "SELECT t.operation_id, t.state, COUNT(*), MIN(t.ready_at) FROM travelers_task t"
        f" WHERE {OPEN} GROUP BY t.operation_id, t.state"
    ):
        total = Total(tasks, minutes.get((operation, state), 0.0), moment(since))
        found.setdefault(operation, {})[state] = total
    return found, at_work


def work_lying(operations: list[str]) -> dict[str, list[Work]]:
    """The first of what lies at each operation, a row a fitting and state, the longest ready first.

    One statement of short walks along the index, a walk an operation and state, so that the cost has a ceiling.
    """
    walks = [
        "SELECT * FROM (SELECT t.operation_id, t.state, t.fitting_id, t.minutes, t.ready_at FROM travelers_task t"
        f" WHERE {OPEN} AND t.state = '{state}' AND t.operation_id = %s"
        f" ORDER BY t.ready_at LIMIT {MOST_SLATS}) w{number}_{state}"
        for number in range(len(operations))
        for state in LYING
    ]
    if not walks:
        return {}
    found: dict[str, dict[tuple[int, str], Work]] = {}
    for operation, state, fitting, minutes, order, kind in all_rows(
        "SELECT w.operation_id, w.state, w.fitting_id, w.minutes, f.order_id, l.kind"
        f" FROM ({' UNION ALL '.join(walks)}) w"
        " JOIN fittings_fitting f ON f.id = w.fitting_id JOIN fittings_orderline l ON l.id = f.line_id"
        " ORDER BY w.ready_at, w.fitting_id",
        [code for code in operations for _ in LYING],
    ):
        at = found.setdefault(operation, {})
        work = at.get((fitting, state))
        if work is None:
            work = at[fitting, state] = Work(state, order, kind)
        work.minutes += minutes
        work.tasks += 1
    return {operation: list(at.values()) for operation, at in found.items()}


@dataclass(frozen=True, slots=True)
class Finished:
    """Tasks of an operation that were finished: today, and since a moment with the minutes that they take."""

    today: int = 0
    lately: int = 0
    minutes: float = 0.0


def finished(
    codes: list[str], *, midnight: datetime, since: datetime
) -> tuple[dict[str, Finished], set[str]]:
    """Tasks finished since midnight, and since another moment, by operation. From the index of done tasks by time.

    And the codes of the stations that finished something since that other moment. Two statements: the counts come from
    the index alone; only what was finished lately is looked up for its minutes.
    """
    if not codes:
        return {}, set()
    done = (
        f"FROM travelers_task t WHERE t.state = 'done' AND t.operation_id IN ({marks(codes)})"
        " AND t.finished_at >= %s"
    )
    minutes: dict[str, float] = {}
    at_work = set()
    for operation, station, total in all_rows(
        f"SELECT t.operation_id, t.station, SUM(t.minutes) {done} GROUP BY t.operation_id, t.station",
        [*codes, stored(since)],
    ):
        minutes[operation] = minutes.get(operation, 0.0) + total
        at_work.add(station)
    late = "SUM(CASE WHEN t.finished_at >= %s THEN 1 ELSE 0 END)"
    counts = all_rows(
        f"SELECT t.operation_id, {late}, {late} {done} GROUP BY t.operation_id",
        [stored(midnight), stored(since), *codes, stored(min(midnight, since))],
    )
    found = {
        code: Finished(int(today), int(lately), minutes.get(code, 0.0)) for code, today, lately in counts
    }
    return found, at_work


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


def fittings_due(*, midnight: datetime) -> tuple[dict[date, int], int]:
    """Fittings that were open at midnight or came since, by the day on which they are due; how many of all are done.

    CROSS JOIN keeps SQLite to this order of the tables, from the released orders.
    """
    by_due: dict[date, int] = {}
    done = 0
    for due, is_done, fittings in all_rows(
        "SELECT o.due_on, 1, COUNT(*) FROM fittings_fitting f JOIN fittings_order o ON o.id = f.order_id"
        " WHERE f.state = 'done' AND f.done_at >= %s GROUP BY o.due_on"
        " UNION ALL SELECT o.due_on, 0, COUNT(*) FROM fittings_order o CROSS JOIN fittings_fitting f"
        " WHERE o.state = 'released' AND f.order_id = o.id AND f.state = 'open' GROUP BY o.due_on",
        [stored(midnight)],
    ):
        done += is_done * fittings
        if due is not None:
            day = date.fromisoformat(due) if isinstance(due, str) else due
            by_due[day] = by_due.get(day, 0) + fittings
    return by_due, done

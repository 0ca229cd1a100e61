"""What a supervisor should look at: kits short of a piece, orders that will be late. Open work only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection
from django.utils import timezone

from shopfloor.flow.calendar import Calendar
from shopfloor.models import Promise
from shopfloor.open_work import OPEN, all_rows, marks, moment
from shopfloor.order_promises import promises_since

MOST_KITS = 20
MOST_LATE = 20
DUE_SOON_DAYS = 3


@dataclass(frozen=True)
class MissingSegment:
    segment: str
    position: int
    role: str
    generation: int
    operation: str
    state: str
    since: str | None


@dataclass(frozen=True)
class ShortKit:
    """A fitting that waits at assembly with part of its segments done, and those that it lacks."""

    fitting: str
    order: str
    line: int
    tag: str
    kind: str
    due: str | None
    segments: int
    done: int
    missing: tuple[MissingSegment, ...]


@dataclass(frozen=True)
class LateRisk:
    """`likely_at` and `sure_at` are those of a promise that was made within the last day of work."""

    order: str
    customer: str
    due: str
    days_overdue: int
    hours_of_work: float
    hours_left: float
    fittings_open: int
    why: str
    likely_at: str | None = None
    sure_at: str | None = None


def short_kits(assembly: str) -> tuple[tuple[ShortKit, ...], int]:
    """Fittings short of segments at assembly: those that lack fewest first, of these the earliest due."""
    kits = all_rows(
        "SELECT k.fitting_id, f.code, o.number, l.position, l.tag, l.kind, o.due_on, k.done, k.lack,"
        " COUNT(*) OVER () FROM ("
        " SELECT t.fitting_id, SUM(CASE WHEN s.state = 'done' THEN 1 ELSE 0 END) AS done,"
        " SUM(CASE WHEN s.state = 'open' THEN 1 ELSE 0 END) AS lack"
        " FROM travelers_task t JOIN fittings_segment s ON s.fitting_id = t.fitting_id"
        f" WHERE {OPEN} AND t.state = 'waiting' AND t.operation_id = %s"
        " GROUP BY t.fitting_id) k"
        " JOIN fittings_fitting f ON f.id = k.fitting_id JOIN fittings_orderline l ON l.id = f.line_id"
        " JOIN fittings_order o ON o.id = f.order_id WHERE k.done > 0 AND k.lack > 0"
        f" ORDER BY k.lack, o.due_on IS NULL, o.due_on, o.priority, k.fitting_id LIMIT {MOST_KITS}",
        [assembly],
    )
    missing = _missing([row[0] for row in kits])
    found = tuple(
        ShortKit(
            fitting=code,
            order=order,
            line=position,
            tag=tag,
            kind=kind,
            due=_date_text(due),
            segments=int(done + lack),
            done=int(done),
            missing=tuple(missing.get(fitting, ())),
        )
        for fitting, code, order, position, tag, kind, due, done, lack, _ in kits
    )
    return found, (int(kits[0][-1]) - len(kits) if kits else 0)


def _missing(fittings: list[int]) -> dict[int, list[MissingSegment]]:
    """The segments that are not done of these fittings, each at its first task that is not done."""
    if not fittings:
        return {}
    found: dict[int, list[MissingSegment]] = {}
    seen: set[int] = set()
    for fitting, segment, code, position, role, generation, operation, state, ready, started in all_rows(
        "SELECT t.fitting_id, s.id, s.code, s.position, s.role, s.generation, t.operation_id, t.state, t.ready_at,"
        " t.started_at FROM travelers_task t JOIN fittings_segment s ON s.id = t.segment_id"
        f" WHERE t.fitting_id IN ({marks(fittings)}) AND s.state = 'open' AND {OPEN}"
        " ORDER BY s.position, s.generation, t.step",
        fittings,
    ):
        if segment in seen:
            continue
        seen.add(segment)
        since = moment(started) or moment(ready)
        text = (
            since.astimezone(timezone.get_default_timezone()).isoformat(timespec="seconds") if since else None
        )
        found.setdefault(fitting, []).append(
            MissingSegment(code, position, role, generation, operation, state, text)
        )
    return found


def late_risk(*, now: datetime, calendar: Calendar) -> tuple[tuple[LateRisk, ...], int]:
    """Orders due within the next working days whose open work is more than the time left: one hand after the other.

    That is the careful side: several stations work at an order at once. What is overdue has no time left.
    CROSS JOIN keeps SQLite to this order of the tables, from the orders that are due.
    """
    last_day = calendar.days_ahead(now.date(), DUE_SOON_DAYS)
    found = []
    for number, due, customer, minutes, fittings in all_rows(
        "SELECT o.number, o.due_on, c.name, SUM(t.minutes), COUNT(DISTINCT f.id)"
        " FROM fittings_order o CROSS JOIN fittings_fitting f CROSS JOIN travelers_task t"
        " JOIN fittings_customer c ON c.id = o.customer_id"
        f" WHERE o.state = 'released' AND o.due_on <= %s AND f.order_id = o.id AND f.state = 'open'"
        f" AND t.fitting_id = f.id AND {OPEN} GROUP BY o.id, o.number, o.due_on, c.name",
        [last_day.isoformat() if connection.vendor == "sqlite" else last_day],
    ):
        due = date.fromisoformat(due) if isinstance(due, str) else due
        left = calendar.hours_between(now, calendar.end_of(due))
        work = (minutes or 0.0) / 60
        if work <= left and due >= now.date():
            continue
        found.append((left > 0, due, left - work, number, customer, work, left, fittings))
    found.sort(key=lambda row: row[:4])
    shown = found[:MOST_LATE]
    promises = promises_since([row[3] for row in shown], calendar.back(now, calendar.day_hours))
    late = tuple(
        LateRisk(
            order=number,
            customer=customer,
            due=due.isoformat(),
            days_overdue=max(0, (now.date() - due).days),
            hours_of_work=round(work, 2),
            hours_left=round(left, 2),
            fittings_open=fittings,
            why=_late_words(due, now.date(), work, left),
            **_dates(promises.get(number)),
        )
        for _, due, _, number, customer, work, left, fittings in shown
    )
    return late, max(0, len(found) - MOST_LATE)


def _dates(promise: Promise | None) -> dict[str, str]:
    if promise is None:
        return {}
    return {
        name: getattr(promise, name).astimezone(timezone.get_default_timezone()).isoformat(timespec="seconds")
        for name in ("likely_at", "sure_at")
    }


def _late_words(due: date, today: date, work: float, left: float) -> str:
    if due < today:
        days = (today - due).days
        return f"{days} {'day' if days == 1 else 'days'} overdue, {work:.1f} h of work left"
    return f"{work:.1f} h of work left, {left:.1f} h of work time until then"


def _date_text(value) -> str | None:
    return value.isoformat() if isinstance(value, date) else value

"""The days of the floor, added up: read from the tasks once a day is over, kept, made again where the record changed.

A kept day is a copy: dropped, it is made again with the same figures. Which days a new scan changes follows from its
fitting alone: all times of its tasks are the moments of its release and of its scans, and a start or a finish changes
none that lies before it. Such days are dropped, and made again when somebody asks. What that costs depends on what is
new, not on how long the record is. The day that is on, and one that is not over for `SETTLES` yet, is read from the
tasks each time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from datetime import date, datetime, timedelta

from django.db import transaction
from django.db.models import Max, Min

from fittings import tables
from fittings.models import CutPiece, Fitting, Order
from shared.jobs import Run, Work, job_enqueue
from shared.portions import in_portions
from shared.problems import Conflict
from shared.turn import write_turn
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.figures import NUMBERS, Cell
from shopfloor.flow_read import AT_A_TIME, Line, bounds, day_read, lines_of
from shopfloor.models import FlowCell, FlowDay, FlowMark
from shopfloor.working_time import shop_calendar
from travelers.models import ScanTarget, Task
from travelers.state import FINISH, SCRAP, UNDO

SETTLES = timedelta(hours=1)
"""A day is kept from so long after its end on: an order that was released in its last second is there by then."""
OVERLAP = timedelta(minutes=2)
"""Looked at twice, so that what was under way at the last look is seen."""
MOST_WHILE_ASKED = 5
"""Days that are made while a page waits; more are left to the worker."""
FLOW_DAYS = "flow_days"

# -- days that are kept --------------------------------------------------------------


def last_over(now: datetime, calendar: Calendar) -> date:
    """The newest day that can be kept."""
    return (now - SETTLES).astimezone(calendar.zone).date() - timedelta(days=1)


def flow_days_bring_up(*, now: datetime, most: int = MOST_WHILE_ASKED) -> list[date]:
    """Drop the days that changed, and make days that are over and not kept, the newest first.

    most     days that are made
    returns  those that are still to be made
    """
    calendar = shop_calendar()
    _drop_changed(now=now, calendar=calendar)
    missing = _missing(now, calendar)
    return [day for at, day in enumerate(missing) if at >= most or not _make(day, calendar)]


def flow_days_drop(*, now: datetime) -> None:
    """Forget all kept days: they are made again when somebody asks."""
    with write_turn(), transaction.atomic():
        FlowDay.objects.all().delete()
        FlowMark.objects.all().delete()
        _locked_mark(now)


def flow_days_ask(*, asked_by: str, now: datetime) -> None:
    """Let the worker make what is missing; nothing where it is at it."""
    try:
        job_enqueue(kind=FLOW_DAYS, subject="all", asked_by=asked_by, now=now)
    except Conflict:
        return


def flow_days_make(run: Run) -> None:
    """The worker's part: every day that is over and not kept."""
    calendar, made = shop_calendar(), 0
    _drop_changed(now=run.now(), calendar=calendar)
    missing = _missing(run.now(), calendar)
    for day in missing:
        if not run.tell(made / len(missing), f"{made} of {len(missing)} days added up"):
            break
        made += _make(day, calendar)
    with write_turn(), transaction.atomic():
        run.finish(f"{made} days added up.")


FLOW_DAYS_WORK = Work(flow_days_make)


def _missing(now: datetime, calendar: Calendar) -> list[date]:
    begin = Order.objects.aggregate(first=Min("released_at"))["first"]
    if begin is None:
        return []
    first, last = begin.astimezone(calendar.zone).date(), last_over(now, calendar)
    kept = set(FlowDay.objects.filter(day__gte=first).values_list("day", flat=True))
    days = (last - timedelta(days=one) for one in range((last - first).days + 1))
    return [day for day in days if day not in kept]


def _make(day: date, calendar: Calendar) -> bool:
    """Read a day, then keep it, unless it was looked meanwhile what changed: the day may be one of those.

    It is read outside of the transaction, so that no scan waits for it. A scan that comes meanwhile is newer than the
    mark, and drops the day at the next look where it changed it.
    """
    seen = FlowMark.objects.get(pk=1)
    made = day_read(day, calendar)
    lines = lines_of(line for _, line in made.cells)
    with write_turn(), transaction.atomic():
        mark = FlowMark.objects.select_for_update().get(pk=1)
        if (mark.target, mark.looked_at, mark.calendar) != (seen.target, seen.looked_at, seen.calendar):
            return False
        if FlowDay.objects.filter(pk=day).exists():
            return True
        FlowDay.objects.create(
            day=day,
            stations={code: asdict(bench) for code, bench in made.stations.items()},
            rises=made.rises,
        )
        FlowCell.objects.bulk_create(
            FlowCell(
                day_id=day,
                operation=place,
                line=line,
                **asdict(lines[line]),
                **{name: getattr(cell, name) for name in NUMBERS},
                spreads=cell.spreads,
                scrap=cell.scrap,
            )
            for (place, line), cell in made.cells.items()
        )
    return True


def _drop_changed(*, now: datetime, calendar: Calendar) -> None:
    """The days that a new scan changed, a cancelled order, or a piece taken off its sheet, whose metal others bear.

    All days go where the calendar's tables changed: their hours were counted by them.
    """
    with write_turn(), transaction.atomic():
        mark = _locked_mark(now)
        version, newest = _calendar_version(), _newest_target()
        if mark.calendar != version:
            FlowDay.objects.all().delete()
        last = FlowDay.objects.aggregate(last=Max("day"))["last"]
        changed: dict[int, datetime | None] = {}
        if last:
            changed = _changed_by_scans(mark.target, newest, bounds(last, calendar)[1])
            changed |= dict.fromkeys(_changed_otherwise(mark.looked_at - OVERLAP))
            for part in in_portions(sorted(_days_of(changed, calendar)), AT_A_TIME):
                FlowDay.objects.filter(day__in=part).delete()
        if changed or (mark.calendar, mark.target) != (version, newest):
            mark.calendar, mark.target, mark.looked_at = version, newest, now
            mark.save()


def _changed_by_scans(since: int, newest: int, end: datetime) -> dict[int, datetime | None]:
    """By fitting, from which moment on its past may be another; None: all of it may.

    end  of the newest kept day
    """
    found: dict[int, datetime | None] = {}
    finishes: dict[tuple[int, int | None, str], datetime] = {}
    for fitting, segment, action, operation, at in ScanTarget.objects.filter(
        pk__gt=since, pk__lte=newest
    ).values_list("fitting", "segment", "scan__action", "scan__operation", "scan__effective_at"):
        if action in (SCRAP, UNDO):
            found[fitting] = None
        elif at < end and found.get(fitting, at) is not None:
            found[fitting] = min(at, found.get(fitting, at))
        if action == FINISH:
            finishes[fitting, segment, operation] = at
    for part in in_portions(sorted({fitting for fitting, _, _ in finishes}), AT_A_TIME):
        # a finish of what was missed leaves the moment as it was, but says that it was no miss
        for *key, at in Task.objects.filter(
            fitting__in=part, state="done", is_implied=False, finished_at__lt=end
        ).values_list("fitting", "segment", "operation", "finished_at"):
            if at < finishes.get(tuple(key), at):
                before = found.get(key[0], at)
                found[key[0]] = None if before is None else min(before, at)
    return found


def _changed_otherwise(since: datetime) -> set[int]:
    found = set(
        Fitting.objects.filter(order__state="cancelled", order__ended_at__gt=since).values_list(
            "pk", flat=True
        )
    )
    found |= set(Fitting.objects.filter(taken_out_at__gt=since).values_list("pk", flat=True))
    sheets = list(CutPiece.objects.filter(off_at__gt=since).values_list("sheet", flat=True))
    return found | set(CutPiece.objects.filter(sheet__in=sheets).values_list("segment__fitting", flat=True))


def _days_of(changed: dict[int, datetime | None], calendar: Calendar) -> set[date]:
    """The days on which anything of the fittings may lie, from the given moments on."""
    days: set[date] = set()
    for part in in_portions(sorted(changed), AT_A_TIME):
        moments = [
            *ScanTarget.objects.filter(fitting__in=part).values_list("fitting", "scan__effective_at"),
            *Fitting.objects.filter(pk__in=part).values_list("pk", "order__released_at"),
        ]
        for fitting, at in moments:
            since = changed[fitting]
            if at and (since is None or at >= since):
                days.add(at.astimezone(calendar.zone).date())
    return days


def _locked_mark(now: datetime) -> FlowMark:
    FlowMark.objects.get_or_create(
        pk=1,
        defaults={
            "target": _newest_target(),
            "looked_at": now,
            "calendar": _calendar_version(),
        },
    )
    return FlowMark.objects.select_for_update().get(pk=1)


def _newest_target() -> int:
    """Targets are numbered under the lock of the record, so that whoever reads up to one misses none before it."""
    return ScanTarget.objects.aggregate(newest=Max("pk"))["newest"] or 0


def _calendar_version() -> str:
    versions = tables.versions_in_force()
    return f"{versions.get('shifts', 0)}/{versions.get('holidays', 0)}"


# -- reading days --------------------------------------------------------------------


_READ = ("day_id", "operation", "line", "order", "kind", "gauge", "size_in", *NUMBERS, "spreads", "scrap")
Row = tuple[date, str, Line, Cell]


def cells_kept(first: date, last: date, **filters) -> Iterator[Row]:
    """The kept cells of days, with their lines. One query.

    filters  of `FlowCell`: order, kind, gauge, size_in
    """
    rows = FlowCell.objects.filter(day__gte=first, day__lte=last, **filters).values_list(*_READ)
    known: dict[int, Line] = {}
    for row in rows.iterator(chunk_size=2000):
        line = known.get(row[2]) or known.setdefault(row[2], Line(*row[3:7]))
        spreads = {name: {int(at): count for at, count in bins.items()} for name, bins in row[-2].items()}
        yield row[0], row[1], line, Cell(*row[7:-2], spreads, row[-1])

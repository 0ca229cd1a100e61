"""The floor as the simulation takes it: active stations, open work, and what came lately. Only reads."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from itertools import groupby

from django.db.models import Min

from fittings.models import Fitting, OrderLine
from shopfloor.downtime import down_hours, downtimes_open
from shopfloor.flow.arrivals import Recipe
from shopfloor.flow.calendar import Calendar
from shopfloor.flow.floor import Bench, Floor, Job, Step
from shopfloor.measured_times import MeasuredTimes, ReleasedTimes, measured_times
from shopfloor.models import Station
from travelers.forms import sizes_at
from travelers.limits import Limits
from travelers.models import Operation, Task, TaskState
from travelers.pins import pinned_now

VARIATION = 0.4
"""Of hand work's times, standard deviation by mean, where a shop has not measured its own: a value from memory."""
STANDARD, MEASURED = "standard", "measured"
LOOKED_BACK = timedelta(days=28)
MOST_LINES = 300


@dataclass(frozen=True)
class FloorNow:
    """What is there at a moment.

    jobs      the open work
    recipes   lines that were released lately, to draw coming work from
    per_hour  fittings that were released an hour of work
    nobody    operations with open work that no active station does; they are left out of the floor and the jobs
    spread    of the times at the operations where it was measured; elsewhere it is VARIATION
    """

    calendar: Calendar
    floor: Floor
    jobs: tuple[Job, ...]
    recipes: tuple[Recipe, ...]
    per_hour: float
    nobody: tuple[str, ...]
    spread: Mapping[str, float]

    @property
    def open_hours(self) -> dict[str, float]:
        """Hours of the open work, by operation."""
        hours = dict.fromkeys(self.floor.operations, 0.0)
        for job in self.jobs:
            for step in (*(step for segment in job.segments for step in segment), *job.whole):
                hours[step.operation] += step.hours
        return hours


def benches_of(floor: Floor) -> dict[str, int]:
    """How many benches do each operation."""
    return {code: sum(code in bench.operations for bench in floor.benches) for code in floor.operations}


def floor_now(calendar: Calendar, *, now: datetime, times: str = STANDARD) -> FloorNow:
    """As much is read as there is open work, and the newest finished pieces; a query an operation and a few more.

    times  of the work: STANDARD as released, or MEASURED where a method was timed often enough
    """
    measured = measured_times(calendar, until=now)
    stations = _Stations(measured.spread)
    reader = _Steps(stations, calendar, now, measured if times == MEASURED else None)
    jobs = tuple(reader.open_jobs())
    since = now - LOOKED_BACK
    recipes, fittings = reader.recipes(since)
    hours = calendar.hours_between(since, now)
    nobody = tuple(code for code in stations.operations if code in reader.left_out)
    per_hour = fittings / hours if hours else 0.0
    spread = {code: measured.spread[code] for code in stations.floor.operations if code in measured.spread}
    floor = replace(stations.floor, downs=_downs(stations.floor, calendar, now))
    return FloorNow(calendar, floor, jobs, recipes, per_hour, nobody, spread)


def _downs(floor: Floor, calendar: Calendar, now: datetime) -> dict[str, tuple[tuple[float, float], ...]]:
    """Of the benches of the floor, as they are told."""
    found = down_hours(downtimes_open(now=now), calendar=calendar, now=now)
    return {bench.code: found[bench.code] for bench in floor.benches if bench.code in found}


def kinds_lately(*, now: datetime) -> set[str]:
    """The kinds of fittings that new work is drawn from."""
    lines = OrderLine.objects.filter(order__released_at__gte=now - LOOKED_BACK)
    return set(lines.exclude(order__state="cancelled").values_list("kind", flat=True))


class _Stations:
    """The active stations, and which of them take a piece."""

    def __init__(self, spread: Mapping[str, float]):
        self.spread = spread
        caps = dict(Operation.objects.order_by("position").values_list("code", "cap"))
        self.operations, self.caps = list(caps), caps
        self.rows = list(Station.objects.filter(is_active=True).order_by("position", "code"))
        self.done = {code for row in self.rows for code in row.operations}

    @cached_property
    def floor(self) -> Floor:
        here = tuple(code for code in self.operations if code in self.done)
        benches = tuple(
            Bench(row.code, tuple(code for code in here if code in row.operations)) for row in self.rows
        )
        caps = {code: self.caps[code] for code in here if self.caps[code]}
        return Floor(
            here,
            tuple(one for one in benches if one.operations),
            {code: self.spread.get(code, VARIATION) for code in here},
            caps=caps,
        )

    @cached_property
    def limits(self) -> dict[str, Limits]:
        return {
            row.code: Limits(
                row.gauge_lightest, row.gauge_heaviest, row.diameter_least_in, row.diameter_most_in
            )
            for row in self.rows
        }

    @cached_property
    def has_limits(self) -> bool:
        return any(one != Limits() for one in self.limits.values())

    def able(self, operation: str, gauge: int, sizes: tuple[float, ...]) -> frozenset[str] | None:
        """Those that take it; None for all, also where it is beyond all: somebody will do it."""
        doers = {row.code for row in self.rows if operation in row.operations}
        found = frozenset(code for code in doers if not self.limits[code].beyond(gauge, sizes))
        return found if found and found != doers else None


class _Steps:
    """Tasks to the steps of jobs and recipes; their times as measured, where that is given."""

    def __init__(
        self, stations: _Stations, calendar: Calendar, now: datetime, measured: MeasuredTimes | None
    ):
        self.stations, self.calendar, self.now, self.measured = stations, calendar, now, measured
        self.left_out: set[str] = set()
        self.lines: Mapping[int, OrderLine] = {}
        self.kept: dict[tuple, frozenset[str] | None] = {}

    def open_jobs(self) -> Iterable[Job]:
        tasks = (
            Task.objects.open()
            .filter(fitting__order__state="released")
            .order_by("fitting_id", "segment__position", "segment_id", "step")
            .values_list(
                "fitting_id",
                "fitting__line_id",
                "fitting__order__number",
                "fitting__order__due_on",
                "fitting__order__priority",
                "segment_id",
                "segment__position",
                "operation_id",
                "minutes",
                "state",
                "started_at",
                "method",
                "fitting__order_id",
            )
        )
        rows = list(tasks)
        self._read_lines({row[1] for row in rows})
        minutes_of = self._minutes({row[-1] for row in rows})
        pinned = pinned_now()
        dues = {due: self._due(due) for due in {row[3] for row in rows}}
        for fitting, own in groupby(rows, key=lambda row: row[0]):
            own = list(own)
            _, line, order, due, priority, *_, order_id = own[0]
            is_pinned = pinned.has(order_id, line)
            steps: dict[int | None, list[Step]] = defaultdict(list)
            for row in own:
                _, _, _, _, _, segment, position, operation, minutes, state, started, method, order_id = row
                minutes = minutes_of(order_id, operation, method, minutes)
                self._add(steps[segment], line, position, operation, self._left(minutes, state, started))
            whole = tuple(steps.pop(None, ()))
            segments = tuple(tuple(one) for one in steps.values() if one)
            if segments or whole:
                yield Job(
                    f"{fitting}", segments, whole, order, f"{line}", 0.0, dues[due], priority, is_pinned
                )

    def recipes(self, since: datetime) -> tuple[tuple[Recipe, ...], int]:
        """Lines released since then, the newest first, by the tasks of one of their fittings; fittings there were."""
        found = list(
            Fitting.objects.filter(order__released_at__gte=since)
            .exclude(order__state="cancelled")
            .values(
                "line_id",
                "line__quantity",
                "line__kind",
                "order_id",
                "order__released_at",
                "order__due_on",
                "order__priority",
            )
            .annotate(first=Min("pk"))
            .order_by("-order__released_at", "line_id")
        )
        total = sum(row["line__quantity"] for row in found)
        found = found[:MOST_LINES]
        self._read_lines({row["line_id"] for row in found})
        tasks: dict[int, list[tuple]] = defaultdict(list)
        for row in (
            Task.objects.filter(fitting_id__in=[row["first"] for row in found])
            .exclude(segment__generation__gt=1)
            .order_by("fitting_id", "segment__position", "segment_id", "step")
            .values_list("fitting_id", "segment_id", "segment__position", "operation_id", "minutes", "method")
        ):
            tasks[row[0]].append(row)
        minutes_of = self._minutes({row["order_id"] for row in found})
        recipes = []
        for row in found:
            steps: dict[int | None, list[Step]] = defaultdict(list)
            for _, segment, position, operation, minutes, method in tasks[row["first"]]:
                minutes = minutes_of(row["order_id"], operation, method, minutes)
                self._add(steps[segment], row["line_id"], position, operation, minutes / 60)
            whole = tuple(steps.pop(None, ()))
            slack = None
            if row["order__due_on"]:
                end = self.calendar.end_of(row["order__due_on"])
                slack = self.calendar.hours_between(row["order__released_at"], end)
            recipes.append(
                Recipe(
                    tuple(tuple(one) for one in steps.values()),
                    whole,
                    row["line__quantity"],
                    slack,
                    row["order__priority"],
                    row["line__kind"],
                )
            )
        return tuple(recipes), total

    def _add(self, steps: list[Step], line: int, position: int | None, operation: str, hours: float) -> None:
        if operation not in self.stations.done:
            self.left_out.add(operation)
            return
        steps.append(Step(operation, hours, self._able(line, position, operation)))

    def _minutes(self, orders: set[int]) -> Callable[[int, str, str, float], float]:
        """Of (order, operation, method, minutes as released): the minutes that the work takes."""
        measured = self.measured
        if measured is None:
            return lambda order, operation, method, minutes: minutes
        released = ReleasedTimes(orders)

        def minutes_of(order: int, operation: str, method: str, minutes: float) -> float:
            way = operation, method
            return measured.minutes(way, minutes, released.of(order, way))

        return minutes_of

    def _left(self, minutes: float, state: str, started: datetime | None) -> float:
        """Hours still to do: of what is in work the rest, by the clock of the shop."""
        hours = minutes / 60
        if state == TaskState.RUNNING and started:
            hours = max(0.0, hours - self.calendar.hours_between(started, self.now))
        return hours

    def _due(self, due) -> float | None:
        """Hours of work from now; below zero for what was due before."""
        if due is None:
            return None
        end = self.calendar.end_of(due)
        if end < self.now:
            return -self.calendar.hours_between(end, self.now)
        return self.calendar.hours_between(self.now, end)

    def _able(self, line: int, position: int | None, operation: str) -> frozenset[str] | None:
        if not self.stations.has_limits:
            return None
        key = (line, position, operation)
        if key not in self.kept:
            one = self.lines[line]
            sizes = sizes_at(one.development, position) if one.development else ()
            self.kept[key] = self.stations.able(operation, one.gauge, sizes)
        return self.kept[key]

    def _read_lines(self, ids: set[int]) -> None:
        if self.stations.has_limits:
            self.lines = {**self.lines, **OrderLine.objects.only("gauge", "development").in_bulk(ids)}

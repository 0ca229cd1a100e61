"""The floor's flow over a range of days, read from the days that are kept and from the one that is on."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Sum

from shopfloor.flow.calendar import Calendar
from shopfloor.flow.figures import (
    FLOOR,
    Bench,
    Cell,
    Little,
    Step,
    days_between,
    levels,
    little,
    steps_of,
)
from shopfloor.flow_days import Row, cells_kept, flow_days_ask, flow_days_bring_up, last_over
from shopfloor.flow_read import Day, Line, bounds, day_read, here_now, lines_of
from shopfloor.models import FlowCell, FlowDay, Station
from shopfloor.working_time import shop_calendar
from travelers.models import Operation

STEP, ORDER, KIND, SIZE, GAUGE = "step", "order", "kind", "size", "gauge"
PIECES, HOURS, CENTS, UNPRICED = "pieces", "hours", "cents", "unpriced"
BY = ((STEP, "Day or week"), (ORDER, "Order"), (KIND, "Kind"), (SIZE, "Size"), (GAUGE, "Gauge"))
UNITS = ((PIECES, "Pieces"), (HOURS, "Hours of work"), (CENTS, "Money"))
_CAME = {PIECES: "arrived", HOURS: "arrived_hours", CENTS: "arrived_cents", UNPRICED: "arrived_unpriced"}
_LEFT = {PIECES: "finished", HOURS: "finished_hours", CENTS: "finished_cents", UNPRICED: "finished_unpriced"}


@dataclass(frozen=True)
class Asked:
    """What is looked at. `operation` blank: whole fittings. Lines that do not fit the other four are left out."""

    first: date
    last: date
    by: str = STEP
    operation: str = FLOOR
    order: str = ""
    kind: str = ""
    gauge: int | None = None
    size_in: float | None = None

    @property
    def filters(self) -> dict:
        every = {"order": self.order, "kind": self.kind, "gauge": self.gauge, "size_in": self.size_in}
        return {name: value for name, value in every.items() if value not in ("", None)}

    def fits(self, line: Line) -> bool:
        return all(getattr(line, name) == value for name, value in self.filters.items())


@dataclass
class There:
    """What was at an operation: before the first day, then at the end of each, in each unit."""

    pieces: list[float]
    hours: list[float]
    cents: list[float]
    unpriced: list[float]
    highest: list[float]
    """The most pieces in each day, not only at its end; empty where lines are left out."""


@dataclass
class Flow:
    """The figures of a range. Lists by day run from `asked.first` to `asked.last`, those by step along `steps`.

    days_missing  days from the first on that are not added up yet: they are left out
    open_hours    hours of work by the calendar, to now where the range is not over
    by            cells of the chosen place (an operation, or whole fittings) by what was asked
    """

    asked: Asked
    calendar: Calendar
    operations: list[Operation]
    steps: list[Step]
    days_missing: int
    open_hours: float
    work_days: int
    totals: dict[str, Cell]
    by_step: list[Cell]
    by: dict
    came: dict[str, dict[str, list[float]]]
    there: dict[str, There]
    stations: dict[str, Bench]
    scrap: Counter[tuple[str, str]]
    little: Little
    names: dict[str, str] = field(default_factory=dict)


def flow_bring_up(*, asked_by: str, now: datetime) -> list[date]:
    """Add up the days that are over; what would take too long is the worker's. Returns those that are left to it."""
    left = flow_days_bring_up(now=now)
    if left:
        flow_days_ask(asked_by=asked_by, now=now)
    return left


def flow(asked: Asked, *, now: datetime, days_missing: int = 0) -> Flow:
    """The figures of a range that ends today or before. Reads only."""
    calendar = shop_calendar()
    today = now.astimezone(calendar.zone).date()
    reading = _Reading(asked, calendar)
    live = [day_read(day, calendar, until=now) for day in _live_days(today, now, calendar)]
    live_lines = lines_of({line for one in live for _, line in one.cells})
    for row in _rows(asked, live, live_lines):
        reading.add(*row)
    for bench in _stations(asked, live):
        for code, own in bench.items():
            reading.stations.setdefault(code, Bench()).add(own)
    here = here_now()
    here_lines = lines_of(line for _, line in here)
    at_end = _at_end(asked, here, here_lines, live, live_lines)
    low, high = bounds(asked.first, calendar)[0], min(now, bounds(asked.last, calendar)[1])
    lengths = [
        days_between(begin, max(begin, min(now, end)))
        for begin, end in (bounds(day, calendar) for day in reading.days)
    ]
    floor_end = at_end.get(FLOOR, Cell()).arrived
    operations = list(Operation.objects.order_by("position"))
    rises = {} if asked.filters else _rises(asked, live)
    return Flow(
        asked,
        calendar,
        operations,
        reading.steps,
        days_missing,
        calendar.hours_between(low, high),
        sum(calendar.is_work_day(day) for day in reading.days),
        reading.totals,
        reading.by_step,
        reading.by,
        reading.came,
        {
            one.code: reading.there(one.code, at_end.get(one.code, Cell()), rises.get(one.code))
            for one in operations
        },
        reading.stations,
        reading.scrap,
        little(list(zip(lengths, reading.floor, strict=True)), floor_end),
        dict(Station.objects.values_list("code", "name")),
    )


class _Reading:
    """Rows of the range, added up in one pass."""

    def __init__(self, asked: Asked, calendar: Calendar):
        self.asked = asked
        count = (asked.last - asked.first).days + 1
        self.days = [asked.first + timedelta(days=one) for one in range(count)]
        self.steps = steps_of(asked.first, asked.last)
        self.step_of = {
            day: at
            for at, step in enumerate(self.steps)
            for day in self.days
            if step.first <= day <= step.last
        }
        self.totals: dict[str, Cell] = defaultdict(Cell)
        self.by_step = [Cell() for _ in self.steps]
        self.by: dict = defaultdict(Cell)
        self.floor = [Cell() for _ in self.days]
        self.scrap: Counter[tuple[str, str]] = Counter()
        self.stations: dict[str, Bench] = {}

        def none():
            return {unit: [0.0] * count for unit in _CAME}

        self.came: dict[str, dict[str, list[float]]] = defaultdict(none)
        self.left: dict[str, dict[str, list[float]]] = defaultdict(none)

    def add(self, day: date, place: str, line: Line, cell: Cell) -> None:
        at = (day - self.asked.first).days
        self.totals[place].add(cell)
        came, left = self.came[place], self.left[place]
        for unit, name in _CAME.items():
            came[unit][at] += getattr(cell, name)
        for unit, name in _LEFT.items():
            left[unit][at] += getattr(cell, name)
        for reason, count in cell.scrap.items():
            self.scrap[place, reason] += count
        if place == FLOOR:
            self.floor[at].add(cell)
        if place == self.asked.operation:
            step = self.step_of[day]
            self.by_step[step].add(cell)
            if self.asked.by != STEP:
                self.by[_key(self.asked.by, line)].add(cell)

    def there(self, code: str, at_end: Cell, rises: dict[date, int] | None) -> There:
        came, left = self.came[code], self.left[code]
        found = {unit: levels(getattr(at_end, name), came[unit], left[unit]) for unit, name in _CAME.items()}
        highest = []
        if rises is not None:
            highest = [
                level + rises.get(day, 0) for level, day in zip(found[PIECES], self.days, strict=False)
            ]
        return There(found[PIECES], found[HOURS], found[CENTS], found[UNPRICED], highest)


def _key(by: str, line: Line):
    return {ORDER: line.order, KIND: line.kind, SIZE: line.size_in, GAUGE: line.gauge}[by]


# -- days that are not kept yet ------------------------------------------------------


def _live_days(today: date, now: datetime, calendar: Calendar) -> list[date]:
    """From the first day that cannot be kept yet to today."""
    first = last_over(now, calendar) + timedelta(days=1)
    return [first + timedelta(days=one) for one in range((today - first).days + 1)]


def _rows(asked: Asked, live: Iterable[Day], lines: dict[int, Line]) -> Iterator[Row]:
    yield from cells_kept(asked.first, asked.last, **asked.filters)
    for one in live:
        if asked.first <= one.day <= asked.last:
            for (place, line), cell in one.cells.items():
                if asked.fits(lines[line]):
                    yield one.day, place, lines[line], cell


def _stations(asked: Asked, live: Iterable[Day]) -> Iterator[dict[str, Bench]]:
    for stations in FlowDay.objects.filter(day__gte=asked.first, day__lte=asked.last).values_list(
        "stations", flat=True
    ):
        yield {code: Bench(**numbers) for code, numbers in stations.items()}
    yield from (one.stations for one in live if asked.first <= one.day <= asked.last)


def _rises(asked: Asked, live: Iterable[Day]) -> dict[str, dict[date, int]]:
    found: dict[str, dict[date, int]] = {
        code: {} for code in Operation.objects.values_list("code", flat=True)
    }
    kept = FlowDay.objects.filter(day__gte=asked.first, day__lte=asked.last).values_list("day", "rises")
    for day, rises in [*kept, *((one.day, one.rises) for one in live)]:
        for code, rise in rises.items():
            if code in found:
                found[code][day] = rise
    return found


def _at_end(
    asked: Asked,
    here: dict[tuple[str, int], Cell],
    here_lines: dict[int, Line],
    live: Iterable[Day],
    live_lines: dict[int, Line],
) -> dict[str, Cell]:
    """What was at each place at the end of the range: what is there now, less what came since, and what left since."""
    found: dict[str, Cell] = defaultdict(Cell)
    for (place, line), cell in here.items():
        if asked.fits(here_lines[line]):
            found[place].add(cell)
    since = FlowCell.objects.filter(day__gt=asked.last, **asked.filters).values_list("operation")
    sums = [Sum(name) for name in (*_CAME.values(), *_LEFT.values())]
    for place, *numbers in since.annotate(*sums):
        for at, name in enumerate(_CAME.values()):
            change = numbers[len(_CAME) + at] - numbers[at]
            setattr(found[place], name, getattr(found[place], name) + change)
    for one in live:
        if one.day > asked.last:
            for (place, line), cell in one.cells.items():
                if asked.fits(live_lines[line]):
                    for came, left in zip(_CAME.values(), _LEFT.values(), strict=True):
                        change = getattr(cell, left) - getattr(cell, came)
                        setattr(found[place], came, getattr(found[place], came) + change)
    return found

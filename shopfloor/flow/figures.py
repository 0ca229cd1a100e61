"""How pieces came and went: what a day adds to the figures, how days add up, and what they say together.

Pure: no Django. A piece stays at a place from the moment at which it could be worked on there to its finish: at an
operation from ready to finished, on the floor (place `FLOOR`, whole fittings) from its order's release to its last
finish. Hours are hours of work by the calendar; days are days on the clock, of 24 h, so the day on which the clocks go
forward is 23/24 of one.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from functools import cache

from shopfloor.flow.calendar import Calendar

FLOOR = ""
CYCLE, QUEUE, TOUCH, DAYS = "cycle", "queue", "touch", "days"
SMALLEST = 0.01
BIN_RATIO = 1.05
BY_DAY_UP_TO = 45

Hours = Callable[[datetime, datetime], float]


@dataclass(frozen=True, slots=True)
class Stay:
    """One piece at one place. Moments are aware; None is not yet, or not known.

    hours          its standard time there [h]
    cents          its metal's cost; None is not known
    is_first_pass  it was not scrapped, nor is it made again in place of one that was
    """

    place: str
    line: int
    came_at: datetime
    started_at: datetime | None = None
    left_at: datetime | None = None
    hours: float = 0.0
    station: str = ""
    is_implied: bool = False
    is_first_pass: bool = True
    cents: int | None = 0


@dataclass(slots=True)
class Cell:
    """What some days add at a place: counts, sums, and the spread of times as counts by bin. Cells add up.

    timed          finishes of which the start is known
    arrived_rest, finished_rest  days on the clock from each to its day's end, summed
    lead_days      days on the clock from coming to leaving, summed over the finishes
    spreads        by CYCLE, QUEUE, TOUCH [h of work] and, of the floor, DAYS: how many times in each bin (`bin_of`)
    scrap          segments scrapped there, by reason
    """

    arrived: int = 0
    finished: int = 0
    implied: int = 0
    timed: int = 0
    first_pass: int = 0
    arrived_hours: float = 0.0
    finished_hours: float = 0.0
    arrived_cents: int = 0
    finished_cents: int = 0
    arrived_unpriced: int = 0
    finished_unpriced: int = 0
    arrived_rest: float = 0.0
    finished_rest: float = 0.0
    lead_days: float = 0.0
    spreads: dict[str, dict[int, int]] = field(default_factory=dict)
    scrap: dict[str, int] = field(default_factory=dict)

    def add(self, other: Cell) -> None:
        for name in NUMBERS:
            if more := getattr(other, name):
                setattr(self, name, getattr(self, name) + more)
        for name, bins in other.spreads.items():
            _count(self.spreads.setdefault(name, {}), bins)
        _count(self.scrap, other.scrap)

    @property
    def first_pass_yield(self) -> float | None:
        return self.first_pass / self.finished if self.finished else None

    def percentile(self, name: str, share: float) -> float | None:
        return percentile(self.spreads.get(name, {}), share)


def _count(into: dict, counts: Mapping) -> None:
    for key, count in counts.items():
        into[key] = into.get(key, 0) + count


NUMBERS = tuple(name for name in Cell.__dataclass_fields__ if name not in ("spreads", "scrap"))


# -- times by bin --------------------------------------------------------------------


def bin_of(value: float) -> int:
    """The bin of a time: 0 below `SMALLEST`, then each bin is `BIN_RATIO` times as wide as the one before.

    >>> bin_of(0.0), bin_of(0.01), bin_of(0.0106)
    (0, 1, 2)
    """
    if value < SMALLEST:
        return 0
    return 1 + math.floor(math.log(value / SMALLEST) / math.log(BIN_RATIO) + 1e-9)


def value_of(at: int) -> float:
    """The time that stands for a bin: the geometric middle, so it is off by √1.05 − 1 = 2.5 % at most.

    >>> value_of(0), round(value_of(1), 6)
    (0.0, 0.010247)
    """
    return 0.0 if at == 0 else SMALLEST * BIN_RATIO ** (at - 0.5)


def percentile(bins: Mapping[int, int], share: float) -> float | None:
    """The ⌈share × n⌉th of n times in order, as exact as its bin (2.5 %); None where there is none.

    >>> percentile({}, 0.5), percentile({0: 3, 1: 1}, 0.5)
    (None, 0.0)
    """
    left = math.ceil(share * sum(bins.values()) - 1e-9)
    for at in sorted(bins):
        left -= bins[at]
        if left <= 0:
            return value_of(at)
    return None


def days_between(start: datetime, end: datetime) -> float:
    """Days on the clock as they pass [24 h], whatever zone the moments are told in."""
    return (end.astimezone(UTC) - start.astimezone(UTC)).total_seconds() / 86400


# -- one day -------------------------------------------------------------------------


def cells_of_day(
    stays: Iterable[Stay], low: datetime, high: datetime, calendar: Calendar
) -> dict[tuple[str, int], Cell]:
    """What the day from low to high adds, by place and order line: who came in it, and who left in it."""
    found: dict[tuple[str, int], Cell] = defaultdict(Cell)
    hours = cache(calendar.hours_between)  # the pieces of a lot come and leave together
    for stay in stays:
        cell = found[stay.place, stay.line]
        if low <= stay.came_at < high:
            cell.arrived += 1
            cell.arrived_hours += stay.hours
            cell.arrived_cents += stay.cents or 0
            cell.arrived_unpriced += stay.cents is None
            cell.arrived_rest += days_between(stay.came_at, high)
        if stay.left_at is not None and low <= stay.left_at < high:
            _count_finish(cell, stay, high, hours)
    return {key: cell for key, cell in found.items() if cell.arrived or cell.finished}


def _count_finish(cell: Cell, stay: Stay, high: datetime, hours: Hours) -> None:
    """What was missed, or came by a missed scan at the moment of its finish, says nothing of its times."""
    cell.finished += 1
    cell.finished_hours += stay.hours
    cell.finished_cents += stay.cents or 0
    cell.finished_unpriced += stay.cents is None
    cell.finished_rest += days_between(stay.left_at, high)
    cell.implied += stay.is_implied
    cell.first_pass += stay.is_first_pass
    lead_days = max(0.0, days_between(stay.came_at, stay.left_at))
    cell.lead_days += lead_days
    times = {}
    if stay.place == FLOOR:
        times[DAYS] = lead_days
    if not stay.is_implied and stay.left_at > stay.came_at:
        times[CYCLE] = hours(stay.came_at, stay.left_at)
        if stay.started_at is not None:
            cell.timed += 1
            times[QUEUE] = hours(stay.came_at, stay.started_at)
            times[TOUCH] = hours(stay.started_at, stay.left_at)
    for name, value in times.items():
        _count(cell.spreads.setdefault(name, {}), {bin_of(value): 1})


@dataclass(slots=True)
class Bench:
    """What a station finished: pieces, their standard hours, those with a start, and hours with something in work."""

    pieces: int = 0
    hours: float = 0.0
    timed: int = 0
    in_work: float = 0.0

    def add(self, other: Bench) -> None:
        for name in self.__dataclass_fields__:
            setattr(self, name, getattr(self, name) + getattr(other, name))


def benches_of_day(
    stays: Iterable[Stay], low: datetime, high: datetime, calendar: Calendar
) -> dict[str, Bench]:
    """What each station finished in the day. Pieces in work at once share the time: spans that overlap count once."""
    found: dict[str, Bench] = {}
    spans: dict[str, list[tuple[datetime, datetime]]] = {}
    for stay in stays:
        if not stay.station or stay.is_implied or stay.left_at is None or not low <= stay.left_at < high:
            continue
        bench = found.setdefault(stay.station, Bench())
        bench.pieces += 1
        bench.hours += stay.hours
        if stay.started_at is not None:
            bench.timed += 1
            spans.setdefault(stay.station, []).append((stay.started_at, stay.left_at))
    for station, own in spans.items():
        end = None
        for begins, ends in sorted(own):
            begins = begins if end is None else max(begins, end)
            if ends > begins:
                found[station].in_work += calendar.hours_between(begins, ends)
                end = ends
    return found


def rises_of_day(stays: Iterable[Stay], low: datetime, high: datetime) -> dict[str, int]:
    """By place, how far the count of pieces there rose above that of the day's beginning; 0 where it never did.

    What leaves at a moment leaves before what comes at it: a piece that moves on makes no room twice.
    """
    changes: dict[str, list[tuple[datetime, int]]] = {}
    for stay in stays:
        own = changes.setdefault(stay.place, [])
        if low <= stay.came_at < high:
            own.append((stay.came_at, 1))
        if stay.left_at is not None and low <= stay.left_at < high:
            own.append((stay.left_at, -1))
    found = {}
    for place, own in changes.items():
        level = highest = 0
        for _, change in sorted(own):
            level += change
            highest = max(highest, level)
        found[place] = highest
    return found


# -- days together -------------------------------------------------------------------


def levels(at_end: float, came: Sequence[float], left: Sequence[float]) -> list[float]:
    """What was there at each day's end, worked back from what is there at the last one's.

    at_end  at the end of the last day
    came, left  by day
    returns  one more than the days: first what was there before the first day

    >>> levels(2, [3, 1], [1, 2])
    [1, 3, 2]
    """
    found = [at_end]
    for arrived, finished in zip(reversed(came), reversed(left), strict=True):
        found.append(found[-1] - arrived + finished)
    return found[::-1]


@dataclass(frozen=True, slots=True)
class Step:
    """A day, or the part of a week from Monday on that lies in the range: what a chart's axis counts by."""

    first: date
    last: date

    @property
    def name(self) -> str:
        return self.first.isoformat()


def steps_of(first: date, last: date) -> list[Step]:
    """Days up to `BY_DAY_UP_TO`, else weeks.

    >>> [len(steps_of(date(2026, 3, 2), date(2026, 3, last))) for last in (2, 15)]
    [1, 14]
    """
    days = [first + timedelta(days=one) for one in range((last - first).days + 1)]
    if len(days) <= BY_DAY_UP_TO:
        return [Step(day, day) for day in days]
    found: list[Step] = []
    for day in days:
        if not found or day.weekday() == 0:
            found.append(Step(day, day))
        else:
            found[-1] = Step(found[-1].first, day)
    return found


@dataclass(frozen=True, slots=True)
class Little:
    """L = λ W, held against a window. Days are on the clock.

    there   L, fittings on the floor on the average
    rate    λ, fittings finished a day
    lead    W, days from release to finish of those, on the average; None where none was finished
    before, after  fittings on the floor at the window's beginning and end
    """

    days: float
    there: float
    rate: float
    lead: float | None
    before: int
    after: int

    @property
    def product(self) -> float:
        return self.rate * (self.lead or 0.0)

    @property
    def gap(self) -> float | None:
        """(L − λ W) ÷ L; None where nothing was there."""
        return (self.there - self.product) / self.there if self.there else None


def little(days: Sequence[tuple[float, Cell]], at_end: int) -> Little:
    """The law's three figures over days, each (length [d], its cell of the floor), with the fittings there at the end.

    L is exact: each fitting counts for the time that it was there, not by the count at the days' ends. The law is
    exact where all that was in the window came and left within it; else the edges make a gap.
    """
    lengths = [length for length, _ in days]
    there = levels(at_end, [cell.arrived for _, cell in days], [cell.finished for _, cell in days])
    whole = sum(lengths)
    present = sum(
        level * length + cell.arrived_rest - cell.finished_rest
        for level, (length, cell) in zip(there, days, strict=False)
    )
    finished = sum(cell.finished for _, cell in days)
    lead = sum(cell.lead_days for _, cell in days) / finished if finished else None
    return Little(
        whole,
        present / whole if whole else 0.0,
        finished / whole if whole else 0.0,
        lead,
        int(there[0]),
        at_end,
    )

"""The shop's working time: shifts with their breaks, holidays, its own zone; how much work lies between two moments.

A shift belongs to the day on which it begins. Times of the day are the shop's; between moments hours are counted as
they pass, so a night on which the clocks change is an hour shorter or longer.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import lru_cache
from zoneinfo import ZoneInfo

MONDAY_TO_FRIDAY = frozenset(range(5))
LONGEST_LOOK = 800
"""Days. A calendar without work for so long has none."""
_KEPT = 4096
_USUAL_BREAKS = ((time(9, 30), time(9, 45)), (time(12), time(12, 30)))

Span = tuple[datetime, datetime]


class NoWork(ValueError):
    """The calendar has no work within the longest look."""


@dataclass(frozen=True)
class Shift:
    """Work from a time of the day to another; one that ends at or before its start ends on the next day.

    days    on which it begins, Monday is 0
    breaks  (from, to) within it, each on the next day where that is before the shift's start
    """

    starts: time = time(7, 0)
    ends: time = time(15, 30)
    days: frozenset[int] = MONDAY_TO_FRIDAY
    breaks: tuple[tuple[time, time], ...] = _USUAL_BREAKS

    def spans(self, day: date, zone: tzinfo) -> list[Span]:
        """The work of the shift that begins on a day, without its breaks; moments in UTC."""
        start = _moment(day, self.starts, zone)
        end = _moment(day + timedelta(days=self.ends <= self.starts), self.ends, zone)
        found, at = [], start
        for begins, ends in sorted(self._break(day, zone, one) for one in self.breaks):
            found.append((at, min(max(begins, at), end)))
            at = max(at, min(ends, end))
        found.append((at, end))
        return [(begins, ends) for begins, ends in found if ends > begins]

    def _break(self, day: date, zone: tzinfo, pause: tuple[time, time]) -> Span:
        begins, ends = pause
        first = day + timedelta(days=begins < self.starts)
        return _moment(first, begins, zone), _moment(first + timedelta(days=ends <= begins), ends, zone)


@dataclass(frozen=True)
class Calendar:
    """When the shop works. Moments that come in are aware; those that go out are in the shop's zone."""

    zone: tzinfo = ZoneInfo("UTC")
    shifts: tuple[Shift, ...] = (Shift(),)
    holidays: frozenset[date] = frozenset()

    @property
    def day_hours(self) -> float:
        """Hours of work of the longest day of a usual week [h].

        >>> Calendar().day_hours
        7.75
        """
        return max(_hours(self._spans_of_week(day)) for day in range(7))

    @property
    def day_length(self) -> float:
        """Hours on the clock from the first start to the last end of that day [h].

        >>> Calendar().day_length
        8.5
        """
        spans = max((self._spans_of_week(day) for day in range(7)), key=_hours)
        return (spans[-1][1] - spans[0][0]).total_seconds() / 3600 if spans else 0.0

    def spans(self, day: date) -> tuple[Span, ...]:
        """The work of the shifts that begin on a day, in order, none overlapping; moments in UTC."""
        return _spans(self, day)

    def is_work_day(self, day: date) -> bool:
        return bool(self.spans(day))

    def hours_left(self, now: datetime) -> float | None:
        """Hours of work left in the working day that is on [h], in a break too; None outside of one."""
        today = now.astimezone(self.zone).date()
        for day in (today, today - timedelta(days=1)):
            spans = self.spans(day)
            if spans and spans[0][0] <= now < spans[-1][1]:
                return _hours((max(begins, now), ends) for begins, ends in spans)
        return None

    def hours_between(self, start: datetime, end: datetime) -> float:
        """Hours of work from start to end [h]; 0 where end is before start."""
        if end <= start:
            return 0.0
        found = 0.0
        day, last = (one.astimezone(self.zone).date() for one in (start, end))
        while day <= last:
            for begins, ends in _clock_day(self, day):
                found += max(0.0, (min(ends, end) - max(begins, start)).total_seconds())
            day += timedelta(days=1)
        return found / 3600

    def end_of(self, day: date) -> datetime:
        """The last moment of work for something due on a day: the end of its work, or of the day where it has none."""
        spans = self.spans(day)
        end = spans[-1][1] if spans else _moment(day + timedelta(days=1), time(0), self.zone)
        return end.astimezone(self.zone)

    def ahead(self, now: datetime, hours: float) -> datetime:
        """The moment at which so many hours of work have passed from now.

        Raises NoWork where the calendar does not have them.
        """
        left = hours * 3600
        for begins, ends in self._onwards(now):
            here = (ends - begins).total_seconds()
            if here >= left:
                return (begins + timedelta(seconds=left)).astimezone(self.zone)
            left -= here
        raise NoWork(f"There are no {hours:.1f} hours of work in the {LONGEST_LOOK} days after {now.date()}.")

    def back(self, now: datetime, hours: float) -> datetime:
        """The moment from which to now so many hours of work have passed.

        Raises NoWork where the calendar does not have them.
        """
        left = hours * 3600
        for begins, ends in self._backwards(now):
            here = (ends - begins).total_seconds()
            if here >= left:
                return (ends - timedelta(seconds=left)).astimezone(self.zone)
            left -= here
        raise NoWork(
            f"There are no {hours:.1f} hours of work in the {LONGEST_LOOK} days before {now.date()}."
        )

    def days_ahead(self, day: date, count: int) -> date:
        """The day that is so many working days after a day, or before it where the count is below zero.

        >>> Calendar().days_ahead(date(2026, 11, 27), 1), Calendar().days_ahead(date(2026, 11, 30), -1)
        (datetime.date(2026, 11, 30), datetime.date(2026, 11, 27))
        """
        step = timedelta(days=1 if count >= 0 else -1)
        left = abs(count)
        for _ in range(LONGEST_LOOK):
            if not left:
                return day
            day += step
            left -= self.is_work_day(day)
        return day

    def _spans_of_week(self, weekday: int) -> list[Span]:
        """The work of a weekday in a week without holidays and without a change of the clocks."""
        day = date(2024, 1, 1) + timedelta(days=weekday)  # a Monday
        return _merged(
            span for shift in self.shifts if weekday in shift.days for span in shift.spans(day, UTC)
        )

    def _onwards(self, now: datetime) -> Iterator[Span]:
        first = now.astimezone(self.zone).date()
        for step in range(LONGEST_LOOK):
            for begins, ends in _clock_day(self, first + timedelta(days=step)):
                if ends > now:
                    yield max(begins, now.astimezone(UTC)), ends

    def _backwards(self, now: datetime) -> Iterator[Span]:
        last = now.astimezone(self.zone).date()
        for step in range(LONGEST_LOOK):
            for begins, ends in reversed(_clock_day(self, last - timedelta(days=step))):
                if begins < now:
                    yield begins, min(ends, now.astimezone(UTC))


@lru_cache(maxsize=_KEPT)
def _spans(calendar: Calendar, day: date) -> tuple[Span, ...]:
    if day in calendar.holidays:
        return ()
    return tuple(
        _merged(
            span
            for shift in calendar.shifts
            if day.weekday() in shift.days
            for span in shift.spans(day, calendar.zone)
        )
    )


@lru_cache(maxsize=_KEPT)
def _clock_day(calendar: Calendar, day: date) -> tuple[Span, ...]:
    """The work from a midnight to the next, whichever day its shift began on."""
    low = _moment(day, time(0), calendar.zone)
    high = _moment(day + timedelta(days=1), time(0), calendar.zone)
    spans = _merged((*calendar.spans(day - timedelta(days=1)), *calendar.spans(day)))
    return tuple(
        (max(begins, low), min(ends, high)) for begins, ends in spans if ends > low and begins < high
    )


def _merged(spans) -> list[Span]:
    found: list[Span] = []
    for begins, ends in sorted(spans):
        if found and begins <= found[-1][1]:
            found[-1] = (found[-1][0], max(ends, found[-1][1]))
        else:
            found.append((begins, ends))
    return found


def _hours(spans) -> float:
    return sum(max(0.0, (ends - begins).total_seconds()) for begins, ends in spans) / 3600


def _moment(day: date, at: time, zone: tzinfo) -> datetime:
    """In UTC. A time that the clocks leave out is counted on from before; of one that comes twice it is the first."""
    return datetime.combine(day, at, zone).astimezone(UTC)

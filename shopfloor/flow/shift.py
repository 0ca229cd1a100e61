"""The shop's working day: how much of it is left, and how many working hours lie between two moments.

The break is spread over the shift: a minute on the clock is worth `Shift.pace` minutes of work.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

MONDAY_TO_FRIDAY = frozenset(range(5))
LONGEST_LOOK = 400


@dataclass(frozen=True)
class Shift:
    """One shift a working day. One that ends at or before its start ends on the next day.

    break_minutes  unpaid minutes within it
    days           working days, Monday is 0
    """

    starts: time = time(7, 0)
    ends: time = time(15, 30)
    break_minutes: float = 45
    days: frozenset[int] = MONDAY_TO_FRIDAY

    @property
    def clock_hours(self) -> float:
        minutes = (self.ends.hour - self.starts.hour) * 60 + self.ends.minute - self.starts.minute
        return (minutes if minutes > 0 else minutes + 24 * 60) / 60

    @property
    def hours(self) -> float:
        """Working hours of a whole shift [h].

        >>> Shift().hours
        7.75
        """
        return max(0.25, self.clock_hours - max(0.0, self.break_minutes) / 60)

    @property
    def pace(self) -> float:
        """Working hours an hour on the clock, 0 to 1."""
        return min(1.0, self.hours / self.clock_hours)

    def on(self, day: date, zone) -> tuple[datetime, datetime]:
        """Start and end of the shift that begins on a day, in a zone."""
        start = datetime.combine(day, self.starts, zone)
        over_midnight = self.ends <= self.starts
        return start, datetime.combine(day + timedelta(days=over_midnight), self.ends, zone)

    def hours_left(self, now: datetime) -> float | None:
        """Working hours left in the shift that is on [h], or None outside of one."""
        for day in (now.date(), now.date() - timedelta(days=1)):
            start, end = self.on(day, now.tzinfo)
            if day.weekday() in self.days and start <= now < end:
                return _clock_hours(now, end) * self.pace
        return None

    def hours_between(self, start: datetime, end: datetime) -> float:
        """Working hours from start to end [h]; 0 where end is before start."""
        if end <= start:
            return 0.0
        total = 0.0
        day = start.date() - timedelta(days=1)
        while day <= end.date():
            if day.weekday() in self.days:
                begins, ends = self.on(day, start.tzinfo)
                total += max(0.0, _clock_hours(max(begins, start), min(ends, end)))
            day += timedelta(days=1)
        return total * self.pace

    def end_of(self, day: date, zone) -> datetime:
        """The last moment of work for something due on a day: its shift's end, whether or not it is a working day."""
        return self.on(day, zone)[1]

    def back(self, now: datetime, hours: float) -> datetime:
        """The moment from which to now so many working hours have passed."""
        left = hours / self.pace
        for begins, ends in self._backwards(now):
            here = _clock_hours(begins, min(ends, now))
            if here >= left:
                return (min(ends, now).astimezone(UTC) - timedelta(hours=left)).astimezone(now.tzinfo)
            left -= max(0.0, here)
        return now - timedelta(hours=hours)

    def days_ahead(self, day: date, count: int) -> date:
        """The day that is so many working days after a day.

        >>> Shift().days_ahead(date(2026, 11, 27), 1)
        datetime.date(2026, 11, 30)
        """
        for step in range(1, LONGEST_LOOK if self.days else 1):
            count -= (day + timedelta(days=step)).weekday() in self.days
            if count <= 0:
                return day + timedelta(days=step)
        return day + timedelta(days=count)

    def _backwards(self, now: datetime) -> Iterator[tuple[datetime, datetime]]:
        for step in range(LONGEST_LOOK):
            day = now.date() - timedelta(days=step)
            if day.weekday() in self.days:
                begins, ends = self.on(day, now.tzinfo)
                if begins < now:
                    yield begins, ends


def _clock_hours(start: datetime, end: datetime) -> float:
    """Elapsed hours; through UTC, so that a change of the clocks between them counts."""
    return (end.astimezone(UTC) - start.astimezone(UTC)).total_seconds() / 3600

"""The shop's working time as its tables have it: shifts with their breaks, and holidays."""

from __future__ import annotations

import re
from datetime import date, time

from django.utils import timezone

from fittings import tables
from fittings.tables import SOURCE, Column, TableSchema, register
from shopfloor.flow.calendar import Calendar, Shift

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_TIME = re.compile(r"([01]?\d|2[0-3])[:.]?([0-5]\d)")


def time_read(text: str) -> str:
    """A time of the day as it is kept.

    >>> time_read("7:05"), time_read("0705")
    ('07:05', '07:05')
    """
    found = _TIME.fullmatch(text.strip())
    if not found:
        raise ValueError("a time such as 07:00")
    return f"{int(found[1]):02}:{found[2]}"


def days_read(text: str) -> str:
    """Days of the week as they are kept, from Monday on.

    >>> days_read("tue, MON fri")
    'Mon Tue Fri'
    """
    words = re.split(r"[\s,;]+", text.strip())
    found = {word[:3].title() for word in words}
    if not words or not found <= set(DAYS):
        raise ValueError("days such as Mon Tue Wed Thu Fri")
    return " ".join(day for day in DAYS if day in found)


def breaks_read(text: str) -> str:
    """Breaks as they are kept.

    >>> breaks_read("12:00-12:30,9:30 - 9:45")
    '09:30-09:45, 12:00-12:30'
    """
    found = []
    for part in re.split(r"[,;]", text):
        ends = re.split(r"\s*[-–]\s*", part.strip())
        if len(ends) != 2:
            raise ValueError("breaks such as 09:30-09:45, 12:00-12:30")
        found.append("-".join(time_read(one) for one in ends))
    return ", ".join(sorted(found))


def date_read(text: str) -> str:
    """A date as it is kept.

    >>> date_read("2026-12-25")
    '2026-12-25'
    """
    try:
        return date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise ValueError("a date such as 2026-12-25") from None


register(
    TableSchema(
        "shifts",
        "Shifts",
        "When the shop works, in its own time. A shift that ends at or before its start ends on the next day. "
        "What clears today, what is late and every date follow from it.",
        (
            Column("name", "Name"),
            Column("days", "Begins on", help="Mon Tue Wed Thu Fri", reads=days_read),
            Column("starts", "From", help="07:00", reads=time_read),
            Column("ends", "To", help="15:30", reads=time_read),
            Column("breaks", "Breaks", may_be_empty=True, help="09:30-09:45, 12:00-12:30", reads=breaks_read),
            SOURCE,
        ),
        once=("name",),
    )
)
register(
    TableSchema(
        "holidays",
        "Holidays",
        "Days on which no shift begins.",
        (
            Column("day", "Day", help="2026-12-25", reads=date_read),
            Column("name", "Name", may_be_empty=True),
            SOURCE,
        ),
        once=("day",),
    )
)


def shop_calendar() -> Calendar:
    """The shop's working time. Without a shift in the table it is the usual one. Two queries."""
    shifts = tuple(_shift(row) for row in tables.rows("shifts"))
    holidays = frozenset(date.fromisoformat(row["day"]) for row in tables.rows("holidays"))
    return Calendar(timezone.get_default_timezone(), shifts or (Shift(),), holidays)


def _shift(row) -> Shift:
    breaks = tuple(
        tuple(time.fromisoformat(one) for one in part.split("-"))
        for part in (row["breaks"] or "").split(", ")
        if part
    )
    days = frozenset(DAYS.index(day) for day in row["days"].split())
    return Shift(time.fromisoformat(row["starts"]), time.fromisoformat(row["ends"]), days, breaks)

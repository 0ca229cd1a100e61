"""How many fittings are to be finished on a day, so that the orders are on time."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import date, timedelta

from shopfloor.flow.calendar import LONGEST_LOOK, Calendar


def planned(by_due: Mapping[date, int], *, today: date, calendar: Calendar) -> int:
    """The least even pace, in fittings a day, that keeps every due date; 0 on a day without work.

    ⌈max over due dates d of (fittings due by d) ÷ (working days from today to d)⌉; what is overdue is due today.

    by_due  fittings that were open when the day began, by the day on which they are due

    Four are overdue or due on Monday, 20 more by Friday: (4 + 20) ÷ 5 = 4.8.

    >>> by_due = {date(2026, 2, 27): 1, date(2026, 3, 2): 3, date(2026, 3, 6): 20}
    >>> planned(by_due, today=date(2026, 3, 2), calendar=Calendar())
    5
    """
    if not calendar.is_work_day(today):
        return 0
    last = today + timedelta(days=LONGEST_LOOK)
    pace, due_by_then, days, counted = 0.0, 0, 1, today
    for due in sorted(day for day in by_due if day <= last):
        while counted < due:
            counted += timedelta(days=1)
            days += calendar.is_work_day(counted)
        due_by_then += by_due[due]
        pace = max(pace, due_by_then / days)
    return math.ceil(pace - 1e-9)
